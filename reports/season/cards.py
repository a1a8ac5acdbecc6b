"""The cards of published contests as rows for the severity model: plain values, nothing of a sealed contest."""

import hashlib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from contest.models import Contest, Entry, Sitting
from contest.rules.ruleset import RuleSet
from judging.models import Tally
from judging.rules.inputs import digest
from reports.rules.fitted import Points
from reports.rules.severity.hardness import WEIGHTED, CardRow, frame_of
from reports.season.seasons import published_tallies

if TYPE_CHECKING:  # imports slowly: only the child that fits makes a frame
    from pandas import DataFrame


def points_of(rules: RuleSet, response: str) -> Points:
    """The points of a total by these rules (`WEIGHTED`), or of one criterion's mean mark.

    KeyError for a criterion that the rules do not have.
    """
    scale = rules.scale
    if response != WEIGHTED:
        rules.criterion(response)
        return Points(float(scale.lowest), float(scale.highest - scale.lowest), 1)
    weight = sum((criterion.weight for criterion in rules.criteria), Decimal(0))
    span = float(weight * (scale.highest - scale.lowest))
    return Points(float(weight * scale.lowest), span, rules.full_counted if rules.total_of == "sum" else 1)


def shares(marks: Iterable[Decimal], rules: RuleSet) -> dict[str, float]:
    """Each mark, and the weighted mark, as a share of its scale. A penalty is a ruling, not a judge's opinion: its
    criterion is left out, and so is the weighted mark of a card that has one."""
    lowest, span = rules.scale.lowest, rules.scale.highest - rules.scale.lowest
    found, total, weights = {}, Decimal(0), Decimal(0)
    for criterion, mark in zip(rules.criteria, marks, strict=True):
        if mark < lowest:
            continue
        found[criterion.key] = float((mark - lowest) / span)
        total += criterion.weight * (mark - lowest)
        weights += criterion.weight * span
    if len(found) == len(rules.criteria):
        found[WEIGHTED] = float(total / weights)
    return found


def card_rows(contest: Contest, tally: Tally) -> Iterator[CardRow]:
    """The cards of the boxes that were judged; the tally needs its inputs."""
    teams = {str(number): str(uid) for number, uid in Entry.objects.filter(contest=contest).values_list(
        "number", "team__uid")}  # fmt: skip
    judges = judges_of([contest])[contest.pk]
    uid = str(contest.uid)
    for box in tally.source.boxes:
        if box.status != "accepted":
            continue
        rules = tally.source.rules(box.category)
        for seat, marks in box.cards.items():
            judge = judges.get((box.category, box.table, seat)) or f"{uid}:{box.table}{seat}"
            yield CardRow(
                contest=uid,
                category=box.category,
                box=box.box,
                table=box.table,
                seat=seat,
                team=teams[box.team],
                judge=judge,
                shares=shares(map(Decimal, marks), rules),
            )


Sittings = dict[tuple[str, str, str], str]  # (category key, table, seat) → the judge's uid


def judges_of(contests: Sequence[Contest]) -> dict[int, Sittings]:
    """Contest pk → who sat where; seats of unknown judges are left out."""
    found: dict[int, Sittings] = {contest.pk: {} for contest in contests}
    rows = Sitting.objects.filter(category__contest__in=contests, judge__isnull=False).values_list(
        "category__contest", "category__key", "seat__table__number", "seat__letter", "judge__uid"
    )
    for contest, key, table, seat, uid in rows:
        found[contest][key, str(table), seat] = str(uid)
    return found


@dataclass(frozen=True, slots=True)
class Held:
    """A contest of a season, here or elsewhere: its rules and its categories' names by key, in the order of the day."""

    uid: str
    date: date
    rules: dict[str, RuleSet]
    names: dict[str, str]


@dataclass(frozen=True)
class SeasonCards:
    """All that a season's fits are made of. `inputs_hash` names it: tallies and who sat where.

    `contests` and `tallies` are those of this installation; `frame`: the cards, as `frame_of` makes it; `held`: all
    contests, oldest first; `own`: the uid of the team that brought some of them, "" where none did.
    """

    contests: list[Contest]
    tallies: dict[int, Tally]
    frame: "DataFrame"
    held: list[Held]
    inputs_hash: str
    own: str = ""

    def cards_of(self, fact: str, value: str) -> "DataFrame":
        """Return the cards of one contest, by its uid, or of one category, by its key."""
        return self.frame[self.frame.index.get_level_values(fact) == value]

    def rules(self, contest: Contest) -> dict[str, RuleSet]:
        return next(each.rules for each in self.held if each.uid == str(contest.uid))


def season_cards(contests: list[Contest]) -> SeasonCards:
    tallies = published_tallies(contests)
    frame = frame_of(row for contest in contests for row in card_rows(contest, tallies[contest.pk]))
    held = [_held(contest, tallies[contest.pk]) for contest in contests]
    return SeasonCards(contests, tallies, frame, held, inputs_hash(contests, tallies))


def _held(contest: Contest, tally: Tally) -> Held:
    names = tally.standings.names
    return Held(str(contest.uid), contest.date, {key: tally.source.rules(key) for key in names}, names)


def inputs_hash(contests: Sequence[Contest], tallies: Mapping[int, Tally]) -> str:
    """SHA-256 over what the fits depend on, without loading the cards: the tallies' own sums and the seats."""
    facts: list[Any] = []
    judges = judges_of(contests)
    for contest in sorted(contests, key=lambda each: str(each.uid)):
        sat = sorted([*place, judge] for place, judge in judges[contest.pk].items())
        facts.append([str(contest.uid), contest.date.isoformat(), tallies[contest.pk].inputs_hash, sat])
    return digest(facts)


def fit_key(contests: list[str], response: str, category: str, formula: str, engine: str, inputs: str) -> str:
    """The key under which a fit is stored."""
    text = "\n".join([*sorted(contests), response, category, formula, engine, inputs])
    return hashlib.sha256(text.encode()).hexdigest()
