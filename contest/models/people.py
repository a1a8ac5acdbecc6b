"""Accounts, passes and roles; teams and their entries; judges and their conflicts."""

import uuid

from django.contrib.auth.models import AbstractUser
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q

from contest.present import present


class Account(AbstractUser):
    """Somebody who signs in with a name and a password. Most people of the day use a pass instead."""

    def __str__(self) -> str:
        return self.get_full_name() or self.username


class Team(models.Model):
    """A team over the years; `Entry` is the team in one contest."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    name = models.CharField(max_length=120)
    head_cook = models.CharField(max_length=120, blank=True)
    home = models.CharField(max_length=120, blank=True)

    class Meta:
        ordering = ["name", "id"]

    def __str__(self) -> str:
        return self.name


class TeamMember(models.Model):
    team = models.ForeignKey(Team, on_delete=models.CASCADE, related_name="members")
    account = models.ForeignKey(Account, on_delete=models.CASCADE, related_name="teams")

    class Meta:
        constraints = [models.UniqueConstraint(fields=["team", "account"], name="team_member_once")]

    def __str__(self) -> str:
        return f"{self.account} of {self.team}"


class Entry(models.Model):
    """A team in one contest, under its team number, with the record of check-in and meat inspection."""

    contest = models.ForeignKey("contest.Contest", on_delete=models.CASCADE, related_name="entries")
    team = models.ForeignKey(Team, on_delete=models.PROTECT, related_name="entries")
    number = models.PositiveSmallIntegerField(validators=[MinValueValidator(1), MaxValueValidator(9999)])
    sheet_key = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    arrived_at = models.DateTimeField(null=True, blank=True)
    arrived_by = models.CharField(max_length=120, blank=True)
    meat_raw = models.BooleanField(default=False)
    meat_unseasoned = models.BooleanField(default=False)
    meat_cold = models.BooleanField(default=False)
    inspected_at = models.DateTimeField(null=True, blank=True)
    inspected_by = models.CharField(max_length=120, blank=True)
    problem = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["number"]
        verbose_name_plural = "entries"
        constraints = [
            models.UniqueConstraint(
                fields=["contest", "number"],
                name="team_number_once",
                violation_error_message="Another team of this contest has this team number.",
            ),
            models.UniqueConstraint(
                fields=["contest", "team"],
                name="team_once_a_contest",
                violation_error_message="This team is entered already.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.number} {self.team}"

    @property
    def meat_in_order(self) -> bool:
        """The inspection found the meat raw, unseasoned and cold, and no problem stands."""
        return self.meat_raw and self.meat_unseasoned and self.meat_cold and not self.problem


class Entered(models.Model):
    """One category that an entry takes part in, or withdrew from."""

    entry = models.ForeignKey(Entry, on_delete=models.CASCADE, related_name="entered")
    category = models.ForeignKey("contest.Category", on_delete=models.CASCADE, related_name="entered")
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    withdrawn_why = models.CharField(max_length=300, blank=True)

    class Meta:
        verbose_name_plural = "entered"
        constraints = [models.UniqueConstraint(fields=["entry", "category"], name="entered_once")]

    def __str__(self) -> str:
        return f"{self.entry} in {self.category}"


class Judge(models.Model):
    """A judge over the years. Erasing a person blanks the name and keeps the row, so that marks stand."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    name = models.CharField(max_length=120)
    contests_judged = models.PositiveSmallIntegerField(
        "contests judged before", default=0, validators=[MaxValueValidator(2000)]
    )
    conflicts = models.ManyToManyField(Team, through="JudgeConflict", related_name="conflicting_judges")
    erased_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["name", "id"]

    def __str__(self) -> str:
        return self.name or "an erased judge"


class JudgeConflict(models.Model):
    """A judge who is close to a team: family, member, sponsor."""

    judge = models.ForeignKey(Judge, on_delete=models.CASCADE)
    team = models.ForeignKey(Team, on_delete=models.CASCADE)
    declared_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["judge", "team"], name="judge_conflict_once")]

    def __str__(self) -> str:
        return f"{self.judge} and {self.team}"


class Attendance(models.Model):
    """A judge on the list of one contest."""

    contest = models.ForeignKey("contest.Contest", on_delete=models.CASCADE, related_name="attendances")
    judge = models.ForeignKey(Judge, on_delete=models.PROTECT, related_name="attendances")
    absent = models.BooleanField(default=False)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["contest", "judge"],
                name="judge_once_a_contest",
                violation_error_message="This judge is on the list already.",
            )
        ]

    def __str__(self) -> str:
        return f"{self.judge} at {self.contest}"


