"""A contest's CSV files, CARDS.csv and TURNINS.csv, as boxes for the tally; every complaint names its place."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal

from contest.rules.csvfile import CsvFile, CsvRow
from contest.rules.ruleset import RuleSet
from contest.rules.say import listed
from judging.rules.scale import MarkError, parse_mark
from judging.rules.tally import STATUSES, Box, Card

TURNIN_COLUMNS = ("category", "box", "status")


@dataclass(slots=True)
class _Draft:
    """A box while its rows come in; each fact with the row that first stated it."""

    category: str
    box: str
    first: CsvRow
    table: str = ""
    status: str = "accepted"
    cards: dict[str, Card] = field(default_factory=dict)
    seat_rows: dict[str, CsvRow] = field(default_factory=dict)
    table_row: CsvRow | None = None
    turnin_row: CsvRow | None = None
    team: str | None = None
    team_row: CsvRow | None = None


def card_columns(rules: Mapping[str, RuleSet], contest: RuleSet) -> tuple[str, ...]:
    """The columns a cards file must have: its keys and every criterion of the rule sets in use."""
    keys = [criterion.key for each in (contest, *rules.values()) for criterion in each.criteria]
    return ("category", "box", "table", "seat", *dict.fromkeys(keys))


class ContestFiles:
    """Collects the boxes of both files.

    ``rules_for``: category → its own rule set; ``named``: categories that are known though no card names them.
    """

    def __init__(self, contest: RuleSet, rules_for: Mapping[str, RuleSet], named: Sequence[str] = ()) -> None:
        self.contest, self.rules_for, self.named = contest, rules_for, named
        self.drafts: dict[tuple[str, str], _Draft] = {}
        self.marks: dict[tuple[RuleSet, str, str], Decimal] = {}

    def rules(self, category: str) -> RuleSet:
        return self.rules_for.get(category, self.contest)

    @property
    def categories(self) -> list[str]:
        """In the order in which the files name them first."""
        return list(dict.fromkeys(category for category, _ in self.drafts))

    @property
    def has_teams(self) -> bool:
        return any(draft.team is not None for draft in self.drafts.values())

    def add_cards(self, file: CsvFile) -> None:
        """Take the cards of CARDS.csv. Raises CsvError."""
        extra = [column for column in file.columns if column not in ("category", "box", "table", "seat", "team")]
        for row in file.rows:
            draft = self._draft(row)
            self._take_table(draft, row)
            self._take_team(draft, row)
            self._take_card(draft, row, extra)

    def add_turnins(self, file: CsvFile) -> None:
        """Take the statuses of TURNINS.csv. Raises CsvError."""
        for row in file.rows:
            draft = self._draft(row)
            if draft.turnin_row is not None:
                earlier = draft.turnin_row.number
                raise row.error("box", f"box {draft.box} of {draft.category} is in row {earlier} already; delete one")
            draft.turnin_row = row
            status = row.filled("status").casefold()
            if status not in STATUSES:
                raise row.error("status", f"“{row.cells['status']}” is no status; write {listed(STATUSES, 'or')}")
            draft.status = status
            self._take_team(draft, row)

    def boxes(self) -> list[Box]:
        """Return all boxes, in the order of the files.

        Raises CsvError where teams do not add up, and for a turn-in whose category or box is likely a slip.
        """
        self._check_turnins()
        self._check_teams()
        return [
            Box(draft.category, draft.box, draft.table, draft.status, tuple(draft.cards.values()), draft.team)
            for draft in self.drafts.values()
        ]

    def _draft(self, row: CsvRow) -> _Draft:
        category, box = row.filled("category"), row.filled("box")
        draft = self.drafts.get((category, box))
        if draft is None:
            draft = self.drafts[category, box] = _Draft(category, box, row)
        return draft

    def _take_table(self, draft: _Draft, row: CsvRow) -> None:
        table = row.filled("table")
        if draft.table_row is None:
            draft.table, draft.table_row = table, row
        elif draft.table != table:
            stated = f"box {draft.box} is at table {draft.table} in row {draft.table_row.number}"
            raise row.error("table", f"{stated}, here at {table}; a box has one table, mend one of the rows")

    def _take_team(self, draft: _Draft, row: CsvRow) -> None:
        team = row.cells["team"]
        if not team:
            return
        if draft.team_row is None:
            draft.team, draft.team_row = team, row
        elif draft.team != team:
            stated = f"box {draft.box} belongs to {draft.team} in {_place(draft.team_row, row)}"
            raise row.error("team", f"{stated}, here to {team}; a box has one team, mend one of the rows")

    def _take_card(self, draft: _Draft, row: CsvRow, columns: list[str]) -> None:
        rules, seat = self.rules(draft.category), row.filled("seat")
        if seat in draft.cards:
            earlier = draft.seat_rows[seat].number
            raise row.error("seat", f"seat {seat} has a card for box {draft.box} in row {earlier} already; delete one")
        if len(draft.cards) == rules.per_entry:
            raise row.error(
                "box",
                f"one card more for box {draft.box} than the {rules.per_entry} of the rules (per_entry); delete one",
            )
        own = [criterion.key for criterion in rules.criteria]
        for column in columns:
            if column not in own and row.cells[column]:
                raise row.error(column, f"the rules of {draft.category} have no {column}; empty the cell")
        draft.cards[seat] = Card(seat, tuple([self._mark(rules, key, row) for key in own]))
        draft.seat_rows[seat] = row

    def _mark(self, rules: RuleSet, key: str, row: CsvRow) -> Decimal:
        text = row.cells[key]
        mark = self.marks.get((rules, key, text))
        if mark is None:
            try:
                mark = self.marks[rules, key, text] = parse_mark(text, rules, key, penalty=True)
            except MarkError as error:
                raise row.error(key, str(error)) from None
        return mark

    def _check_turnins(self) -> None:
        """Refuse a turn-in that would silently miss the box it is meant for. A box without cards is good input."""
        judged: dict[str, list[_Draft]] = {}
        for draft in self.drafts.values():
            if draft.cards:
                judged.setdefault(draft.box, []).append(draft)
        known = dict.fromkeys([*(draft.category for drafts in judged.values() for draft in drafts), *self.rules_for,
                               *self.named])  # fmt: skip
        # Where categories number their boxes on their own, the same number elsewhere is another box.
        shared = any(len(drafts) > 1 for drafts in judged.values())
        for draft in self.drafts.values():
            row = draft.turnin_row
            if row is None or draft.cards:
                continue
            if draft.category not in known:
                raise row.error("category", _unknown(draft.category, list(known)))
            if draft.box in judged and not shared:
                (other,) = judged[draft.box]
                place = _place(next(iter(other.seat_rows.values())), row)
                where = f"box {draft.box} has cards under {other.category}, {place}"
                raise row.error("category", f"{where}; correct the category or the box")

    def _check_teams(self) -> None:
        if not self.has_teams:
            return
        entered: dict[tuple[str, str], _Draft] = {}
        for draft in self.drafts.values():
            if draft.team is None or draft.team_row is None:
                raise draft.first.error("team", f"box {draft.box} has no team while others have; fill it in")
            other = entered.setdefault((draft.category, draft.team), draft)
            if other is not draft and other.team_row is not None:
                place = _place(other.team_row, draft.team_row)
                has = f"{draft.team} has box {other.box} in {draft.category} already, {place}"
                raise draft.team_row.error("team", f"{has}; a team has one box in a category, mend one of the rows")


def _unknown(category: str, known: Sequence[str]) -> str:
    from difflib import get_close_matches  # only a mistyped category needs it

    near = get_close_matches(category, known, 1)
    meant = f"did you mean {near[0]}?" if near else f"known are {listed(known)}" if known else "there are no cards"
    return f"no card, --rules-for or --overall names {category}; {meant}"


def _place(row: CsvRow, seen_from: CsvRow) -> str:
    return f"row {row.number}" if row.file == seen_from.file else f"{row.file} row {row.number}"
