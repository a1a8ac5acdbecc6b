"""Papers of the morning: check-in and meat inspection, the cooks' meeting, the judges' meeting. No box is read here.

The judges' meeting is of the sealed side and loads no team.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field

from contest.models import Category, Contest, Entry, Judge, Seat, Sitting
from contest.rules.ruleset import RuleSet, in_words
from contest.rules.say import number_text
from contest.selectors.categories import held_categories
from contest.selectors.draw import commitment_before_draw, standing_draw
from contest.selectors.people import entries
from contest.selectors.rules import category_rules, contest_rules
from contest.selectors.seating import seats, sittings
from contest.selectors.windows import windows
from reports.paper.look import Options
from reports.paper.sheet import Sheet

#: Lines on which the words called out at the cooks' meeting are written down.
WORD_LINES = range(8)


def check_in(contest: Contest, options: Options) -> list[Sheet]:
    """Who arrived, and the inspection of the meat, by team number; ticked where it is recorded already."""
    held = held_categories(contest)
    rows = [
        {
            "entry": entry,
            "categories": [each for each in held if _takes_part(entry, each)],
        }
        for entry in entries(contest)
    ]
    context = {"contest": contest, "rows": rows, "all": len(held)}
    return [
        Sheet("check_in", context, title="Check-in list"),
        Sheet("meat", context, title="Meat inspection"),
    ]


def _takes_part(entry: Entry, category: Category) -> bool:
    return any(row.category_id == category.pk and row.withdrawn_at is None for row in entry.entered.all())


@dataclass
class Rules:
    """A rule set in words, and the categories judged by it."""

    name: str
    lines: list[str]
    categories: list[str] = field(default_factory=list)


def rules_by_category(contest: Contest) -> list[Rules]:
    """The rule sets of the day in words, each once; the contest's own first."""
    found: dict[str, Rules] = {}
    own = contest_rules(contest)
    for category in held_categories(contest):
        rules = category_rules(category)
        row = found.setdefault(rules.name, Rules(rules.name, in_words(rules)))
        row.categories.append(category.name)
    return sorted(found.values(), key=lambda row: row.name != own.name)


def cooks_meeting(contest: Contest, options: Options) -> list[Sheet]:
    """Turn-in times, windows and rules; what is known of the draw; lines for the teams' words in its ceremony."""
    draw = standing_draw(contest)
    ceremony = commitment_before_draw(contest)
    context = {
        "contest": contest,
        "windows": windows(contest),
        "rules": rules_by_category(contest),
        "commitment": ceremony,
        "draw": draw,
        "word_lines": WORD_LINES if ceremony and draw is None else (),
        "cancelled": contest.categories.filter(cancelled_at__isnull=False),
    }
    return [Sheet("cooks_meeting", context)]


@dataclass(frozen=True)
class Spell:
    """Who sits at a seat from a category on; `judge` is empty for a seat without a name."""

    since: str
    judge: str


@dataclass(frozen=True)
class SeatRow:
    letter: str
    spells: list[Spell]


def seat_rows(
    found: Sequence[Seat], categories: Sequence[Category], rows: dict[tuple[int, int], Sitting]
) -> dict[int, list[SeatRow]]:
    """Table number → its seats; a seat's spells change only where the judge does. Judges by name, no team."""
    by_table: dict[int, list[SeatRow]] = {}
    for seat in found:
        spells: list[Spell] = []
        last: object = object()
        for category in categories:
            row = rows.get((seat.pk, category.pk))
            now = (row.judge_id, row.vacant) if row else (None, False)
            if now != last:
                spells.append(Spell(category.name if spells else "", _sits(row.judge if row else None, now[1])))
            last = now
        by_table.setdefault(seat.table.number, []).append(SeatRow(seat.letter, spells))
    return by_table


def _sits(judge: Judge | None, vacant: bool) -> str:
    if vacant:
        return "vacant"
    return str(judge) if judge else ""


@dataclass(frozen=True)
class ScaleWords:
    """A rule set's scale, best first: (mark, word) for the marks that have one."""

    categories: list[str]
    lowest: str
    highest: str
    words: list[tuple[str, str]]
    criteria: list[str]
    penalty: str


def scale_of(rules: RuleSet, categories: Sequence[str] = ()) -> ScaleWords:
    scale = rules.scale
    return ScaleWords(
        list(categories),
        number_text(scale.lowest),
        number_text(scale.highest),
        [(number_text(mark), word) for mark, word in sorted(scale.words, reverse=True)],
        [criterion.name for criterion in rules.criteria],
        "" if scale.penalty is None else number_text(scale.penalty),
    )


def judges_meeting(contest: Contest, options: Options) -> list[Sheet]:
    """Where everybody sits, and how boxes are judged."""
    categories = held_categories(contest)
    by_name: dict[str, tuple[RuleSet, list[str]]] = {}
    for category in categories:
        rules = category_rules(category)
        by_name.setdefault(rules.name, (rules, []))[1].append(category.name)
    context = {
        "contest": contest,
        "tables": sorted(seat_rows(seats(contest), categories, sittings(contest)).items()),
        "scales": [scale_of(rules, names) for rules, names in by_name.values()],
        "windows": windows(contest),
    }
    return [Sheet("judges_meeting", context)]
