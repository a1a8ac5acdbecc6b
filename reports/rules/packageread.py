"""A verified results package as plain values: who was where in each category, and every card's weighted mark.

What it says is worked out again from the cards by the tally; the package's own `results.csv` is not trusted.
"""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from fractions import Fraction
from typing import Any
from uuid import UUID

from contest.rules.commitment import read_draw_text
from contest.rules.csvfile import read
from contest.rules.ruleset import RuleSet, parse
from contest.rules.say import number_text, total_text
from judging.rules.contest_files import TURNIN_COLUMNS, ContestFiles, card_columns
from judging.rules.tally import tally


@dataclass(frozen=True, slots=True)
class PackageTeam:
    number: str
    uid: UUID
    name: str


@dataclass(frozen=True, slots=True)
class PackageCategory:
    """`lowest` and `highest`: the range of a card's weighted mark; `possible`: the most points of a box."""

    key: str
    name: str
    lowest: Decimal
    highest: Decimal
    possible: Fraction


@dataclass(frozen=True, slots=True)
class PackageBox:
    """`marks` by seat in sheet order, `weighted` the weighted mark of each card; both exact. `of`: boxes ranked."""

    category: str
    team: str
    table: str
    rank: int | None
    of: int
    total: str | None
    marks: Mapping[str, tuple[str, ...]]
    weighted: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class PackageContest:
    uid: UUID
    name: str
    date: date
    revision: int
    teams: tuple[PackageTeam, ...]
    categories: tuple[PackageCategory, ...]
    boxes: tuple[PackageBox, ...]


def read_contest(files: Mapping[str, bytes]) -> PackageContest:
    """The contest of a package whose claims hold (`reports.rules.verify`). Raises ValueError or KeyError otherwise."""
    facts = json.loads(files["contest.json"])
    held = {each["key"]: each["name"] for each in facts["categories"] if not each["cancelled"]}
    rules = {key: parse(files[f"rules/{key}.toml"].decode()) for key in held}
    return PackageContest(
        uid=UUID(facts["uid"]),
        name=facts["name"],
        date=date.fromisoformat(facts["date"]),
        revision=facts["revision"],
        teams=tuple(PackageTeam(str(each["number"]), UUID(each["uid"]), each["name"]) for each in facts["teams"]),
        categories=tuple(_category(key, name, rules[key]) for key, name in held.items()),
        boxes=tuple(_boxes(files, facts, rules)),
    )


def possible_points(rules: RuleSet) -> Fraction:
    """The most points that a full box can get."""
    cards = rules.full_counted if rules.total_of == "sum" else 1
    return Fraction(_card(rules, rules.scale.highest)) * cards


def _card(rules: RuleSet, mark: Decimal) -> Decimal:
    return sum((each.weight * mark for each in rules.criteria), Decimal(0))


def _category(key: str, name: str, rules: RuleSet) -> PackageCategory:
    lowest = rules.scale.lowest if rules.scale.penalty is None else min(rules.scale.penalty, rules.scale.lowest)
    return PackageCategory(key, name, _card(rules, lowest), _card(rules, rules.scale.highest), possible_points(rules))


def _boxes(files: Mapping[str, bytes], facts: Mapping[str, Any], rules: Mapping[str, RuleSet]) -> list[PackageBox]:
    contest_rules = parse(files["rules/contest.toml"].decode())
    given = ContestFiles(contest_rules, rules)
    given.add_turnins(read("turnins.csv", files["turnins.csv"], TURNIN_COLUMNS, ("team",)))
    given.add_cards(read("cards.csv", files["cards.csv"], card_columns(rules, contest_rules), ("team",)))
    boxes = given.boxes()
    _, seed, _ = read_draw_text(files["draw.txt"].decode())
    counting = [each["key"] for each in facts["categories"] if each["counts"] and each["key"] in rules]
    result = tally(rules, boxes, overall=counting or None, seed=seed, overall_rules=contest_rules)
    cards = {(box.category, box.box): box.cards for box in boxes}
    found = []
    for category, listed in result.categories.items():
        own = rules[category]
        of = sum(each.rank is not None for each in listed)
        for each in listed:
            came = cards[category, each.box]
            found.append(
                PackageBox(
                    category=category,
                    team=each.team or "",
                    table=each.table,
                    rank=each.rank,
                    of=of,
                    total=None if each.total is None else total_text(each.total),
                    marks={card.seat: tuple(number_text(Decimal(mark)) for mark in card.marks) for card in came},
                    weighted={card.seat: number_text(_weighted(own, card.marks)) for card in came},
                )
            )
    return found


def _weighted(rules: RuleSet, marks: Any) -> Decimal:
    pairs = zip(rules.criteria, marks, strict=True)
    return sum((each.weight * Decimal(mark) for each, mark in pairs), Decimal(0))
