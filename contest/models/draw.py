"""The blind draw: the draw itself, its boxes, and, in a table of its own, whose box is whose."""

from functools import cached_property
from typing import TYPE_CHECKING

from django.core.validators import RegexValidator
from django.db import models
from django.db.models import Q

if TYPE_CHECKING:  # imports slowly: only the page of the draw waits for it
    from contest.rules.draw.quality import Quality


class DrawCeremony(models.Model):
    """The draw's secret where it is made, and its commitment published, before the teams call out their words.

    A contest has none unless the organiser begins the ceremony. The secret is shown to nobody before publishing.
    """

    contest = models.OneToOneField("contest.Contest", on_delete=models.CASCADE, related_name="ceremony")
    secret_text = models.TextField()
    commitment = models.CharField(max_length=64)
    begun_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        verbose_name_plural = "draw ceremonies"

    def __str__(self) -> str:
        return f"Ceremony of the draw of {self.contest}"


class Draw(models.Model):
    """One draw of a contest. `secret_text` is shown to nobody before publishing; `commitment` is its SHA-256."""

    contest = models.ForeignKey("contest.Contest", on_delete=models.CASCADE, related_name="draws")
    number = models.PositiveSmallIntegerField(default=1)
    reason = models.CharField(max_length=300, blank=True)
    standing = models.BooleanField(default=True)
    superseded_by = models.OneToOneField(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="supersedes"
    )
    secret_text = models.TextField()
    commitment = models.CharField(max_length=64)
    public_text = models.TextField()
    seed = models.CharField(max_length=64)
    draw_text = models.TextField()
    # The names at the draw, whose sums the draw's text names; empty for a practice, which binds versions instead.
    entries_text = models.TextField(blank=True)
    categories_text = models.TextField(blank=True)
    fingerprint = models.CharField(max_length=64)
    quality = models.JSONField(default=dict)
    made_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["number"]
        constraints = [
            models.UniqueConstraint(fields=["contest", "number"], name="draw_number_once"),
            models.UniqueConstraint(fields=["contest"], condition=Q(standing=True), name="one_standing_draw"),
            models.CheckConstraint(condition=Q(number=1) | ~Q(reason=""), name="redraw_has_reason"),
        ]

    def __str__(self) -> str:
        return f"Draw {self.number} of {self.contest}"

    @cached_property
    def figures(self) -> "Quality | None":
        """How fair and precise it is; None for a draw kept without. Raises StoredError for another format."""
        from contest.rules.draw.quality import Quality

        return Quality.from_json(self.quality) if self.quality else None


class Box(models.Model):
    """A box as judges know it: number, table, serving position. Nothing here tells whose it is."""

    contest = models.ForeignKey("contest.Contest", on_delete=models.CASCADE, related_name="boxes")
    draw = models.ForeignKey(Draw, on_delete=models.CASCADE, related_name="boxes")
    category = models.ForeignKey("contest.Category", on_delete=models.PROTECT, related_name="boxes")
    number = models.CharField(max_length=3, validators=[RegexValidator(r"^\d{3}$", "Three digits.")])
    # Empty only for a box of a superseded draw whose table was lost since.
    table = models.ForeignKey("contest.Table", null=True, blank=True, on_delete=models.PROTECT, related_name="boxes")
    position = models.PositiveSmallIntegerField()

    class Meta:
        ordering = ["category__order", "table__number", "position"]
        verbose_name_plural = "boxes"
        constraints = [
            # Across redraws too: a number once drawn is never used again in the contest.
            models.UniqueConstraint(fields=["contest", "number"], name="box_number_once"),
            models.UniqueConstraint(fields=["draw", "category", "table", "position"], name="serving_position_once"),
        ]

    def __str__(self) -> str:
        return self.number


class Pairing(models.Model):
    """Whose box it is, as drawn. Read only by the desk's selectors until the tally is closed."""

    box = models.OneToOneField(Box, on_delete=models.CASCADE, related_name="pairing")
    entry = models.ForeignKey("contest.Entry", on_delete=models.PROTECT, related_name="pairings")

    def __str__(self) -> str:
        return f"pairing of box {self.box}"


class LabelCorrection(models.Model):
    """The desk found two labels swapped: from here on the boxes belong to each other's teams."""

    contest = models.ForeignKey("contest.Contest", on_delete=models.CASCADE, related_name="label_corrections")
    one = models.ForeignKey(Box, on_delete=models.PROTECT, related_name="+")
    other = models.ForeignKey(Box, on_delete=models.PROTECT, related_name="+")
    reason = models.CharField(max_length=300)
    by = models.CharField(max_length=120)
    at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(condition=~Q(one=models.F("other")), name="swap_of_two_boxes"),
            models.CheckConstraint(condition=~Q(reason=""), name="label_correction_has_reason"),
        ]

    def __str__(self) -> str:
        return f"labels {self.one} and {self.other}"
