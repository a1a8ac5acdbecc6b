"""The append-only log: two chains a contest, each row holding the hash of the row before.

The *day* chain keeps facts of the desk and the draw, the *cards* chain facts of boxes and marks and never a team.
Persons and addresses stand in a side row, so that a person can be erased while the chain stays whole.
"""

from django.db import models


class LogChain(models.Model):
    """The head of one chain; locking this row orders the writers."""

    class Name(models.TextChoices):
        DAY = "day", "day"
        CARDS = "cards", "cards"

    contest = models.ForeignKey("contest.Contest", on_delete=models.CASCADE, related_name="log_chains")
    name = models.CharField(max_length=5, choices=Name.choices)
    length = models.PositiveIntegerField(default=0)
    head = models.CharField(max_length=64, default="0" * 64)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["contest", "name"], name="log_chain_once")]

    def __str__(self) -> str:
        return f"{self.name} log of {self.contest}"


class LogRow(models.Model):
    chain = models.ForeignKey(LogChain, on_delete=models.CASCADE, related_name="rows")
    number = models.PositiveIntegerField()
    at = models.CharField(max_length=32, help_text="UTC, ISO 8601, to the millisecond.")
    what = models.CharField(max_length=40)
    facts = models.TextField(help_text="Canonical JSON.")
    previous = models.CharField(max_length=64)
    hash = models.CharField(max_length=64)

    class Meta:
        ordering = ["number"]
        constraints = [models.UniqueConstraint(fields=["chain", "number"], name="log_number_once")]

    def __str__(self) -> str:
        return f"{self.number} {self.what}"


class LogPerson(models.Model):
    """Who did it and from where. Deletable."""

    row = models.OneToOneField(LogRow, on_delete=models.CASCADE, related_name="person")
    name = models.CharField(max_length=120, blank=True)
    address = models.CharField(max_length=64, blank=True)

    def __str__(self) -> str:
        return self.name
