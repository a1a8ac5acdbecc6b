"""The tally: cards in, exact totals, ranks and reasons out. The other modules import from here."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from fractions import Fraction
from itertools import groupby
from math import lcm
from operator import itemgetter

from contest.rules.ruleset import RuleSet, TieBreak
from contest.rules.say import counted, total_text
from judging.rules.drops import cut
from judging.rules.outcome import (
    STATUSES,
    Box,
    BoxResult,
    Card,
    Dropped,
    LotNeeded,
    Tally,
    TeamResult,
    TieStep,
)
from judging.rules.ties import Contender, settle
from judging.rules.totals import Plan, Row

__all__ = [
    "STATUSES",
    "Box",
    "BoxResult",
    "Card",
    "Dropped",
    "LotNeeded",
    "Tally",
    "TeamResult",
    "TieStep",
    "tally",
    "to_json",
    "total_text",
]


def tally(
    rules: Mapping[str, RuleSet],
    boxes: Iterable[Box],
    *,
    overall: Sequence[str] | None = None,
    seed: str | None = None,
    needs_all: bool | None = None,
    overall_rules: RuleSet | None = None,
) -> Tally:
    """Tally a contest.

    ``rules`` holds the rule set of each category, in the order of the answer. ``overall`` names the counting
    categories, None for no ranking of teams; its tie-breaks are those of ``overall_rules`` (the contest's
    set; the first category's where not given), and ``needs_all`` is theirs where not given. ``seed`` serves
    lots.

    Raises LotNeeded for a lot without a seed, ValueError for input that cannot be tallied.
    """
    plans = _plans(rules)
    results: dict[str, list[BoxResult]] = {category: [] for category in rules}
    warnings: list[str] = []
    for box in boxes:
        if box.category not in plans:
            raise ValueError(f"box {box.box} is in {box.category}, a category without rules")
        if box.status not in _STATUS:
            raise ValueError(f"box {box.box} in {box.category} is {box.status}, which is no status of a box")
        results[box.category].append(_STATUS[box.status](plans[box.category], box, warnings))
    for category, listed in results.items():
        _check_single(category, listed)
        results[category] = _rank_boxes(listed, plans[category], seed)
    teams = None
    if overall is not None:
        contest = overall_rules or next(iter(rules.values()))
        all_needed = contest.needs_all if needs_all is None else needs_all
        teams = _rank_teams(results, overall, contest.tie_breaks, seed, all_needed)
    return Tally(results, teams, warnings)


def _plans(rules: Mapping[str, RuleSet]) -> dict[str, Plan]:
    made = {each: Plan(each) for each in dict.fromkeys(rules.values())}
    unit = lcm(*(plan.unit for plan in made.values()))
    for plan in made.values():
        plan.lift = unit // plan.unit
    return {category: made[each] for category, each in rules.items()}


def _check_single(category: str, results: Sequence[BoxResult]) -> None:
    names = {result.box for result in results}
    if len(names) < len(results):
        for result in results:
            if result.box not in names:
                raise ValueError(f"box {result.box} is in {category} twice")
            names.remove(result.box)


def _judged(plan: Plan, box: Box, warnings: list[str]) -> BoxResult:
    weigh = plan.weigh
    rows: list[Row] = [(weigh[card.marks], card.marks, card.seat) for card in box.cards]
    cards = len(rows)
    if cards > plan.rules.per_entry:
        most = plan.rules.per_entry
        raise ValueError(f"box {box.box} in {box.category} has {cards} cards where {most} are expected")
    if len({row[2] for row in rows}) < cards:
        raise ValueError(f"box {box.box} in {box.category} has two cards of one seat")
    if cards < plan.rules.fewest:
        return BoxResult(box.category, box.box, box.team, box.table, "short", plan, cards)
    rows.sort()
    kept, gone = cut(rows, plan)
    return BoxResult(
        box.category,
        box.box,
        box.team,
        box.table,
        "ranked",
        plan,
        cards,
        sum([row[0] for row in kept]) * plan.factor[len(kept)],
        tuple(sorted([row[2] for row in kept])),
        tuple([Dropped(row[2], why) for row, why in gone]),
        kept,
        [row for row, _ in gone],
    )


def _not_judged(plan: Plan, box: Box, warnings: list[str]) -> BoxResult:
    if box.cards:
        cards = counted(len(box.cards), "card")
        ignored = f"its {cards} {'is' if len(box.cards) == 1 else 'are'} ignored"
        warnings.append(f"box {box.box} in {box.category} is {box.status}: {ignored}")
    return BoxResult(box.category, box.box, box.team, box.table, box.status, plan, len(box.cards))


def _ruled(result_of: Callable[[RuleSet], str]) -> Callable[[Plan, Box, list[str]], BoxResult]:
    def result(plan: Plan, box: Box, warnings: list[str]) -> BoxResult:
        answer = _not_judged(plan, box, warnings)
        if result_of(plan.rules) == "penalty_marks":
            kept, gone = cut(plan.penalty_rows(), plan)
            answer.kept, answer.gone = kept, [row for row, _ in gone]
            answer.points = sum(row[0] for row in kept) * plan.factor[len(kept)]
        return answer

    return result


_STATUS: Mapping[str, Callable[[Plan, Box, list[str]], BoxResult]] = {
    "accepted": _judged,
    "late": _ruled(lambda rules: rules.late),
    "absent": _not_judged,
    "refused": _not_judged,
    "disqualified": _ruled(lambda rules: rules.disqualified),
}


def _rank_boxes(results: Sequence[BoxResult], plan: Plan, seed: str | None) -> list[BoxResult]:
    ranked = [(-result.points, result.box, result) for result in results if result.points is not None]
    ranked.sort()
    ordered: list[BoxResult] = []
    for _, equal in groupby(ranked, key=itemgetter(0)):
        tied = {name: result for _, name, result in equal}
        contenders = [Contender(name, result.category, (result,), result) for name, result in tied.items()]
        for group in settle(contenders, plan.rules.tie_breaks, seed, unit=plan.unit * plan.lift):
            rank = len(ordered) + 1
            for contender in group:
                result = tied[contender.name]
                result.rank = rank
                ordered.append(result)
    unranked = [result for result in results if result.points is None]
    return ordered + sorted(unranked, key=lambda result: result.box)


def _rank_teams(
    results: Mapping[str, Sequence[BoxResult]],
    overall: Sequence[str],
    tie_breaks: Sequence[TieBreak],
    seed: str | None,
    needs_all: bool,
) -> list[TeamResult]:
    for category in overall:
        if category not in results:
            raise ValueError(f"{category} counts toward the overall, but there is no such category")
    held = [category for category in dict.fromkeys(overall) if results[category]]
    plans = [results[category][0].plan for category in held]
    unit = lcm(*(plan.total_unit for plan in plans))
    card_unit = lcm(*(plan.unit * plan.lift for plan in plans))
    sums: list[tuple[int, str, TeamResult]] = []
    for team, entered in _boxes_by_team(results).items():
        counting = {category: entered[category] for category in held if category in entered}
        points = sum(
            [
                result.points * (unit // result.plan.total_unit)
                for result in counting.values()
                if result.points is not None
            ]
        )
        eligible = not needs_all or len(counting) == len(held)
        sums.append((-points, team, TeamResult(team, Fraction(points, unit), eligible, counting)))
    sums.sort()
    ordered: list[TeamResult] = []
    for _, equal in groupby(sums, key=itemgetter(0)):
        tied = {name: result for _, name, result in equal}
        contenders = [Contender(name, "overall", _ranked(team), team) for name, team in tied.items()]
        for group in settle(contenders, tie_breaks, seed, unit=card_unit):
            rank = len(ordered) + 1
            for contender in group:
                placed = tied[contender.name]
                placed.rank = rank
                ordered.append(placed)
    return ordered


def _ranked(team: TeamResult) -> list[BoxResult]:
    return [result for result in team.boxes.values() if result.points is not None]


def _boxes_by_team(results: Mapping[str, Sequence[BoxResult]]) -> dict[str, dict[str, BoxResult]]:
    teams: dict[str, dict[str, BoxResult]] = {}
    for category, listed in results.items():
        for result in listed:
            if result.team is None:
                raise ValueError(f"box {result.box} in {category} has no team, which the overall needs")
            if teams.setdefault(result.team, {}).setdefault(category, result) is not result:
                raise ValueError(f"team {result.team} has two boxes in {category}")
    return teams


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
                    "dropped": [{"seat": seat, "why": why} for seat, why in each.dropped],
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
