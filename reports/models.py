"""What went out: publications of a tally."""

from django.db import models


class Publication(models.Model):
    """A tally made public. A correction after publishing is a further publication of a new revision."""

    contest = models.ForeignKey("contest.Contest", on_delete=models.CASCADE, related_name="publications")
    tally = models.OneToOneField("judging.Tally", on_delete=models.PROTECT, related_name="publication")
    by = models.CharField(max_length=120)
    at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["id"]

    def __str__(self) -> str:
        return f"Publication of {self.tally}"
