"""What went out: publications of a tally."""

from django.db import models


class WithoutPackage(models.Manager):
    """Rows without the package's bytes, which are fetched only when asked for."""

    def get_queryset(self) -> models.QuerySet:
        return super().get_queryset().defer("package")


class Publication(models.Model):
    """A tally made public. A correction after publishing is a further publication of a new revision."""

    contest = models.ForeignKey("contest.Contest", on_delete=models.CASCADE, related_name="publications")
    tally = models.OneToOneField("judging.Tally", on_delete=models.PROTECT, related_name="publication")
    by = models.CharField(max_length=120)
    package = models.BinaryField(default=bytes, help_text="The results package as it was handed out: a zip.")
    package_sum = models.CharField(max_length=64, blank=True, help_text="SHA-256 of the package's SHA256SUMS.")
    log_heads = models.JSONField(default=dict, help_text="The heads of both log chains that the package ends with.")
    at = models.DateTimeField(auto_now_add=True)

    objects = WithoutPackage()

    class Meta:
        ordering = ["id"]
        base_manager_name = "objects"

    def __str__(self) -> str:
        return f"Publication of {self.tally}"