class ContestRole(models.Model):
    """What an account does in one contest: one row, so that the seal is a constraint of the row.

    The desk knows whose box is whose; every other role sees marks. No row holds both unless the contest was
    declared a one-person contest, of which `one_person` is the copy that the constraint reads.
    """

    contest = models.ForeignKey("contest.Contest", on_delete=models.CASCADE, related_name="roles")
    account = models.ForeignKey(Account, on_delete=models.CASCADE, related_name="contest_roles")
    organiser = models.BooleanField(default=False)
    announcer = models.BooleanField(default=False)
    head_judge = models.BooleanField(default=False)
    tally = models.BooleanField("tally clerk", default=False)
    desk = models.BooleanField("turn-in desk", default=False)
    one_person = models.BooleanField(default=False, editable=False)

    NAMES = ("organiser", "announcer", "head_judge", "tally", "desk")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["contest", "account"], name="one_role_row_an_account"),
            models.CheckConstraint(
                condition=Q(desk=False)
                | Q(one_person=True)
                | Q(organiser=False, announcer=False, head_judge=False, tally=False),
                name="desk_beside_no_other_role",
                violation_error_message=(
                    "The turn-in desk knows whose box is whose and cannot hold another role. Give the desk to "
                    "somebody else, or declare the contest a one-person contest, which is printed on the result."
                ),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.account} at {self.contest}"

    @property
    def held(self) -> frozenset[str]:
        return frozenset(name for name in self.NAMES if getattr(self, name))


class Pass(models.Model):
    """A pass word that opens one door: an account, the desk of a contest, a table or a seat.

    The word itself is not stored: `contest.services.passes` derives it from the installation's secret key, so
    that a sign-in slip can be shown again, and finds the row by the word's digest.
    """

    class Opens(models.TextChoices):
        ACCOUNT = "account", "Account"
        DESK = "desk", "Turn-in desk"
        TABLE = "table", "Table captain"
        SEAT = "seat", "Judge"

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    digest = models.CharField(max_length=64, unique=True, editable=False)
    opens = models.CharField(max_length=8, choices=Opens.choices)
    contest = models.ForeignKey(
        "contest.Contest", null=True, blank=True, on_delete=models.CASCADE, related_name="passes"
    )
    account = models.ForeignKey(Account, null=True, blank=True, on_delete=models.CASCADE, related_name="passes")
    table = models.ForeignKey("contest.Table", null=True, blank=True, on_delete=models.CASCADE, related_name="passes")
    seat = models.ForeignKey("contest.Seat", null=True, blank=True, on_delete=models.CASCADE, related_name="passes")
    issued_at = models.DateTimeField(auto_now_add=True)
    revoked_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        verbose_name_plural = "passes"
        constraints = [
            models.CheckConstraint(
                name="pass_opens_one_door",
                condition=(
                    Q(opens="account", account__isnull=False, table__isnull=True, seat__isnull=True)
                    | Q(
                        opens="desk",
                        contest__isnull=False,
                        account__isnull=True,
                        table__isnull=True,
                        seat__isnull=True,
                    )
                    | Q(
                        opens="table",
                        contest__isnull=False,
                        account__isnull=True,
                        table__isnull=False,
                        seat__isnull=True,
                    )
                    | Q(
                        opens="seat",
                        contest__isnull=False,
                        account__isnull=True,
                        table__isnull=True,
                        seat__isnull=False,
                    )
                ),
            ),
            models.UniqueConstraint(
                fields=["contest"], condition=Q(opens="desk", revoked_at__isnull=True), name="one_desk_pass"
            ),
            models.UniqueConstraint(
                fields=["table"], condition=Q(opens="table", revoked_at__isnull=True), name="one_table_pass"
            ),
            models.UniqueConstraint(
                fields=["seat"], condition=Q(opens="seat", revoked_at__isnull=True), name="one_seat_pass"
            ),
            models.UniqueConstraint(
                fields=["account"],
                condition=Q(opens="account", revoked_at__isnull=True),
                name="one_account_pass",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_opens_display()} pass"

    @property
    def has_ended(self) -> bool:
        """A captain's and a judge's pass opens nothing once the tally of their contest is closed."""
        return self.opens in (self.Opens.TABLE, self.Opens.SEAT) and not present(self.contest).is_sealed


class SeatToken(models.Model):
    """What a judge's phone sends cards with once the seat's pass was used on it.

    Like a pass word it is derived from the installation's secret key, and only its digest is kept. It outlives the
    sign-in, so that cards which waited on a phone still arrive; it ends with its pass or when the tally is closed.
    """

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    held_pass = models.ForeignKey(Pass, on_delete=models.CASCADE, related_name="tokens")
    digest = models.CharField(max_length=64, editable=False)
    issued_at = models.DateTimeField(auto_now_add=True)

    def __str__(self) -> str:
        return f"token of {self.held_pass}"


class FailedTries(models.Model):
    """How often something that opens a door was wrong of late: counted for a name, and for a name at an address."""

    key = models.CharField(max_length=64, unique=True)
    number = models.PositiveIntegerField(default=0)
    since = models.DateTimeField()

    class Meta:
        verbose_name_plural = "failed tries"

    def __str__(self) -> str:
        return f"{self.number} failed tries"
