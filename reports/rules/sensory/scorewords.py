"""What scores of versions say in sentences. Light to import: pages make them, `scoring` makes the figures."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import factorial

from contest.rules.say import count, counted, listed, sentence
from reports.rules.sensory.counts import ALPHA, fewest_tasters, how_often

MOST_TASTERS = 200


@dataclass(frozen=True, slots=True)
class Difference:
    """Version `first` less version `second` (from nought), with its interval."""

    first: int
    second: int
    estimate: float
    low: float
    high: float

    @property
    def is_clear(self) -> bool:
        return self.low > 0 or self.high < 0


@dataclass(frozen=True, slots=True)
class ScoreFigures:
    """`tasters` with a card for every version; `p` of Friedman's test, None where all ranks are tied.

    `differences` is empty where the scores leave no scatter; `error_sd`: of a single card. `enough`: tasters who would
    find a difference of one mark in every criterion, None beyond MOST_TASTERS and without scatter.
    """

    tasters: int
    p: float | None
    differences: tuple[Difference, ...]
    error_sd: float
    enough: int | None

    @property
    def clear(self) -> list[Difference]:
        """The differences that are told: both views agree."""
        if self.p is None or self.p > ALPHA:
            return []
        return [each for each in self.differences if each.is_clear]


def score_words(found: ScoreFigures, names: Sequence[str], one_mark: float) -> list[str]:
    """The result in sentences. `one_mark`: what one mark more in every criterion is worth, in points."""
    return list(_words(found, names, one_mark))


def _words(found: ScoreFigures, names: Sequence[str], one_mark: float) -> Iterator[str]:
    if found.tasters == 0:
        yield "Cannot tell: nobody marked every version."
        return
    clear = found.clear
    if clear:
        yield sentence(listed([_parted(each, names) for each in clear])) + "."
    else:
        yield "Cannot tell: the versions may score alike or not."
    fewest = fewest_tasters(len(names))
    if found.differences:
        yield sentence(_interval(max(found.differences, key=lambda each: abs(each.estimate)), names)) + "."
    elif found.tasters > 1:
        yield "The marks leave no scatter by which a difference could be judged."
    if found.tasters == 1:
        yield f"One taster is too few: one order alone says nothing. {sentence(count(fewest))} is the least."
    elif found.tasters < fewest:
        yield (
            f"{sentence(counted(found.tasters, 'taster'))} are too few: even if all agreed on the order, chance alone "
            f"does that {_chance_of_agreeing(found.tasters, len(names))}. {sentence(count(fewest))} is the least."
        )
    elif found.p is None:
        yield "No taster marked one version higher than another."
    else:
        yield f"By order alone, chance parts them as far {how_often(Fraction(found.p))} (Friedman’s test)."
    if not clear and any(each.is_clear for each in found.differences):
        yield "The interval parts them, the order of the marks alone does not: nothing is claimed before both do."
    if found.error_sd:
        yield _needed(found, one_mark)


def _chance_of_agreeing(tasters: int, versions: int) -> str:
    return how_often(Fraction(1, factorial(versions) ** (tasters - 1)))


def _needed(found: ScoreFigures, one_mark: float) -> str:
    needed = found.enough
    what = f"To find a difference of one mark in every criterion ({one_mark:g} points) at this scatter,"
    if needed is None:
        return f"{what} it takes more than {MOST_TASTERS} tasters."
    there = f"there {'was' if found.tasters == 1 else 'were'} {count(found.tasters)}"
    if found.tasters >= needed:
        return f"{what} {counted(needed, 'taster')} are enough, and {there}: a smaller one takes more."
    return f"{what} it takes {counted(needed, 'taster')}; {there}."


def _parted(each: Difference, names: Sequence[str]) -> str:
    better, worse = (each.first, each.second) if each.estimate > 0 else (each.second, each.first)
    return f"{names[better]} scored higher than {names[worse]}"


def _interval(each: Difference, names: Sequence[str]) -> str:
    """Always written from the version that did better."""
    turn = each.estimate < 0
    one, other = (each.second, each.first) if turn else (each.first, each.second)
    low, high = (-each.high, -each.low) if turn else (each.low, each.high)
    return (
        f"{names[one]} {abs(each.estimate):.1f} points above {names[other]}, "
        f"from {_signed(low)} to {_signed(high)} (95 % interval)"
    )


def _signed(value: float) -> str:
    text = f"{abs(value):.1f}"
    return text if value >= 0 or text == "0.0" else f"−{text}"
