"""Cards and their readings, what captains tick and ask, rulings, and the frozen tally."""

from functools import cached_property

from django.db import models
from django.db.models import Q

from judging.rules.inputs import Inputs, read_inputs
from judging.rules.standings import CategoryStandings, Outcome, read_category, read_outcome


class Card(models.Model):
    """One judge's marks for one box: the slot. Its readings hold the marks."""

    box = models.ForeignKey("contest.Box", on_delete=models.CASCADE, related_name="cards")
    seat = models.ForeignKey("contest.Seat", on_delete=models.PROTECT, related_name="cards")

    class Meta:
        constraints = [models.UniqueConstraint(fields=["box", "seat"], name="one_card_a_seat_and_box")]

    def __str__(self) -> str:
        return f"card of {self.seat} for {self.box}"


class Reading(models.Model):
    """One keying of a card. Nothing is overwritten: a correction is a new reading that stands."""

    class Kind(models.TextChoices):
        FIRST = "first", "first"
        SECOND = "second", "second"
        CORRECTION = "correction", "correction"
        CONFLICT = "conflict", "conflict"

    card = models.ForeignKey(Card, on_delete=models.CASCADE, related_name="readings")
    kind = models.CharField(max_length=10, choices=Kind.choices, default=Kind.FIRST)
    standing = models.BooleanField(default=True)
    client_key = models.CharField(max_length=64, unique=True, null=True, blank=True)
    device = models.CharField(max_length=64, blank=True)
    # What a phone says of itself, kept as information and decided by nowhere: its count of cards, its clock.
    client_number = models.PositiveIntegerField(null=True, blank=True)
    client_time = models.CharField(max_length=40, blank=True)
    by = models.CharField(max_length=120, blank=True)
    reason = models.CharField(max_length=300, blank=True)
    at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(fields=["card"], condition=Q(standing=True), name="one_standing_reading"),
            models.CheckConstraint(condition=~Q(kind="correction") | ~Q(reason=""), name="correction_has_reason"),
        ]

    def __str__(self) -> str:
        return f"{self.kind} reading of {self.card}"


class Resolution(models.Model):
    """A second keying or a conflict that differed from what stood, looked up on the paper.

    `STANDING`: the marks that stood are the paper's. `OTHER`: the marks of `reading` are; they were then put in
    place as a correction.
    """

    class Chosen(models.TextChoices):
        STANDING = "standing", "the marks that stood"
        OTHER = "other", "the other marks"

    reading = models.OneToOneField(Reading, on_delete=models.CASCADE, related_name="resolution")
    chosen = models.CharField(max_length=8, choices=Chosen.choices)
    reason = models.CharField(max_length=300)
    by = models.CharField(max_length=120, blank=True)
    at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = [models.CheckConstraint(condition=~Q(reason=""), name="resolution_has_reason")]

    def __str__(self) -> str:
        return f"{self.get_chosen_display()} for {self.reading}"


class Mark(models.Model):
    reading = models.ForeignKey(Reading, on_delete=models.CASCADE, related_name="marks")
    criterion = models.CharField(max_length=30)
    value = models.DecimalField(max_digits=7, decimal_places=3)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["reading", "criterion"], name="mark_once")]

    def __str__(self) -> str:
        return f"{self.criterion} {self.value}"


class Arrival(models.Model):
    """The table captain ticked a box in at the table."""

    box = models.OneToOneField("contest.Box", on_delete=models.CASCADE, related_name="arrival")
    by = models.CharField(max_length=120)
    at = models.DateTimeField(auto_now_add=True)

    def __str__(self) -> str:
        return f"{self.box} at its table"


class Collected(models.Model):
    """The table captain holds the finished score sheet of a seat."""

    seat = models.ForeignKey("contest.Seat", on_delete=models.CASCADE, related_name="collected")
    category = models.ForeignKey("contest.Category", on_delete=models.CASCADE, related_name="collected")
    by = models.CharField(max_length=120)
    at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["seat", "category"], name="sheet_collected_once")]

    def __str__(self) -> str:
        return f"sheet of {self.seat} in {self.category}"


class PortionsRound(models.Model):
    """The portions of a flight go round its table: from here on the marks for appearance stand."""

    table = models.ForeignKey("contest.Table", on_delete=models.CASCADE, related_name="portions_rounds")
    category = models.ForeignKey("contest.Category", on_delete=models.CASCADE, related_name="portions_rounds")
    by = models.CharField(max_length=120)
    at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["table", "category"], name="portions_go_round_once")]

    def __str__(self) -> str:
        return f"portions of {self.category} at {self.table}"


