"""A cook planned back from its turn-in: stage lengths → moments.

The plan ends at the turn-in time, never at the close of the window. Lengths are minutes that pass, so the arithmetic
is done in UTC: a night in which the clocks change is an hour longer or shorter on the clock, not for the meat.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

#: The stages in the order of the cook, with the words for the moment when each begins.
STAGES: Mapping[str, str] = {
    "season": "Season",
    "pit": "On the pit",
    "wrap": "Wrap",
    "off": "Off the pit",
    "rest": "Rest",
    "hold": "Hold hot",
    "sauce": "Sauce",
    "set": "Let the sauce set",
    "box": "Box",
    "walk": "Walk",
}
SPRITZ, TURN_IN = "spritz", "turn_in"
WORDS: Mapping[str, str] = {**STAGES, SPRITZ: "Spritz", TURN_IN: "Turn in"}
#: Stages that may be a mere moment: others of no length are left out.
MOMENTS = frozenset({"off", "sauce"})
LONGEST = 48 * 60  # minutes of one stage


@dataclass(frozen=True, slots=True)
class Lengths:
    """Stage key → minutes; a stage that is missing is not part of the cook. `spritz_every`: minutes, None for never."""

    minutes: Mapping[str, int]
    spritz_every: int | None = None

    def __post_init__(self) -> None:
        for key, minutes in self.minutes.items():
            if key not in STAGES:
                raise ValueError(f"there is no stage {key!r}")
            if not 0 <= minutes <= LONGEST:
                raise ValueError(f"{STAGES[key]}: {minutes} minutes; at least 0, at most {LONGEST}")
        if self.spritz_every is not None and not 5 <= self.spritz_every <= LONGEST:
            raise ValueError(f"a spritz every {self.spritz_every} minutes; at least 5, at most {LONGEST}")


_AT_THE_END = {"off": 0, "box": 15, "walk": 5}
#: Ribs: common practice, without a source (season 15–20 min, about 2½ h in smoke with a spritz each hour, about 1 h
#: wrapped, 15 min of rest, about 15 min to set, 10–15 to box, 5 to walk), and holding brisket and pork hot for 1–4 h.
#: The other lengths are a place to start from, no more.
DEFAULTS: Mapping[str, Lengths] = {
    "ribs": Lengths({"season": 20, "pit": 150, "wrap": 60, "rest": 15, "sauce": 0, "set": 15, **_AT_THE_END}, 60),
    "chicken": Lengths({"season": 20, "pit": 60, "wrap": 30, "sauce": 0, "set": 15, **_AT_THE_END}),
    "pork": Lengths({"season": 20, "pit": 360, "wrap": 180, "hold": 120, "sauce": 0, "set": 15, **_AT_THE_END}, 60),
    "brisket": Lengths({"season": 20, "pit": 360, "wrap": 240, "hold": 120, **_AT_THE_END}, 60),
    "other": Lengths({"season": 20, "pit": 120, "rest": 15, **_AT_THE_END}),
}
_KINDS = (
    ("ribs", ("rib",)),
    ("chicken", ("chicken", "poultry", "turkey", "wing", "thigh")),
    ("brisket", ("brisket", "beef")),
    ("pork", ("pork", "shoulder", "butt")),
)


def kind_of(category: str) -> str:
    """The key of DEFAULTS for a category by its key or name.

    >>> kind_of("Spare ribs"), kind_of("pulled-pork"), kind_of("dessert")
    ('ribs', 'pork', 'other')
    """
    name = category.casefold()
    return next((kind for kind, words in _KINDS if any(word in name for word in words)), "other")


@dataclass(frozen=True, slots=True)
class Step:
    """The moment (UTC) when a stage begins, and how long it takes. The last step is the turn-in."""

    key: str
    at: datetime
    minutes: int

    @property
    def words(self) -> str:
        return WORDS[self.key]


def plan_back(turn_in: datetime, lengths: Lengths) -> list[Step]:
    """The steps of a cook, first to last, so that the box is handed in at `turn_in` (with a time zone).

    Raises ValueError for a moment without a zone.
    """
    if turn_in.tzinfo is None:
        raise ValueError("the turn-in time needs a time zone")
    end = turn_in.astimezone(UTC)
    steps = [Step(TURN_IN, end, 0)]
    for key in reversed(list(STAGES)):
        minutes = lengths.minutes.get(key)
        if minutes is None or (minutes == 0 and key not in MOMENTS):
            continue
        end -= timedelta(minutes=minutes)
        steps.append(Step(key, end, minutes))
    steps.reverse()
    return _with_spritzing(steps, lengths.spritz_every)


def _with_spritzing(steps: list[Step], every: int | None) -> list[Step]:
    """A spritz each `every` minutes in the smoke, not at its end, where the wrap comes."""
    smoke = next((step for step in steps if step.key == "pit"), None)
    if smoke is None or every is None:
        return steps
    times = range(every, smoke.minutes, every)
    spritzes = [Step(SPRITZ, smoke.at + timedelta(minutes=after), 0) for after in times]
    place = steps.index(smoke) + 1
    return [*steps[:place], *spritzes, *steps[place:]]


def next_step(steps: Iterable[Step], now: datetime) -> Step | None:
    """The first step that is still to come, None when the box is handed in."""
    return next((step for step in steps if step.at > now), None)


def nearest_moment(clock: time, near: datetime, zone: ZoneInfo) -> datetime:
    """The moment closest to `near` at which the clock of `zone` shows `clock`: what "22:40" means in a night's cook.

    >>> near = datetime(2026, 6, 13, 5, 0, tzinfo=UTC)
    >>> nearest_moment(time(22, 40), near, ZoneInfo("UTC")).isoformat()
    '2026-06-12T22:40:00+00:00'
    """
    day = near.astimezone(zone).date()
    days = (day + timedelta(days=apart) for apart in (-1, 0, 1))
    moments = [
        datetime.combine(
            each,
            clock,
            zone,
        )
        .replace(fold=fold)
        .astimezone(UTC)
        for each in days
        for fold in (0, 1)
    ]
    return min(moments, key=lambda moment: abs(moment - near))


def clock_text(moment: datetime, zone: ZoneInfo, day: date) -> str:
    """`10:40` by the clock of `zone`, with the weekday where it is not `day`: `Fri 23:10`.

    An hour that comes twice says which of the two it is by the zone's own letters: `01:30 EDT`.
    """
    local = moment.astimezone(zone)
    text = f"{local:%H:%M}" if local.date() == day else f"{local:%a %H:%M}"
    # A zone always knows its offset.
    twice = local.replace(fold=0).utcoffset() > local.replace(fold=1).utcoffset()  # type: ignore[operator]
    return f"{text} {local:%Z}" if twice else text


def minutes_text(minutes: int) -> str:
    """`45 min`, `2 h`, `2 h 30 min`.

    >>> minutes_text(150)
    '2 h 30 min'
    """
    hours, rest = divmod(minutes, 60)
    if not hours:
        return f"{rest} min"
    return f"{hours} h {rest} min" if rest else f"{hours} h"
