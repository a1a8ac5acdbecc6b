"""What the turn-in desk records: append-only rows, of which one stands for each box."""

from django.db import models
from django.db.models import Q


class TurnIn(models.Model):
    class Status(models.TextChoices):
        ACCEPTED = "accepted", "accepted"
        LATE = "late", "late"
        ABSENT = "absent", "absent"
        REFUSED = "refused", "refused"
        UNDONE = "undone", "undone"  # the row before it was a mistake: the box is to come again

    box = models.ForeignKey("contest.Box", on_delete=models.CASCADE, related_name="turn_ins")
    status = models.CharField(max_length=8, choices=Status.choices)
    handed_in_at = models.DateTimeField(null=True, blank=True)
    typed = models.BooleanField(default=False, help_text="The time was typed, not clocked.")
    by = models.CharField(max_length=120)
    reason = models.CharField(max_length=300, blank=True)
    recorded_at = models.DateTimeField(auto_now_add=True)
    standing = models.BooleanField(default=True)

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(fields=["box"], condition=Q(standing=True), name="one_standing_turn_in"),
            models.CheckConstraint(
                condition=~Q(status__in=["refused", "undone"]) | ~Q(reason=""), name="refusal_has_reason"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.box} {self.status}"
