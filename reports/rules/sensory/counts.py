"""Can they tell two versions apart, and which do they prefer: exact tests that hold for three tasters and for thirty.

Both count answers. Without a difference an answer in a triangle test is right one time in three, and in a paired
comparison either plate is named one time in two; how often chance alone does as well is a sum of binomial terms,
computed exactly. Sources: ISO 4120 (triangle test), ISO 5495 (paired comparison), whose tables are recomputed in the
tests; the interval is Clopper and Pearson's (1934).
"""

from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from math import comb, factorial

from contest.rules.say import count, counted, sentence

ALPHA = Fraction(1, 20)
POWER = Fraction(4, 5)
GUESS, EVEN = Fraction(1, 3), Fraction(1, 2)
#: What the number of tasters is worked out for: every other taster really tastes the difference …
HALF_TASTE_IT = Fraction(1, 2) + Fraction(1, 2) * GUESS
#: … or three of four like one version better.
THREE_IN_FOUR = Fraction(3, 4)
MOST = 400


@dataclass(frozen=True, slots=True)
class Interval:
    """A share with its 95 % interval."""

    estimate: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Triangle:
    """`needed`: the smallest number of right answers that tells, None where even all of them would not.

    `tasters`: share of tastings in which the difference was really tasted, not guessed.
    """

    tastings: int
    correct: int
    needed: int | None
    p: Fraction
    tasters: Interval

    @property
    def tells(self) -> bool:
        return self.needed is not None and self.correct >= self.needed


@dataclass(frozen=True, slots=True)
class Preference:
    """Answers for either version; `needed` as in Triangle, of the version that is named more often."""

    first: int
    second: int
    needed: int | None
    p: Fraction
    share: Interval

    @property
    def answers(self) -> int:
        return self.first + self.second

    @property
    def tells(self) -> bool:
        return self.needed is not None and max(self.first, self.second) >= self.needed


@lru_cache(maxsize=4096)
def at_least(hits: int, tries: int, chance: Fraction) -> Fraction:
    """The exact probability of `hits` or more in `tries`.

    >>> at_least(3, 3, Fraction(1, 3))
    Fraction(1, 27)
    """
    top, below = chance.numerator, chance.denominator
    ways = sum(comb(tries, k) * top**k * (below - top) ** (tries - k) for k in range(max(hits, 0), tries + 1))
    return Fraction(ways, below**tries)


def smallest(tries: int, chance: Fraction, *, alpha: Fraction = ALPHA, two_sided: bool = False) -> int | None:
    """The smallest number of hits that chance reaches with a probability of `alpha` at most; None: there is none.

    `two_sided`: either side may be ahead, as where no preference was expected beforehand.
    """
    sides = 2 if two_sided else 1
    for hits in range(tries + 1):
        if sides * at_least(hits, tries, chance) <= alpha and 2 * hits > (sides - 1) * tries:
            return hits
    return None


def smallest_correct(tastings: int, alpha: Fraction = ALPHA) -> int | None:
    """Triangle test: how many answers must be right."""
    return smallest(tastings, GUESS, alpha=alpha)


def smallest_preference(answers: int, alpha: Fraction = ALPHA) -> int | None:
    """Paired comparison, two-sided: how often one version must be named."""
    return smallest(answers, EVEN, alpha=alpha, two_sided=True)


def power(tries: int, chance: Fraction, real: Fraction, *, two_sided: bool = False) -> Fraction:
    """How often `tries` find what is there, where each hit has the probability `real`."""
    needed = smallest(tries, chance, two_sided=two_sided)
    if needed is None:
        return Fraction(0)
    found = at_least(needed, tries, real)
    return found + (1 - at_least(tries - needed + 1, tries, real) if two_sided else 0)


@lru_cache(maxsize=64)
def tries_for(chance: Fraction, real: Fraction, *, two_sided: bool = False) -> int:
    """The smallest number of tries that finds `real` four times in five. Raises ValueError beyond MOST."""
    for tries in range(1, MOST + 1):
        if power(tries, chance, real, two_sided=two_sided) >= POWER:
            return tries
    raise ValueError(f"more than {MOST} tries would be needed")


def tastings_needed() -> int:
    """Triangle: tastings that find a difference which every other taster really tastes, four times in five."""
    return tries_for(GUESS, HALF_TASTE_IT)


