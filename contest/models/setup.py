"""What is set up before the day: seasons, contests, rule sets, categories, tables and seats."""

import uuid
from datetime import datetime
from zoneinfo import ZoneInfo

from django.core.validators import MaxValueValidator, MinValueValidator, RegexValidator
from django.db import models
from django.db.models import Q

key_validator = RegexValidator(r"^[a-z][a-z0-9-]*$", "Use small letters, digits and hyphens, a letter first.")


class Season(models.Model):
    """Contests that are looked at together: one year of one circuit."""

    name = models.CharField(max_length=80)
    year = models.PositiveSmallIntegerField()

    class Meta:
        ordering = ["-year", "name"]
        constraints = [models.UniqueConstraint(fields=["name", "year"], name="season_once_a_year")]

    def __str__(self) -> str:
        return f"{self.name} {self.year}"


class RuleSet(models.Model):
    """A rule set as its TOML document; `contest.rules.ruleset` gives it meaning."""

    name = models.CharField(max_length=80)
    document = models.TextField()
    owner = models.ForeignKey(
        "contest.Account", null=True, blank=True, on_delete=models.CASCADE, related_name="rule_sets"
    )
    shipped_key = models.CharField(max_length=40, blank=True, editable=False)

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(fields=["shipped_key"], condition=~Q(shipped_key=""), name="ruleset_shipped_once"),
            models.UniqueConstraint(
                fields=["owner", "name"],
                name="ruleset_name_once_an_owner",
                violation_error_message="You already have a rule set of this name. Choose another name.",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class Contest(models.Model):
    class Kind(models.TextChoices):
        CONTEST = "contest", "Contest"
        PRACTICE = "practice", "Practice"

    class State(models.TextChoices):
        PREPARING = "preparing", "preparing"
        SEALED = "sealed", "sealed"
        CLOSED = "closed", "closed"
        PUBLISHED = "published", "published"

    class Conflicts(models.TextChoices):
        NOT_SEATED = "not_seated", "A judge with a competing team is not seated"
        KEPT_APART = "kept_apart", "A judge never sits where the competing team's box is judged"

    class Keying(models.TextChoices):
        SINGLE = "single", "Once"
        SAMPLE = "sample", "One sheet in four twice"
        ALL = "all", "Every sheet twice"

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    slug = models.SlugField(
        max_length=60,
        unique=True,
        error_messages={"unique": "Another contest has this address. Choose another, for example with the year."},
    )
    name = models.CharField(max_length=120)
    place = models.CharField(max_length=120, blank=True)
    time_zone = models.CharField(max_length=60, default="UTC")
    date = models.DateField()
    kind = models.CharField(max_length=10, choices=Kind.choices, default=Kind.CONTEST)
    state = models.CharField(max_length=10, choices=State.choices, default=State.PREPARING)
    small = models.BooleanField(default=False, help_text="Shown as three screens: Boxes in, Marks, Results.")
    one_person = models.BooleanField(
        default=False,
        help_text="One person works the desk and the tally. Printed on the result; cannot be taken back.",
    )
    conflicts = models.CharField(max_length=12, choices=Conflicts.choices, default=Conflicts.NOT_SEATED)
    most_boxes = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text="The most boxes one table takes in a category; empty for no limit."
    )
    keying = models.CharField(
        max_length=6,
        choices=Keying.choices,
        default=Keying.SINGLE,
        help_text="How often paper score sheets are keyed; a second keying is blind to the first.",
    )
    phones = models.BooleanField(
        default=False, help_text="Judges may hand cards in from their own phones, with a pass for each seat."
    )
    rule_set = models.ForeignKey(RuleSet, on_delete=models.PROTECT, related_name="contests")
    # The text at the draw: its tie-breaks and `needs` decide the overall, whatever the library's set becomes.
    frozen_rules = models.TextField(blank=True, editable=False)
    season = models.ForeignKey(Season, null=True, blank=True, on_delete=models.SET_NULL, related_name="contests")
    marks_locked_at = models.DateTimeField(null=True, blank=True)
    seal_opened_at = models.DateTimeField(null=True, blank=True)
    seal_opened_why = models.CharField(max_length=300, blank=True)
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["-date", "-id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(seal_opened_at__isnull=True) | ~Q(seal_opened_why=""),
                name="contest_seal_opened_with_reason",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def zone(self) -> ZoneInfo:
        return ZoneInfo(self.time_zone)

    def local(self, moment: datetime) -> datetime:
        """`moment` by the contest's named clock."""
        return moment.astimezone(self.zone)

    @property
    def is_sealed(self) -> bool:
        return self.state in (self.State.PREPARING, self.State.SEALED)

    @property
    def is_drawn(self) -> bool:
        return self.state != self.State.PREPARING


class Category(models.Model):
    contest = models.ForeignKey(Contest, on_delete=models.CASCADE, related_name="categories")
    key = models.CharField(max_length=30, validators=[key_validator])
    name = models.CharField(max_length=60)
    order = models.PositiveSmallIntegerField(default=0)
    turn_in_at = models.DateTimeField()
    minutes_before = models.PositiveSmallIntegerField(default=5, validators=[MaxValueValidator(120)])
    minutes_after = models.PositiveSmallIntegerField(default=5, validators=[MaxValueValidator(120)])
    rule_set = models.ForeignKey(
        RuleSet,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="+",
        help_text="Rules of its own; empty for the contest's.",
    )
    frozen_rules = models.TextField(blank=True, editable=False)
    counts_overall = models.BooleanField(default=True)
    places_called = models.PositiveSmallIntegerField(default=3, validators=[MaxValueValidator(100)])
    cancelled_at = models.DateTimeField(null=True, blank=True)
    cancelled_why = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["order", "turn_in_at", "id"]
        verbose_name_plural = "categories"
        constraints = [
            models.UniqueConstraint(
                fields=["contest", "key"],
                name="category_key_once",
                violation_error_message="Two categories with one key.",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def is_cancelled(self) -> bool:
        return self.cancelled_at is not None


class Table(models.Model):
    contest = models.ForeignKey(Contest, on_delete=models.CASCADE, related_name="tables")
    number = models.PositiveSmallIntegerField(validators=[MinValueValidator(1), MaxValueValidator(99)])

    class Meta:
        ordering = ["number"]
        constraints = [models.UniqueConstraint(fields=["contest", "number"], name="table_number_once")]

    def __str__(self) -> str:
        return f"Table {self.number}"


class Seat(models.Model):
    """A judge's place at a table, called by a letter."""

    table = models.ForeignKey(Table, on_delete=models.CASCADE, related_name="seats")
    letter = models.CharField(max_length=1, validators=[RegexValidator(r"^[A-Z]$", "One capital letter.")])

    class Meta:
        ordering = ["letter"]
        constraints = [models.UniqueConstraint(fields=["table", "letter"], name="seat_letter_once")]

    def __str__(self) -> str:
        return f"Seat {self.letter}"


class Sitting(models.Model):
    """Who sits at a seat in a category: judges may change in the middle of the day.

    A vacant sitting expects no cards; a sitting without a judge's name does.
    """

    seat = models.ForeignKey(Seat, on_delete=models.CASCADE, related_name="sittings")
    category = models.ForeignKey(Category, on_delete=models.CASCADE, related_name="sittings")
    judge = models.ForeignKey("contest.Judge", null=True, blank=True, on_delete=models.PROTECT, related_name="sittings")
    vacant = models.BooleanField(default=False)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["seat", "category"], name="sitting_once"),
            models.UniqueConstraint(
                fields=["category", "judge"],
                condition=Q(judge__isnull=False),
                name="judge_in_one_seat",
                violation_error_message="This judge already sits somewhere else in this category.",
            ),
            models.CheckConstraint(condition=Q(vacant=False) | Q(judge__isnull=True), name="vacant_seat_has_no_judge"),
        ]

    def __str__(self) -> str:
        return f"{self.seat} in {self.category}"
