"""What was worked out from published contests beside the site: fitted models of a season, agreement of a contest."""

from functools import cached_property

from django.db import models

from reports.models.work import JobState
from reports.rules.fitted import ENGINE, AgreementFigures, FitFigures


class SeasonWork(models.Model):
    """One run over a season's contests. A run whose heartbeat stands still is taken for dead."""

    group = models.CharField(
        max_length=60,
        help_text="The season: season-<id>, or year-<year> of contests without; +<team> with its packages.",
    )
    state = models.CharField(max_length=8, choices=JobState.choices, default=JobState.WAITING)
    progress = models.PositiveSmallIntegerField(default=0, help_text="Fits done.")
    of = models.PositiveSmallIntegerField(default=0, help_text="Fits to do.")
    message = models.CharField(max_length=300, blank=True)
    asked_at = models.DateTimeField(auto_now_add=True)
    heartbeat = models.DateTimeField(auto_now=True)

    class Meta:
        ordering = ["-id"]
        verbose_name_plural = "season work"

    def __str__(self) -> str:
        return f"{self.group}: {self.progress} of {self.of}"


class EngineQuerySet(models.QuerySet):
    """Rows that an engine worked out; those of another engine wait until they are calculated again."""

    def current(self) -> "EngineQuerySet":
        """Return the rows of this version's engine, the only ones that it can read."""
        return self.filter(engine=ENGINE)


class SeverityFit(models.Model):
    """The severity model over the published contests of a season, as it was fitted; pages only read it.

    `response` is "weighted" (a card's weighted mark) or the key of one criterion; `category` a category's key, or
    "" for all of them together. `result` is made by `reports.season.fits` and read as `figures`.
    """

    group = models.CharField(max_length=60)
    key = models.CharField(max_length=64, unique=True, help_text="SHA-256 of all that the fit depends on.")
    contests = models.JSONField(help_text="Contest uids, sorted.")
    response = models.CharField(max_length=30)
    category = models.CharField(max_length=30, blank=True)
    formula = models.CharField(max_length=200)
    engine = models.CharField(max_length=40)
    inputs_hash = models.CharField(max_length=64)
    result = models.JSONField()
    made_at = models.DateTimeField()

    objects = EngineQuerySet.as_manager()

    class Meta:
        ordering = ["-made_at", "-id"]
        indexes = [models.Index(fields=["group", "response", "category"])]

    def __str__(self) -> str:
        return f"{self.response} of {self.category or 'all categories'}, {self.group}"

    @cached_property
    def figures(self) -> FitFigures:
        """The fit. Raises StoredError where another engine made it."""
        return FitFigures.from_json(self.engine, self.result)


class ContestAgreement(models.Model):
    """How far the judges of one contest agreed: for organiser and head judge, never public."""

    tally = models.OneToOneField("judging.Tally", on_delete=models.CASCADE, related_name="agreement")
    engine = models.CharField(max_length=40)
    result = models.JSONField()
    made_at = models.DateTimeField()

    objects = EngineQuerySet.as_manager()

    def __str__(self) -> str:
        return f"Agreement in {self.tally}"

    @cached_property
    def figures(self) -> AgreementFigures:
        """The agreement. Raises StoredError where another engine made it."""
        return AgreementFigures.from_json(self.engine, self.result)
