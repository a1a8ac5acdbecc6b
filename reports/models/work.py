"""Jobs that run beside the site: how far one is, and the prints."""

import uuid

from django.db import models


class JobState(models.TextChoices):
    """How far a job is."""

    WAITING = "waiting", "waiting"
    RUNNING = "running", "running"
    DONE = "done", "done"
    FAILED = "failed", "failed"


class PrintJob(models.Model):
    """One file to print, made by the background worker and kept for a day.

    `heartbeat` moves while somebody works on it: a job that runs without one was left by a worker that ended.
    `attempt` counts the workers that took it; only the last of them may write.
    """

    key = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    contest = models.ForeignKey("contest.Contest", on_delete=models.CASCADE, related_name="print_jobs")
    what = models.CharField(max_length=30)
    papers = models.JSONField(help_text="Keys of the papers in it: whoever may print all of them may have the file.")
    options = models.JSONField(default=dict)
    draw = models.PositiveSmallIntegerField(default=0, help_text="The draw it was made from; 0 before the draw.")
    revision = models.PositiveSmallIntegerField(default=0, help_text="The tally it was made from; 0 before closing.")
    by = models.CharField(max_length=120)
    state = models.CharField(max_length=8, choices=JobState.choices, default=JobState.WAITING)
    attempt = models.PositiveSmallIntegerField(default=0)
    progress = models.PositiveSmallIntegerField(default=0)
    total = models.PositiveSmallIntegerField(default=0)
    pages = models.PositiveSmallIntegerField(default=0)
    heartbeat = models.DateTimeField()
    message = models.CharField(max_length=300, blank=True)
    file = models.CharField(max_length=80, blank=True)
    made_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["-id"]

    def __str__(self) -> str:
        return f"{self.what} of {self.contest}"
