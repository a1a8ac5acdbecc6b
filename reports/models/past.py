"""Results from contests that were run elsewhere: a team's own, typed in or read from a results package."""

from django.core.validators import MinValueValidator
from django.db import models

from contest.models.setup import key_validator


class TeamAlias(models.Model):
    """A team of another installation's results package that a member has confirmed to be this team."""

    team = models.ForeignKey("contest.Team", on_delete=models.CASCADE, related_name="aliases")
    uid = models.UUIDField()
    name = models.CharField(max_length=120, help_text="As the package has it.")

    class Meta:
        verbose_name_plural = "team aliases"
        constraints = [models.UniqueConstraint(fields=["team", "uid"], name="team_alias_once")]

    def __str__(self) -> str:
        return f"{self.name} is {self.team}"


class ImportedContest(models.Model):
    """A contest read from a results package, kept for one team.

    Of the other teams only the cards stay, under the team's uid as the package has it and without a name: enough to
    fit how hard tables were, no more. It belongs to the team that imported it, for a package shows only that it
    agrees with itself: what one cook uploads must not move another cook's figures.
    """

    team = models.ForeignKey("contest.Team", on_delete=models.CASCADE, related_name="imported_contests")
    uid = models.UUIDField(help_text="The contest's, as the package has it.")
    name = models.CharField(max_length=120)
    date = models.DateField()
    revision = models.PositiveSmallIntegerField(default=1)
    package_sum = models.CharField(max_length=64, help_text="SHA-256 of the SHA256SUMS that was read.")
    own = models.UUIDField(null=True, blank=True, help_text="The uid under which the package has the team.")
    against_print = models.BooleanField(default=False, help_text="Checked against a fingerprint printed on the day.")
    boxes = models.JSONField(default=dict, help_text="As `reports.season.imported` writes and reads them.")
    names = models.JSONField(default=list, help_text="A list of [category, its name], in the order of the day.")
    rules = models.JSONField(default=dict, help_text="Category → its rule set as TOML.")
    pending = models.BinaryField(
        null=True, blank=True, help_text="The package itself until a member has said which team is theirs; then gone."
    )
    imported_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["-date", "-id"]
        constraints = [models.UniqueConstraint(fields=["team", "uid"], name="imported_contest_once_a_team")]

    def __str__(self) -> str:
        return self.name


class PastResult(models.Model):
    """A team's box at a contest elsewhere; all that is known of it."""

    team = models.ForeignKey("contest.Team", on_delete=models.CASCADE, related_name="past_results")
    imported = models.ForeignKey(
        ImportedContest, null=True, blank=True, on_delete=models.CASCADE, related_name="results"
    )
    contest_name = models.CharField(max_length=120)
    date = models.DateField()
    key = models.CharField(max_length=30, validators=[key_validator])
    category = models.CharField(max_length=60)
    place = models.PositiveSmallIntegerField(null=True, blank=True, validators=[MinValueValidator(1)])
    field = models.PositiveSmallIntegerField(null=True, blank=True, validators=[MinValueValidator(1)])
    total = models.CharField(max_length=60, blank=True, help_text="Exact: a decimal, or p/q where none is exact.")
    possible = models.CharField(max_length=60, blank=True, help_text="The most points that a box could get; exact.")
    table = models.CharField(max_length=20, blank=True)
    box = models.CharField(max_length=20, blank=True, help_text="Its number, where it came with a package.")
    dropped = models.CharField(max_length=60, blank=True, help_text="Seats whose cards did not count, where known.")
    marks = models.JSONField(default=list, blank=True, help_text="A list of cards, each a list of marks as text.")

    class Meta:
        ordering = ["-date", "contest_name", "key"]
        constraints = [
            models.UniqueConstraint(
                fields=["team", "date", "contest_name", "key"],
                name="past_result_once",
                violation_error_message="This category of this contest is among your past results already.",
            )
        ]

    def __str__(self) -> str:
        return f"{self.category} at {self.contest_name}"