class Call(models.Model):
    """A table asks for the head judge; stands until answered."""

    class About(models.TextChoices):
        QUESTION = "question", "A question about a box"
        PORTIONS = "portions", "Too few portions"
        NUMBER = "number", "A number that is wrong or cannot be read"

    contest = models.ForeignKey("contest.Contest", on_delete=models.CASCADE, related_name="calls")
    table = models.ForeignKey("contest.Table", on_delete=models.CASCADE, related_name="calls")
    category = models.ForeignKey("contest.Category", on_delete=models.CASCADE, related_name="calls")
    box = models.ForeignKey("contest.Box", null=True, blank=True, on_delete=models.CASCADE, related_name="calls")
    about = models.CharField(max_length=10, choices=About.choices)
    text = models.CharField(max_length=300, blank=True)
    by = models.CharField(max_length=120)
    at = models.DateTimeField(auto_now_add=True)
    answered_at = models.DateTimeField(null=True, blank=True)
    answer = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["-id"]

    def __str__(self) -> str:
        return f"{self.get_about_display()} at {self.table}"


class Ruling(models.Model):
    """The head judge's ruling on a box number; taken back by a row of its own reason, never deleted.

    A team's disqualification is ruled on one of its boxes; to whom the box belongs stays sealed, so its other
    boxes follow only when the tally closes.
    """

    class Kind(models.TextChoices):
        PENALTY = "penalty", "penalty"
        DISQUALIFICATION = "disqualification", "disqualification"
        LOST = "lost", "card lost"
        DISMISSAL = "dismissal", "card dismissed"

    class Scope(models.TextChoices):
        CRITERION = "criterion", "one criterion, every judge"
        CARD = "card", "one card"
        BOX = "box", "the whole box"
        TEAM = "team", "the team"

    contest = models.ForeignKey("contest.Contest", on_delete=models.CASCADE, related_name="rulings")
    kind = models.CharField(max_length=16, choices=Kind.choices)
    scope = models.CharField(max_length=9, choices=Scope.choices)
    box = models.ForeignKey("contest.Box", on_delete=models.PROTECT, related_name="rulings")
    seat = models.ForeignKey("contest.Seat", null=True, blank=True, on_delete=models.PROTECT, related_name="rulings")
    criterion = models.CharField(max_length=30, blank=True)
    reason = models.CharField(max_length=300)
    by = models.CharField(max_length=120)
    at = models.DateTimeField(auto_now_add=True)
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    withdrawn_why = models.CharField(max_length=300, blank=True)
    said: str  # in words: set by the page that shows it
    # A dismissed reading: the card waits until another reading stands.
    dismissed_reading = models.ForeignKey(
        Reading, null=True, blank=True, on_delete=models.PROTECT, related_name="dismissals"
    )

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(condition=~Q(reason=""), name="ruling_has_reason"),
            models.CheckConstraint(
                name="ruling_scope_fits_kind",
                condition=(
                    Q(kind="penalty", scope__in=["criterion", "card", "box"])
                    | Q(kind="disqualification", scope__in=["box", "team"])
                    | Q(kind__in=["lost", "dismissal"], scope="card")
                ),
            ),
            models.CheckConstraint(
                name="ruling_on_card_names_seat",
                condition=(Q(scope="card", seat__isnull=False) | ~Q(scope="card")),
            ),
            models.CheckConstraint(
                name="ruling_on_criterion_names_it",
                condition=(Q(scope="criterion") & ~Q(criterion="")) | ~Q(scope="criterion"),
            ),
            models.CheckConstraint(
                condition=Q(withdrawn_at__isnull=True) | ~Q(withdrawn_why=""),
                name="ruling_withdrawn_with_reason",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} on {self.box}"


class Tally(models.Model):
    """The frozen tally of a contest; earlier revisions stay. `source` and `standings` read its JSON."""

    contest = models.ForeignKey("contest.Contest", on_delete=models.CASCADE, related_name="tallies")
    revision = models.PositiveSmallIntegerField(default=1)
    reason = models.CharField(max_length=300, blank=True)
    inputs_hash = models.CharField(max_length=64)
    inputs = models.JSONField()
    outcome = models.JSONField()
    closed_by = models.CharField(max_length=120)
    closed_at = models.DateTimeField(auto_now_add=True)
    signed_by = models.CharField(max_length=120, blank=True)
    signed_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["revision"]
        verbose_name_plural = "tallies"
        constraints = [
            models.UniqueConstraint(fields=["contest", "revision"], name="tally_revision_once"),
            models.CheckConstraint(condition=Q(revision=1) | ~Q(reason=""), name="revision_has_reason"),
        ]

    def __str__(self) -> str:
        return f"Tally {self.revision} of {self.contest}"

    @cached_property
    def source(self) -> Inputs:
        """What was tallied: rule sets, boxes and cards."""
        return read_inputs(self.inputs)

    @cached_property
    def standings(self) -> Outcome:
        """What it came to, as codes and figures."""
        return read_outcome(self.outcome)

    def category(self, key: str) -> CategoryStandings | None:
        """Return one category of the standings, None where it was not held: for pages that read many tallies."""
        return read_category(self.outcome, key)
