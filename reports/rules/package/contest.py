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

from contest.rules.csvfile import read
from contest.rules.draw.commitment import read_draw_text
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
    """`document`: its rule set as TOML; `possible`: the most points of a box."""

    key: str
    name: str
    document: str
    possible: Fraction


@dataclass(frozen=True, slots=True)
class PackageBox:
    """`status` is the turn-in's, `result` what the tally made of the box: ranked, short, …; `marks` by seat in sheet
    order, exact text; `dropped`: (seat, why) of cards that do not count; `of`: boxes ranked in the category."""

    category: str
    box: str
    team: str
    table: str
    status: str
    rank: int | None
    of: int
    total: str | None
    result: str
    marks: Mapping[str, tuple[str, ...]]
    dropped: tuple[tuple[str, str], ...]


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
    """The contest of a package that passed its checks (`verify`). Raises ValueError or KeyError for any other."""
    facts = json.loads(files["contest.json"])
    held = {each["key"]: each["name"] for each in facts["categories"] if not each["cancelled"]}
    documents = {key: files[f"rules/{key}.toml"].decode() for key in held}
    rules = {key: parse(text) for key, text in documents.items()}
    return PackageContest(
        uid=UUID(facts["uid"]),
        name=facts["name"],
        date=date.fromisoformat(facts["date"]),
        revision=facts["revision"],
        teams=tuple(PackageTeam(str(each["number"]), UUID(each["uid"]), each["name"]) for each in facts["teams"]),
        categories=tuple(
            PackageCategory(key, name, documents[key], possible_points(rules[key])) for key, name in held.items()
        ),
        boxes=tuple(_boxes(files, facts, rules)),
    )


def possible_points(rules: RuleSet) -> Fraction:
    """The most points that a full box can get."""
    card = sum((each.weight * rules.scale.highest for each in rules.criteria), Decimal(0))
    return Fraction(card) * (rules.full_counted if rules.total_of == "sum" else 1)


def _boxes(files: Mapping[str, bytes], facts: Mapping[str, Any], rules: Mapping[str, RuleSet]) -> list[PackageBox]:
    contest_rules = parse(files["rules/contest.toml"].decode())
    given = ContestFiles(contest_rules, rules)
    given.add_turnins(read("turnins.csv", files["turnins.csv"], TURNIN_COLUMNS, ("team",)))
    given.add_cards(read("cards.csv", files["cards.csv"], card_columns(rules, contest_rules), ("team",)))
    boxes = given.boxes()
    _, seed, _ = read_draw_text(files["draw.txt"].decode())
    counting = [each["key"] for each in facts["categories"] if each["counts"] and each["key"] in rules]
    result = tally(rules, boxes, overall=counting or None, seed=seed, overall_rules=contest_rules)
    came = {(box.category, box.box): box for box in boxes}
    found = []
    for category, listed in result.categories.items():
        of = sum(each.rank is not None for each in listed)
        for each in listed:
            box = came[category, each.box]
            found.append(
                PackageBox(
                    category=category,
                    box=each.box,
                    team=each.team or "",
                    table=each.table,
                    status=box.status,
                    rank=each.rank,
                    of=of,
                    total=None if each.total is None else total_text(each.total),
                    result=each.status,
                    marks={card.seat: tuple(number_text(Decimal(mark)) for mark in card.marks) for card in box.cards},
                    dropped=tuple((gone.seat, gone.why) for gone in each.dropped),
                )
            )
    return found
