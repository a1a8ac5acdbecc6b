"""The result of a practice as it is kept, and its sentences: the one reader and writer.

Light to import: pages make the sentences, the statistics behind the figures are worked out once, at closing.
"""

from dataclasses import dataclass
from fractions import Fraction

from contest.rules.say import counted, rounded_text, sentence
from contest.rules.stored import Stored
from judging.rules.outcome import Dropped
from reports.rules.sensory.counts import (
    EVEN,
    GUESS,
    Interval,
    Preference,
    Triangle,
    at_least,
    preference_words,
    triangle_words,
)
from reports.rules.sensory.scorewords import ScoreFigures, score_words

CALLED_OFF = "Called off before the plates went out."


@dataclass(frozen=True, slots=True)
class OddPlate:
    """The plate that a taster named as the odd one; rounds count from 1."""

    taster: int
    round: int
    plate: str
    is_right: bool


@dataclass(frozen=True, slots=True)
class PreferredPlate:
    """The plate that a taster preferred, and the version on it, counted from 1."""

    taster: int
    round: int
    plate: str
    version: int


@dataclass(frozen=True, slots=True)
class TriangleResult:
    """Answers of a triangle test. `share`: of tastings in which the difference was really tasted."""

    answers: tuple[OddPlate, ...]
    correct: int
    needed: int | None
    share: Interval

    @property
    def test(self) -> Triangle:
        """The test; how often guessing does as well is counted again."""
        tastings = len(self.answers)
        return Triangle(tastings, self.correct, self.needed, at_least(self.correct, tastings, GUESS), self.share)


@dataclass(frozen=True, slots=True)
class PreferenceResult:
    """Answers of a paired comparison. `share`: of the answers, for the first version."""

    answers: tuple[PreferredPlate, ...]
    first: int
    second: int
    needed: int | None
    share: Interval

    @property
    def test(self) -> Preference:
        """The test; how often chance alone does as well is counted again."""
        p = min(Fraction(1), 2 * at_least(max(self.first, self.second), len(self.answers), EVEN))
        return Preference(self.first, self.second, self.needed, p, self.share)


@dataclass(frozen=True, slots=True)
class TasterPoints:
    """A taster's points for each version, exact text; None where there is no card."""

    taster: int
    points: tuple[str | None, ...]


@dataclass(frozen=True, slots=True)
class VersionMean:
    """A version's exact mean, and half of its 95% interval; None where the scores leave no scatter."""

    exact: str
    half: float | None

    @property
    def value(self) -> float:
        """The mean as a figure to draw."""
        return float(Fraction(self.exact))

    @property
    def text(self) -> str:
        """The mean for reading."""
        return _short(self.exact)


@dataclass(frozen=True, slots=True)
class Standing:
    """A version as a box of a contest; `version` counts from 1, `total` is exact text, seats are tasters' numbers."""

    place: int | None
    version: int
    total: str | None
    dropped: tuple[Dropped, ...]

    @property
    def total_text(self) -> str:
        """The total for reading."""
        return _short(self.total) if self.total is not None else ""


@dataclass(frozen=True, slots=True)
class ByRules:
    """How the versions would stand; empty where `cards` are not `fewest` to `most`, as the rules want them."""

    cards: int
    fewest: int
    most: int
    standing: tuple[Standing, ...]

    def why_not(self, rule_set: str) -> str:
        """Return why there is no standing, "" where there is one."""
        if self.fewest <= self.cards <= self.most:
            return ""
        how_many = "too few" if self.cards < self.fewest else "too many"
        takes = f"{self.fewest} to {self.most}" if self.fewest < self.most else f"{self.most}"
        return sentence(
            f"{counted(self.cards, 'card')} a version are {how_many} for a total: {rule_set} takes {takes}."
        )


@dataclass(frozen=True, slots=True)
class ScoreResult:
    """Cards of a practice. `possible` and `least`: points of a card; `one_mark`: one more in every criterion."""

    table: tuple[TasterPoints, ...]
    means: tuple[VersionMean, ...]
    figures: ScoreFigures
    possible: float
    least: float
    one_mark: float
    rule_set: str
    by_rules: ByRules

    def points_of(self, version: int) -> dict[str, Fraction]:
        """Return the cards by which a version would place: taster's number → points, of tasters with every card."""
        complete = [row for row in self.table if None not in row.points]
        return {str(row.taster): Fraction(row.points[version - 1] or 0) for row in complete}

    @property
    def why_not(self) -> str:
        """Why the versions have no standing by the rules, "" where they have one."""
        return self.by_rules.why_not(self.rule_set)


@dataclass(frozen=True)
class PracticeResult(Stored):
    """A closed practice: the result of its one question, or of none where it was called off.

    `unfinished`: (taster, done, expected) of those who left halfway. `sum`: SHA-256 of what it was made from.
    """

    versions: tuple[str, ...] = ()
    tasters: int = 0
    unfinished: tuple[tuple[int, int, int], ...] = ()
    sum: str = ""
    triangle: TriangleResult | None = None
    preference: PreferenceResult | None = None
    score: ScoreResult | None = None

    @property
    def words(self) -> list[str]:
        """The result in sentences, the verdict first."""
        if self.triangle is not None:
            return triangle_words(self.triangle.test)
        if self.preference is not None:
            return preference_words(self.preference.test, *self.versions)
        if self.score is not None:
            return score_words(self.score.figures, self.versions, self.score.one_mark)
        return [CALLED_OFF]


def _short(exact: str) -> str:
    return rounded_text(Fraction(exact), 2).removeprefix("about ")