def answers_needed() -> int:
    """Preference: tasters that find a preference of three in four, four times in five."""
    return tries_for(EVEN, THREE_IN_FOUR, two_sided=True)


def fewest_tastings() -> int:
    """Below this even right answers all round tell nothing."""
    return next(tries for tries in range(1, 20) if smallest_correct(tries) is not None)


def fewest_answers() -> int:
    return next(tries for tries in range(1, 20) if smallest_preference(tries) is not None)


def fewest_tasters(versions: int) -> int:
    """Scores: below this even tasters who agree on the whole order do not make a test by ranks tell."""
    return next(n for n in range(2, 20) if Fraction(1, factorial(versions) ** (n - 1)) <= ALPHA)


#: Scores: tasters who find a difference as large as the scatter of one card, four times in five, by number of
#: versions; worked out by ``scoring.tasters_for``, against which the tests hold it.
SCATTER_TASTERS = {2: 18, 3: 22, 4: 25, 5: 27, 6: 28}


def beforehand(question: str, tastings: int, versions: int) -> list[str]:
    """What it will take, said before anybody tastes. `question` as in ``tasting``; `tastings`: answers expected."""
    if question == "triangle":
        needed = smallest_correct(tastings)
        more = f"A difference that every other taster really tastes needs {tastings_needed()} tastings to be found."
        least = f"{sentence(counted(fewest_tastings(), 'tasting'))} are the least that can tell"
    elif question == "preference":
        needed = smallest_preference(tastings)
        more = f"A preference of three in four needs {answers_needed()} tasters to be found."
        least = f"{sentence(counted(fewest_answers(), 'taster'))} are the least that can tell"
    else:
        fewest = fewest_tasters(versions)
        enough = f"Tasters here: {tastings}."
        if tastings < fewest:
            enough = f"{sentence(counted(tastings, 'taster'))} cannot tell, however they mark."
        return [
            f"{sentence(counted(fewest, 'taster'))} are the least that can tell {counted(versions, 'version')} apart. "
            f"{enough}",
            f"A difference as large as the scatter of one card needs {SCATTER_TASTERS[versions]} tasters to be found.",
        ]
    if needed is None:
        return [f"{least}; {tastings} will answer, and the result will be “cannot tell”.", more]
    if question == "triangle":
        chance = how_often(at_least(needed, tastings, GUESS))
        return [f"{needed} of {tastings} must find the odd plate: guessing does that {chance}.", more]
    chance = how_often(min(Fraction(1), 2 * at_least(needed, tastings, EVEN)))
    return [f"{needed} of {tastings} must prefer the same version: chance alone does that {chance}.", more]


def triangle(tastings: int, correct: int) -> Triangle:
    """The triangle test. Raises ValueError where `correct` is not between 0 and `tastings`.

    Tastings of one taster in several rounds count one by one: without a difference each of them is a guess of its
    own, so the test holds; what it finds is said of these tasters, not of all.
    """
    _check(correct, tastings)
    share = _share(correct, tastings)
    above = (float((Fraction(value) - GUESS) / (1 - GUESS)) for value in (share.estimate, share.low, share.high))
    estimate, low, high = (max(0.0, value) for value in above)
    return Triangle(
        tastings, correct, smallest_correct(tastings), at_least(correct, tastings, GUESS), Interval(estimate, low, high)
    )


def preference(first: int, second: int) -> Preference:
    """The paired comparison, two-sided; one answer a taster. Raises ValueError for negative numbers."""
    answers = first + second
    _check(first, answers)
    ahead = max(first, second)
    p = min(Fraction(1), 2 * at_least(ahead, answers, EVEN))
    return Preference(first, second, smallest_preference(answers), p, _share(first, answers))


def _check(hits: int, tries: int) -> None:
    if not 0 <= hits <= tries:
        raise ValueError(f"{hits} of {tries} answers is no count")


def _share(hits: int, tries: int) -> Interval:
    """A share with its exact (Clopper and Pearson) 95 % interval; all of it open without answers."""
    if tries == 0:
        return Interval(0.0, 0.0, 1.0)
    from scipy import stats  # slow to import: not on the way to a page that only says what will be needed

    low = float(stats.beta.ppf(0.025, hits, tries - hits + 1)) if hits else 0.0
    high = float(stats.beta.ppf(0.975, hits + 1, tries - hits)) if hits < tries else 1.0
    return Interval(hits / tries, low, high)


