"""What a trend says in a sentence. Light to import: pages make the sentence, the worker's child the figures."""

from dataclasses import dataclass

from contest.rules.say import count

FEWEST = 3  # contests; below, no slope is told
# A chance between 1 − this and this tells nothing. A cook reads some nine charts a season: at 3 in 4 one or two of them
# would claim something by luck alone.
UNSURE = 0.9
# Rounded down: a claim is never stronger than its chance.
_ODDS = ((0.98, "49 in 50"), (0.95, "19 in 20"), (UNSURE, "9 in 10"))


@dataclass(frozen=True, slots=True)
class Trend:
    """A cook's slope, in points a contest; ``slope``, ``error`` and ``chance`` are None where it cannot be told at all.

    ``slope`` and ``error``: mean and standard deviation of its posterior; ``chance``: that it is above nought.
    """

    contests: int
    slope: float | None = None
    error: float | None = None
    chance: float | None = None


def sentence(trend: Trend, subject: str, *, unit: str = "points", span: str = "this season") -> str:
    """The trend in plain words, for a page: ``subject`` as in "ribs".

    >>> sentence(Trend(5, 1.13, 0.8, 0.92), "ribs")
    'Your ribs rose about 1.1 points a contest this season; 9 in 10 that it is real.'
    >>> sentence(Trend(4, 0.2, 0.8, 0.6), "ribs")
    'Whether your ribs rose or fell this season, four contests cannot tell.'
    >>> sentence(Trend(2), "ribs")
    'Not enough contests yet: a trend of your ribs needs three, there are two.'
    """
    if trend.contests < FEWEST:
        there = "is one" if trend.contests == 1 else f"are {'none' if not trend.contests else count(trend.contests)}"
        return f"Not enough contests yet: a trend of your {subject} needs {count(FEWEST)}, there {there}."
    if trend.slope is None or trend.chance is None or max(trend.chance, 1 - trend.chance) < UNSURE - 1e-12:
        return f"Whether your {subject} rose or fell {span}, {count(trend.contests)} contests cannot tell."
    up = trend.chance > 0.5
    chance = trend.chance if up else 1 - trend.chance
    odds = next(words for least, words in _ODDS if chance >= least - 1e-12)
    slope = f"{abs(trend.slope):.1f}"
    size = f"about {slope} {unit}" if slope != "0.0" else f"less than 0.1 {unit}"
    return f"Your {subject} {'rose' if up else 'fell'} {size} a contest {span}; {odds} that it is real."
