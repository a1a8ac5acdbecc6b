"""The fewest repeats that any draw with the same table loads could have."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Sequence

from contest.rules.draw.request import Placed


def least_repeats(placed: Sequence[Placed], forbidden: Collection[tuple[int, int]] = ()) -> int:
    """Least sum of C(visits, 2) over teams and tables, given each team's and each table's boxes of the day.

    A minimum-cost flow with convex costs, reached from the draw by cancelling negative cycles (Klein 1967).
    Categories are put together, so with skipped categories the figure may be lower than what can be reached.
    """
    visits = Counter((p.team, p.table) for p in placed)
    tables = sorted({p.table for p in placed})
    entered: dict[int, set[str]] = {}
    open_in: dict[int, set[str]] = {}
    for p in placed:
        entered.setdefault(p.team, set()).add(p.category)
        open_in.setdefault(p.table, set()).add(p.category)
    most = {
        (team, table): 0 if (team, table) in forbidden else len(entered[team] & open_in[table])
        for team in entered
        for table in tables
    }
    while cycle := _negative_cycle(visits, most, sorted(entered), tables):
        for team, source, target in cycle:
            visits[team, source] -= 1
            visits[team, target] += 1
    return sum(n * (n - 1) // 2 for n in visits.values())


def _negative_cycle(
    visits: Counter[tuple[int, int]],
    most: dict[tuple[int, int], int],
    teams: Sequence[int],
    tables: Sequence[int],
) -> list[tuple[int, int, int]]:
    """Moves (team, from table, to table) around a circle of tables that lower the sum; empty if none does."""
    step: dict[tuple[int, int], tuple[int, int]] = {}
    for team in teams:
        for source in tables:
            here = visits[team, source]
            if not here:
                continue
            for target in tables:
                there = visits[team, target]
                if target != source and there < most[team, target]:
                    cost = there - here + 1
                    if (source, target) not in step or cost < step[source, target][0]:
                        step[source, target] = (cost, team)
    distance = dict.fromkeys(tables, 0)
    before: dict[int, int] = {}
    changed = None
    for _ in tables:
        changed = None
        for (source, target), (cost, _team) in step.items():
            if distance[source] + cost < distance[target]:
                distance[target] = distance[source] + cost
                before[target] = source
                changed = target
        if changed is None:
            return []
    assert changed is not None
    for _ in tables:  # walk back until surely on the cycle
        changed = before[changed]
    cycle: list[tuple[int, int, int]] = []
    at = changed
    while True:
        source = before[at]
        cycle.append((step[source, at][1], source, at))
        at = source
        if at == changed:
            return cycle
