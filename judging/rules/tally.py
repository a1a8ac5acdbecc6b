"""The tally: cards in, exact totals, ranks and reasons out. The other modules import from here."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from math import lcm
from operator import attrgetter
from typing import TypeVar

from contest.rules.ruleset import RuleSet, TieBreak
from contest.rules.say import total_text
from judging.rules.outcome import (
    STATUSES,
    Box,
    BoxResult,
    Card,
    Dropped,
    Ignored,
    LotNeeded,
    Settling,
    Tally,
    TeamResult,
    TieStep,
)
from judging.rules.rows import Row
from judging.rules.ties import Contender, Trace, settle
from judging.rules.totals import Plan, sums_of

__all__ = [
    "STATUSES",
    "Box",
    "BoxResult",
    "Card",
    "Dropped",
    "Ignored",
    "LotNeeded",
    "Tally",
    "TeamResult",
    "TieStep",
    "box_ties",
    "tally",
    "team_ties",
    "to_json",
    "total_text",
]


Placed = TypeVar("Placed", BoxResult, TeamResult)


def tally(
    rules: Mapping[str, RuleSet],
    boxes: Iterable[Box],
    *,
    overall: Sequence[str] | None = None,
    seed: str | None = None,
    needs: str | None = None,
    overall_rules: RuleSet | None = None,
) -> Tally:
    """Tally a contest.

    ``rules`` holds the rule set of each category, in the order of the answer. ``overall`` names the counting
    categories, None for no ranking of teams; its tie-breaks are those of ``overall_rules`` (the contest's
    set; the first category's where not given), and ``needs`` (who may be champion) is theirs where not given.
    ``seed`` serves lots.

    Raises LotNeeded for a lot without a seed, ValueError for input that cannot be tallied.
    """
    plans = _plans(rules)
    units = lcm(*(plan.unit for plan in plans.values())), lcm(*(plan.mark_unit for plan in plans.values()))
    settling = Settling(*units, "overall", seed)
    entered: dict[str, list[Box]] = {category: [] for category in rules}
    for box in boxes:
        if box.category not in entered:
            raise ValueError(f"box {box.box} is in {box.category}, a category without rules")
        entered[box.category].append(box)
    warnings: list[Ignored] = []
    results: dict[str, list[BoxResult]] = {}
    for category, plan in plans.items():
        judged = _judge(entered[category], plan, warnings)
        _check_single(category, judged)
        results[category] = _rank_boxes(judged, plan, settling._replace(category=category))
    teams: list[TeamResult] | None = None
    tie_breaks: tuple[TieBreak, ...] = ()
    if overall is not None:
        contest = overall_rules or next(iter(rules.values()))
        tie_breaks = contest.tie_breaks
        teams = _rank_teams(results, overall, tie_breaks, settling, needs or contest.needs)
    return Tally(results, teams, warnings, settling, tie_breaks)


def _plans(rules: Mapping[str, RuleSet]) -> dict[str, Plan]:
    made = {each: Plan(each) for each in dict.fromkeys(rules.values())}
    unit = lcm(*(plan.unit for plan in made.values()))
    for plan in made.values():
        plan.lift = unit // plan.unit
    return {category: made[each] for category, each in rules.items()}


def _check_single(category: str, results: Sequence[BoxResult]) -> None:
    if len({result.box for result in results}) < len(results):
        raise ValueError(f"box {_first_twice([result.box for result in results])} is in {category} twice")


def _judge(boxes: Sequence[Box], plan: Plan, warnings: list[Ignored]) -> list[BoxResult]:
    """The boxes of one category, not yet ranked. The pass that every card goes through once."""
    weigh, cut, factor, most, fewest = plan.weigh, plan.cut, plan.factor, plan.most, plan.fewest
    results: list[BoxResult] = []
    for box in boxes:
        if box.status != "accepted":
            results.append(_ruled(box, plan, warnings))
            continue
        rows: list[Row] = [(weigh[card.marks], card.marks, card.seat) for card in box.cards]
        cards = len(rows)
        if cards > most:
            raise ValueError(f"box {box.box} in {box.category} has {cards} cards where {most} are expected")
        if len({row[2] for row in rows}) < cards:
            raise ValueError(f"box {box.box} in {box.category} has two cards of one seat")
        if cards < fewest:
            results.append(BoxResult(box.category, box.box, box.team, box.table, "short", plan, cards))
            continue
        rows.sort()
        kept, gone = cut(rows)
        points = sum([row[0] for row in kept]) * factor[len(kept)]
        sums = sums_of(kept)
        results.append(
            BoxResult(box.category, box.box, box.team, box.table, "ranked", plan, cards, points, sums, kept, gone)
        )
    return results


# How a box that is not judged comes out, by status.
_RESULT: Mapping[str, Callable[[RuleSet], str]] = {
    "late": lambda rules: rules.late,
    "absent": lambda rules: "unranked",
    "refused": lambda rules: "unranked",
    "disqualified": lambda rules: rules.disqualified,
}


def _ruled(box: Box, plan: Plan, warnings: list[Ignored]) -> BoxResult:
    if box.status not in _RESULT:
        raise ValueError(f"box {box.box} in {box.category} is {box.status}, which is no status of a box")
    if box.cards:
        warnings.append(Ignored(box.box, box.category, box.status, len(box.cards)))
    result = BoxResult(box.category, box.box, box.team, box.table, box.status, plan, len(box.cards))
    if _RESULT[box.status](plan.rules) == "penalty_marks":
        result.kept, result.gone = plan.cut(plan.penalty_rows())
        result.points = sum(row[0] for row in result.kept) * plan.factor[len(result.kept)]
        result.sums = sums_of(result.kept)
    return result


def _rank_boxes(results: Sequence[BoxResult], plan: Plan, settling: Settling) -> list[BoxResult]:
    ordered = sorted(results, key=attrgetter("box"))
    ranked = [result for result in ordered if result.points is not None]
    unranked = [result for result in ordered if result.points is None] if len(ranked) < len(ordered) else []
    return _place(ranked, _box_contender, plan.rules.tie_breaks, settling) + unranked


def box_ties(result: Tally, category: str) -> Trace:
    """Return box → the tie-breaks tried on it; nothing for a box that was level with no other on the total."""
    ranked = [box for box in result.categories[category] if box.points is not None]
    ranked.sort(key=attrgetter("box"))
    trace: Trace = {}
    if ranked:
        settling = result.settling._replace(category=category)
        _place(ranked, _box_contender, ranked[0].plan.rules.tie_breaks, settling, trace)
    return trace


def team_ties(result: Tally) -> Trace:
    """Return team → the tie-breaks tried on it over all counting categories."""
    trace: Trace = {}
    teams = sorted(result.overall or (), key=attrgetter("team"))
    _place(teams, _team_contender, result.overall_tie_breaks, result.settling, trace)
    return trace


def _box_contender(result: BoxResult) -> Contender[BoxResult]:
    return result.box, result, (result,)


def _rank_teams(
    results: Mapping[str, Sequence[BoxResult]],
    overall: Sequence[str],
    tie_breaks: Sequence[TieBreak],
    settling: Settling,
    needs: str,
) -> list[TeamResult]:
    for category in overall:
        if category not in results:
            raise ValueError(f"{category} counts toward the overall, but there is no such category")
    held = [category for category in dict.fromkeys(overall) if results[category]]
    plans = [results[category][0].plan for category in held]
    unit = lcm(*(plan.total_unit for plan in plans))
    teams = {team: TeamResult(team, {}, unit) for team in _teams(results)}
    for category, plan in zip(held, plans, strict=True):
        share = unit // plan.total_unit
        for result in results[category]:
            if result.team not in teams:
                continue
            team = teams[result.team]
            team.boxes[category] = result
            team.points += (result.points or 0) * share
    for team in teams.values():
        team.eligible = _ELIGIBLE[needs](team, len(held))
    ordered = sorted(teams.values(), key=attrgetter("team"))
    return _place(ordered, _team_contender, tie_breaks, settling)


# Who may be champion: whether a team fulfils [overall] needs, by how many counting categories were held.
_ELIGIBLE: Mapping[str, Callable[[TeamResult, int], bool]] = {
    "all_judged": lambda team, held: sum(box.points is not None for box in team.boxes.values()) == held,
    "all_entered": lambda team, held: len(team.boxes) == held,
    "any": lambda team, held: True,
}


def _team_contender(team: TeamResult) -> Contender[TeamResult]:
    ranked = [result for result in team.boxes.values() if result.points is not None]
    return team.team, team, ranked


def _teams(results: Mapping[str, Sequence[BoxResult]]) -> dict[str, None]:
    """Return every team that turned a box in: a team whose boxes are all absent is in no ranking.

    Raises ValueError for a box without a team, or a team with two boxes in a category.
    """
    teams: dict[str, None] = {}
    for category, listed in results.items():
        names = {result.team: None for result in listed}
        if None in names:
            box = next(result.box for result in listed if result.team is None)
            raise ValueError(f"box {box} in {category} has no team, which the overall needs")
        if len(names) < len(listed):
            twice = _first_twice([result.team for result in listed])
            raise ValueError(f"team {twice} has two boxes in {category}")
        teams.update({result.team: None for result in listed if result.team and result.status != "absent"})
    return teams


def _first_twice(names: Iterable[str | None]) -> str | None:
    seen: set[str | None] = set()
    for name in names:
        if name in seen:
            return name
        seen.add(name)
    return None


def _place(
    results: list[Placed],
    contender: Callable[[Placed], Contender[Placed]],
    tie_breaks: Sequence[TieBreak],
    settling: Settling,
    trace: Trace | None = None,
) -> list[Placed]:
    """Rank by points, most first, those level by the tie-breaks, those level after that in the order given.

    Shared ranks skip the next: 1, 2, 2, 4.
    """
    results.sort(key=attrgetter("points"), reverse=True)
    start, end = 0, len(results)
    while start < end:
        points, stop = results[start].points, start + 1
        while stop < end and results[stop].points == points:
            stop += 1
        if stop == start + 1:
            results[start].rank = stop
        else:
            tied = [contender(result) for result in results[start:stop]]
            at = start
            for group in settle(tied, tie_breaks, settling, trace):
                rank = at + 1
                for _, target, _ in group:
                    target.rank = rank
                    results[at] = target
                    at += 1
        start = stop
    return results


def to_json(result: Tally) -> dict[str, object]:
    """The tally as the open command prints it: plain dicts, lists and text."""
    return {
        "categories": {
            category: [
                {
                    "box": each.box,
                    "rank": each.rank,
                    "total": None if each.total is None else total_text(each.total),
                    "status": each.status,
                    "counted": list(each.counted),
                    "dropped": [{"seat": card.seat, "why": card.why} for card in each.dropped],
                    "decided_by": each.decided_by,
                }
                for each in listed
            ]
            for category, listed in result.categories.items()
        },
        "overall": [
            {
                "team": team.team,
                "rank": team.rank,
                "total": total_text(team.total),
                "eligible": team.eligible,
                "decided_by": team.decided_by,
            }
            for team in result.overall or []
        ],
    }