def how_often(p: Fraction) -> str:
    """A probability as a cook says it.

    >>> how_often(Fraction(1, 27)), how_often(Fraction(7, 27)), how_often(Fraction(1, 2**30))
    ('one time in 27', '26 times in 100', 'less than one time in 1000')
    """
    if p >= 1:
        return "every time"
    if p.numerator == 1 and p.denominator <= 100:
        return f"one time in {p.denominator}"
    if p < Fraction(1, 1000):
        return "less than one time in 1000"
    if p < Fraction(1, 20):
        return f"one time in {round(1 / p)}"
    return f"{round(100 * p)} times in 100"


def triangle_words(found: Triangle) -> list[str]:
    """The result in sentences: the verdict first, then what it rests on and what it would take."""
    right = f"{found.correct} of {found.tastings}"
    if found.tastings == 0:
        return ["Cannot tell: nobody answered."]
    if found.needed is None:
        return [
            f"Cannot tell: {counted(found.tastings, 'tasting')} {'is' if found.tastings == 1 else 'are'} too few.",
            f"{right} found the odd plate; even if all had, guessing does that "
            f"{how_often(at_least(found.tastings, found.tastings, GUESS))}.",
            _it_takes_tastings(found.tastings),
        ]
    if found.tells:
        return [
            "They can tell the difference.",
            f"{right} found the odd plate; {found.needed} were needed. Guessing does as well {how_often(found.p)}.",
            f"That makes {_percent(found.tasters.estimate)} of the tastings in which it was really tasted, anything "
            f"from {_percent(found.tasters.low)} to {_percent(found.tasters.high)} (95 % interval).",
        ]
    return [
        "Cannot tell: they may taste a difference or not.",
        f"{right} found the odd plate; {found.needed} were needed. Guessing does as well {how_often(found.p)}. "
        "That does not show that the versions taste alike.",
        _it_takes_tastings(found.tastings),
    ]


def _it_takes_tastings(had: int) -> str:
    needed = tastings_needed()
    text = f"To find a difference that every other taster really tastes, it takes {needed} tastings"
    if had >= needed:
        return f"{text}; there were {had}: a difference of that size would probably have shown."
    return f"{text}; {had} {'was' if had == 1 else 'were'} had. {sentence(count(fewest_tastings()))} is the least."


def preference_words(found: Preference, first: str, second: str) -> list[str]:
    """The result in sentences; `first` and `second` are the versions' names."""
    if found.answers == 0:
        return ["Cannot tell: nobody answered."]
    ahead, behind, most = (first, second, found.first) if found.first >= found.second else (second, first, found.second)
    score = f"{most} of {found.answers} preferred {ahead}"
    if found.first == found.second:
        score = f"{found.first} preferred {first} and {found.second} {second}"
    if found.needed is None:
        return [
            f"Cannot tell: {counted(found.answers, 'taster')} {'is' if found.answers == 1 else 'are'} too few.",
            f"{score}; even if all agreed, chance alone does that "
            f"{how_often(min(Fraction(1), 2 * at_least(found.answers, found.answers, EVEN)))}.",
            _it_takes_answers(found.answers),
        ]
    if found.tells:
        share = found.share if ahead == first else Interval(1 - found.share.estimate, 1 - found.share.high,
                                                           1 - found.share.low)  # fmt: skip
        return [
            f"They prefer {ahead} to {behind}.",
            f"{score}; {found.needed} were needed. Chance alone parts them so far {how_often(found.p)}.",
            f"Of tasters like these, {_percent(share.low)} to {_percent(share.high)} prefer {ahead} (95 % interval).",
        ]
    return [
        "Cannot tell which they prefer.",
        f"{score}; {found.needed} were needed. Chance alone parts them so far {how_often(found.p)}.",
        _it_takes_answers(found.answers),
    ]


def _it_takes_answers(had: int) -> str:
    needed = answers_needed()
    text = f"To find a preference of three in four, it takes {needed} tasters"
    if had >= needed:
        return f"{text}; there were {had}: a preference of that size would probably have shown."
    return f"{text}; {had} {'was' if had == 1 else 'were'} there. {sentence(count(fewest_answers()))} is the least."


def _percent(share: float) -> str:
    return f"{100 * share:.0f} %"
