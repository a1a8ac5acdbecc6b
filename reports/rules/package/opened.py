"""The files of a package that is being checked, each read once when a check first asks for it."""

import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from contest.rules.csvfile import parse_records, read
from contest.rules.draw import DrawRequest, Placed
from contest.rules.draw.commitment import read_draw_text
from contest.rules.namelists import ListedEntry, NameLists
from contest.rules.ruleset import RuleSet, parse
from contest.rules.say import number_text
from judging.rules.contest_files import TURNIN_COLUMNS, ContestFiles, card_columns
from judging.rules.tally import Box
from reports.rules.package.archive import LABEL_COLUMNS, LOG_COLUMNS, is_tidy, public_name
from reports.rules.package.logreplay import CardsReplay, Entry, until_tally


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that was checked: whether it holds, in a sentence."""

    holds: bool
    text: str


class OpenedPackage:
    """The files by name, and what they say. Reading raises ValueError or KeyError where a file cannot be read."""

    def __init__(self, files: Mapping[str, bytes]) -> None:
        self.files = files

    def text(self, name: str) -> str:
        if name not in self.files:
            raise ValueError(f"there is no {name}")
        return self.files[name].decode()

    def rows(self, name: str, columns: tuple[str, ...]) -> list[dict[str, str]]:
        return [row.cells for row in read(name, self.files[name], columns).rows]

    @cached_property
    def facts(self) -> dict[str, Any]:
        facts = json.loads(self.text("contest.json"))
        if not isinstance(facts, dict):
            raise ValueError("contest.json holds no facts")
        return facts

    @cached_property
    def rules(self) -> dict[str, RuleSet]:
        """The rule set of each category that was held, in the order of the day."""
        return {
            category["key"]: parse(self.text(f"rules/{category['key']}.toml"))
            for category in self.facts["categories"]
            if not category["cancelled"]
        }

    @property
    def counting(self) -> list[str]:
        """The held categories that count toward the overall."""
        return [row["key"] for row in self.facts["categories"] if row["counts"] and not row["cancelled"]]

    @property
    def names(self) -> NameLists:
        """The names that contest.json gives to entries and categories."""
        return NameLists(
            tuple(ListedEntry(team["number"], team["uid"], team["name"]) for team in self.facts["teams"]),
            tuple((category["key"], category["name"]) for category in self.facts["categories"]),
        )

    @property
    def publics(self) -> list[str]:
        """`public.txt`, then `public-2.txt`, … of the redraws: the last one belongs to the draw that counts."""
        count = sum(bool(re.fullmatch(r"public(-[0-9]+)?\.txt", name)) for name in self.files)
        ordered = [public_name(number) for number in range(1, count + 1)]
        if not ordered or not set(ordered) <= set(self.files):
            raise ValueError("public.txt, or the public-N.txt of a redraw, is missing")
        return ordered

    @cached_property
    def _draw(self) -> tuple[DrawRequest, str, tuple[Placed, ...]]:
        return read_draw_text(self.text("draw.txt"))

    @property
    def request(self) -> DrawRequest:
        """What was drawn from, with the sums of the lists of names."""
        return self._draw[0]

    @property
    def seed(self) -> str:
        return self._draw[1]

    @property
    def drawn(self) -> tuple[Placed, ...]:
        """The boxes as drawn, those of cancelled categories among them."""
        return self._draw[2]

    @property
    def placed(self) -> list[Placed]:
        """The boxes as drawn, of the categories that were held."""
        return [place for place in self.drawn if place.category in self.rules]

    @cached_property
    def boxes(self) -> list[Box]:
        """The boxes of turnins.csv with the cards of cards.csv."""
        contest = parse(self.text("rules/contest.toml"))
        files = ContestFiles(contest, self.rules)
        files.add_turnins(read("turnins.csv", self.files["turnins.csv"], TURNIN_COLUMNS, ("team",)))
        files.add_cards(read("cards.csv", self.files["cards.csv"], card_columns(self.rules, contest), ("team",)))
        return files.boxes()

    def chain(self, name: str) -> list[Entry]:
        """The rows of the log of the `day` or of the `cards`."""
        return self._chains[name]

    @cached_property
    def _chains(self) -> dict[str, list[Entry]]:
        return {name: self._read_log(f"log-{name}.csv") for name in ("day", "cards")}

    def _read_log(self, name: str) -> list[Entry]:
        """The rows as they are: a hash covers every blank of its row."""
        header, *rows = parse_records(name, self.text(name), ",") or [[]]
        if tuple(header) != LOG_COLUMNS or any(len(row) != len(LOG_COLUMNS) for row in rows):
            raise ValueError(f"{name} does not have the columns {','.join(LOG_COLUMNS)}")
        return [Entry(*row) for row in rows]

    def untidy(self) -> list[str]:
        """The CSV files that are not written as the format says, to the byte."""
        columns: dict[str, tuple[str, ...]] = {
            "cards.csv": (*card_columns(self.rules, parse(self.text("rules/contest.toml"))), "team"),
            "turnins.csv": (*TURNIN_COLUMNS, "team"),
            "labels.csv": LABEL_COLUMNS,
            "log-day.csv": LOG_COLUMNS,
            "log-cards.csv": LOG_COLUMNS,
        }
        return [name for name, header in columns.items() if not is_tidy(name, self.text(name), header)]

    def tallied(self, name: str) -> Sequence[Entry]:
        """The rows that this revision of the tally was made after."""
        return until_tally(self.chain(name), self.facts["revision"])

    @cached_property
    def cards_log(self) -> CardsReplay:
        """The cards and rulings that the log knows."""
        penalties = {
            key: (
                "" if rules.scale.penalty is None else number_text(rules.scale.penalty),
                [criterion.key for criterion in rules.criteria],
            )
            for key, rules in self.rules.items()
        }
        return CardsReplay(self.tallied("cards"), penalties)
