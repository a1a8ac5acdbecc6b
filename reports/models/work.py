"""How far a job is that runs beside the site."""

from django.db import models


class JobState(models.TextChoices):
    WAITING = "waiting", "waiting"
    RUNNING = "running", "running"
    DONE = "done", "done"
    FAILED = "failed", "failed"
