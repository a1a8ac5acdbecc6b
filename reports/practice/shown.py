"""A closed practice in words and figures for pages; everything comes from the result that was frozen."""

import json
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from itertools import groupby
from typing import Any

from contest.models import Contest, Team
from contest.rules.say import listed
from contest.selectors.rules import contest_rules
from judging.rules.workings import dropped_reasons
from reports.charts import Axis, nice, number, signed
from reports.cook.days import Day
from reports.models import CookLog, Practice
from reports.practice.plates import key_of, told
from reports.rules.sensory.tasted import VersionMean
from reports.rules.sensory.tasting import SCORE
from reports.season.seasons import PastGroups

LEFT, RIGHT, TOP, ROW, FOOT = 12, 348, 12, 46, 22


@dataclass(frozen=True)
class Bar:
    """A version: its mean, and its 95 % interval where there is one."""

    name: str
    y: str
    text_y: str
    x: str
    low: str
    high: str
    title: str


@dataclass(frozen=True)
class Heading:
    y: str
    text: str


@dataclass(frozen=True)
class Chart:
    """Versions one below the other on one scale; an end of an interval beyond the scale is cut off there."""

    id: str
    title: str
    height: int
    axis: str
    bars: list[Bar]
    headings: list[Heading]
    ticks: list[tuple[str, str]]


def plain(value: float) -> str:
    """One decimal, with a real minus."""
    return signed(value).removeprefix("+")


def result(practice: Practice) -> dict[str, Any]:
    """All that the result page shows."""
    found = practice.outcome
    score = found.score
    names = {taster.seat.table.number: taster.name for taster in practice.tasters.select_related("seat__table")}
    return {
        "practice": practice,
        "found": found,
        "names": names,
        "left": left_words(practice, names),
        "told": told_words(practice),
        "key": key_of(practice),
        "draw": practice.contest.draws.get(standing=True),
        "files": ("secret.txt", "public.txt", "plan.txt"),
        "rows": _rows(practice, names),
        "several": practice.contest.categories.count() > 1,
        "differences": [
            {
                "first": found.versions[each.first],
                "second": found.versions[each.second],
                **{name: plain(getattr(each, name)) for name in ("estimate", "low", "high")},
            }
            for each in (score.figures.differences if score else ())
        ],
        "standing": _standing(practice),
        "chart": chart_of([practice]) if score and score.means else None,
    }


def _rows(practice: Practice, names: dict[int, str]) -> list[dict[str, Any]]:
    """What each taster said, by round and taster."""
    found = practice.outcome
    if found.score is not None:
        return [{"name": names[row.taster], "cells": row.points} for row in found.score.table]
    if found.triangle is not None:
        return [
            {
                "name": names[answer.taster],
                "round": answer.round,
                "number": answer.plate,
                "said": "right" if answer.is_right else "not the odd one",
                "right": answer.is_right,
            }
            for answer in found.triangle.answers
        ]
    return [
        {
            "name": names[answer.taster],
            "round": answer.round,
            "number": answer.plate,
            "said": found.versions[answer.version - 1],
            "right": False,
        }
        for answer in (found.preference.answers if found.preference else ())
    ]


def _standing(practice: Practice) -> list[dict[str, Any]]:
    """How the versions would place as boxes of a contest; `whys`: of the cards that do not count, in words."""
    found = practice.outcome
    if found.score is None:
        return []
    rules = contest_rules(practice.contest)
    return [
        {
            "place": row.place,
            "name": found.versions[row.version - 1],
            "total": row.total_text,
            "whys": dropped_reasons(row.dropped, found.score.points_of(row.version), rules),
        }
        for row in found.score.by_rules.standing
    ]


def left_words(practice: Practice, names: dict[int, str]) -> str:
    """Who left halfway, and that it counts for nothing; "" where everybody finished."""
    unfinished = practice.outcome.unfinished
    if not unfinished:
        return ""
    noun = "plates" if practice.question == SCORE else "rounds"
    each = [f"{names[taster]} after {done} of {expected} {noun}" for taster, done, expected in unfinished]
    left = f"Left before the end: {listed(each)}."
    if practice.question == SCORE:
        return f"{left} Their marks are left out: only tasters who marked every version count."
    return f"{left} Only the rounds that were answered count."


