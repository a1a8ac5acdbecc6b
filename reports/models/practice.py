"""A blind tasting at home. The contest beside it holds what every contest has: boxes, seats, cards, draw and log.

A practice is a contest of kind practice that no account has a part in. Each taster sits alone at a table, so that a
box is one taster's plate; rounds are categories. What is on which plate stands in a table of its own, as the pairing
of a contest does, and no taster's page reads it.
"""

from functools import cached_property

from django.db import models
from django.db.models import Q

from reports.rules.sensory.tasted import PracticeResult


class Practice(models.Model):
    """`served_at`: the plates are out, and the key is closed to the cook as well. `result` is frozen at closing."""

    class Question(models.TextChoices):
        TRIANGLE = "triangle", "Can they tell the difference?"
        PREFERENCE = "preference", "Which do they prefer?"
        SCORE = "score", "How do the versions score?"

    contest = models.OneToOneField("contest.Contest", on_delete=models.CASCADE, related_name="practice")
    team = models.ForeignKey("contest.Team", on_delete=models.CASCADE, related_name="practices")
    question = models.CharField(max_length=10, choices=Question.choices)
    dish = models.CharField(max_length=60)
    served_at = models.DateTimeField(null=True, blank=True)
    closed_at = models.DateTimeField(null=True, blank=True)
    result = models.JSONField(null=True, blank=True)

    class Meta:
        ordering = ["-contest__date", "-id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(closed_at__isnull=True, result__isnull=True)
                | Q(closed_at__isnull=False, result__isnull=False),
                name="practice_closed_with_result",
            )
        ]

    def __str__(self) -> str:
        return f"{self.dish}: {self.get_question_display()}"

    @cached_property
    def outcome(self) -> PracticeResult:
        """The result of a closed practice. Raises StoredError where another version kept it."""
        return PracticeResult.from_json(self.result)

    @cached_property
    def words(self) -> list[str]:
        """The result of a closed practice in sentences."""
        return self.outcome.words

    @property
    def verdict(self) -> str:
        """The first of them."""
        return self.words[0]


class Version(models.Model):
    """One of the recipes, woods or rubs that are compared."""

    practice = models.ForeignKey(Practice, on_delete=models.CASCADE, related_name="versions")
    order = models.PositiveSmallIntegerField()
    name = models.CharField(max_length=40)

    class Meta:
        ordering = ["order"]
        constraints = [
            models.UniqueConstraint(fields=["practice", "order"], name="version_order_once"),
            models.UniqueConstraint(fields=["practice", "name"], name="version_name_once"),
        ]

    def __str__(self) -> str:
        return self.name


class Taster(models.Model):
    """Who sits at a seat, by whatever name the cook knows them."""

    practice = models.ForeignKey(Practice, on_delete=models.CASCADE, related_name="tasters")
    seat = models.OneToOneField("contest.Seat", on_delete=models.CASCADE, related_name="taster")
    name = models.CharField(max_length=40)

    class Meta:
        ordering = ["seat__table__number"]

    def __str__(self) -> str:
        return self.name


class Plate(models.Model):
    """What is on a plate. Read by the cook's serving page until the plates are out, and after closing."""

    box = models.OneToOneField("contest.Box", on_delete=models.CASCADE, related_name="plate")
    version = models.ForeignKey(Version, on_delete=models.PROTECT, related_name="plates")

    def __str__(self) -> str:
        return f"plate {self.box}"


class Answer(models.Model):
    """The plate that a taster named in one round: the odd one, or the preferred one. It stands as it is given."""

    seat = models.ForeignKey("contest.Seat", on_delete=models.PROTECT, related_name="answers")
    category = models.ForeignKey("contest.Category", on_delete=models.PROTECT, related_name="answers")
    box = models.ForeignKey("contest.Box", on_delete=models.PROTECT, related_name="answers")
    at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["seat", "category"], name="one_answer_a_taster_and_round")]

    def __str__(self) -> str:
        return f"answer of {self.seat}"