def told_words(practice: Practice) -> list[str]:
    """What bears on the seal, in sentences, from the log."""
    said = []
    for row in told(practice):
        facts = json.loads(row.facts)
        at = practice.contest.local(datetime.fromisoformat(row.at)).strftime("%H:%M")
        how_far = f"{facts['done']} of {facts['tasters']} tasters had finished"
        if row.what == "key opened":
            said.append(f"The cook opened the key early, at {at}, when {how_far}: “{facts['reason']}”.")
        elif facts["done"] < facts["tasters"]:
            said.append(f"The result was opened at {at}, when {how_far}.")
    return said


def chart_of(practices: list[Practice], *, share: bool = False) -> Chart | None:
    """Scores of closed practices; `share`: in per cent of the most possible, which all rules have in common."""
    scores = {practice: practice.outcome.score for practice in practices if practice.result is not None}
    groups = {practice: score for practice, score in scores.items() if score is not None and score.means}
    if not groups:
        return None

    def worth(practice: Practice, value: float) -> float:
        return 100 * value / groups[practice].possible if share else value

    means = [
        (practice, name, mean)
        for practice, score in groups.items()
        for name, mean in zip(practice.outcome.versions, score.means, strict=True)
    ]
    least = min(worth(practice, score.least) for practice, score in groups.items())
    most = max(worth(practice, score.possible) for practice, score in groups.items())
    ends = [worth(practice, mean.value + side * (mean.half or 0)) for practice, _, mean in means for side in (-1, 1)]
    scale = Axis(*nice(max(least, min(ends)), min(most, max(ends))), start=LEFT, end=RIGHT)

    def x(value: float) -> str:
        return number(scale.clamped(value))

    bars, headings, y = [], [], TOP
    for practice, rows in groupby(means, key=lambda row: row[0]):
        if share:
            day = f"{practice.contest.date.day} {practice.contest.date:%b}"
            headings.append(Heading(str(y + 12), f"Practice, {day}: {practice.dish}"))
            y += 24
        for _, name, mean in rows:
            bars.append(_bar(practice, name, mean, y, x, worth, share))
            y += ROW
    return Chart(
        id=f"scores-{'season' if share else practice.contest.pk}",
        title="Practice: mean scores" + (", per cent of the most possible" if share else ", points"),
        height=y + FOOT,
        axis=str(y),
        bars=bars,
        headings=headings,
        ticks=[(x(at), f"{at:g}") for at in scale.ticks()],
    )


def _bar(practice: Practice, name: str, mean: VersionMean, y: int, x: Any, worth: Any, share: bool) -> Bar:
    at, half = mean.value, mean.half
    unit = " %" if share else ""
    title = f"{name}: {worth(practice, at):.1f}{unit}"
    if half is not None:
        title += f" ± {worth(practice, half):.1f}"
    return Bar(
        name=title,
        y=str(y + 30),
        text_y=str(y + 16),
        x=x(worth(practice, at)),
        low=x(worth(practice, at - (half or 0))),
        high=x(worth(practice, at + (half or 0))),
        title=title,
    )


def closed_of(team: Team) -> list[Practice]:
    """The team's practices with a result, newest first."""
    found = Practice.objects.filter(team=team, closed_at__isnull=False).exclude(served_at=None)
    return list(found.select_related("contest"))


def is_practice(log: CookLog) -> bool:
    """Whether what a log notes was cooked for a tasting at home."""
    contest = log.day.contest
    return contest is not None and contest.kind == Contest.Kind.PRACTICE


def of_day(day: Day) -> Practice | None:
    """The practice of a day of the cook log; None for every other day."""
    if day.row is None or day.row.contest_id is None:
        return None
    return Practice.objects.filter(contest=day.row.contest_id).select_related("contest", "team").first()


def for_season(team: Team, group: str | None = None, groups: Iterable[str] = ()) -> dict[str, Any]:
    """Practices beside a season's contests, never among them: all of them, or those of one group of `groups`."""
    group_of = PastGroups(groups)
    found = [each for each in closed_of(team) if group is None or group_of(each.contest.date) == group]
    return {"practices": found, "practice_chart": chart_of(found[::-1], share=True)}
