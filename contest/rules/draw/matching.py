"""Teams to tables within one category: flows that find a best assignment, or the reason why there is none.

Both are shortest augmenting paths on the bipartite graph of teams and tables (Hall 1935 for the reason; Ford
and Fulkerson 1956 for the paths; convex costs make loads even). Integers only.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

LOAD = 1 << 40
"""One step of uneven load outweighs any number of repeats."""


@dataclass(frozen=True, slots=True)
class Shortage:
    """Teams that may go only to these tables, where there are fewer places than teams."""

    teams: tuple[int, ...]
    tables: tuple[int, ...]


def find_shortage(allowed: Mapping[int, Sequence[int]], most: int | None) -> Shortage | None:
    """None if every team can have a place at an allowed table, `most` places a table; else a reason.

    The reason is a set of teams with fewer places than teams, no table of it superfluous.
    """
    seated: dict[int, set[int]] = {table: set() for tables in allowed.values() for table in tables}
    for team in sorted(allowed):
        came_from: dict[int, int] = {}
        reached_by: dict[int, int] = {team: -1}
        queue, end = [team], None
        while queue and end is None:
            mover = queue.pop(0)
            for table in allowed[mover]:
                if table in came_from:
                    continue
                came_from[table] = mover
                if most is None or len(seated[table]) < most:
                    end = table
                    break
                for other in sorted(seated[table]):
                    if other not in reached_by:
                        reached_by[other] = table
                        queue.append(other)
        if end is None:
            return Shortage(tuple(sorted(reached_by)), tuple(sorted(came_from)))
        while end != -1:
            mover = came_from[end]
            left = reached_by[mover]
            seated[end].add(mover)
            if left != -1:
                seated[left].discard(mover)
            end = left
    return None


def assign(
    teams: Sequence[int],
    tables: Sequence[int],
    cost: Callable[[int, int], int | None],
    most: int | None,
) -> dict[int, int]:
    """Team → table with the most even loads possible and, among those, the least total cost.

    `cost(team, table)` is a non-negative integer below 2**20, or None where the team may not go. Of equal
    assignments the order of teams and tables decides. Raises ValueError where no assignment exists.
    """
    costs = {team: {table: c for table in tables if (c := cost(team, table)) is not None} for team in teams}
    seat: dict[int, int] = {}
    load = dict.fromkeys(tables, 0)
    spent = 0
    for team in teams:
        lightest = min(load.values())
        free = next((t for t, c in costs[team].items() if c == 0 and load[t] == lightest), None)
        if spent == 0 and free is not None and (most is None or lightest < most):
            seat[team] = free  # nothing can be cheaper: no path has a gain to find
            load[free] += 1
            continue
        _augment(team, seat, load, costs, most)
        spent = sum(costs[t][table] for t, table in seat.items())
    return seat


def _augment(
    team: int,
    seat: dict[int, int],
    load: dict[int, int],
    costs: Mapping[int, Mapping[int, int]],
    most: int | None,
) -> None:
    """Seat one more team by the cheapest chain of moves (Bellman–Ford over the tables)."""
    moves: dict[int, dict[int, tuple[int, int]]] = {table: {} for table in load}
    for other, table in seat.items():
        here = costs[other][table]
        for target, there in costs[other].items():
            if target == table:
                continue
            step = (there - here, other)
            if target not in moves[table] or step[0] < moves[table][target][0]:
                moves[table][target] = step
    distance = dict(costs[team])
    via: dict[int, tuple[int, int]] = dict.fromkeys(distance, (team, -1))
    changed = list(distance)
    while changed:
        source = changed.pop(0)
        for target, (step_cost, mover) in moves[source].items():
            reach = distance[source] + step_cost
            if target not in distance or reach < distance[target]:
                distance[target] = reach
                via[target] = (mover, source)
                if target not in changed:
                    changed.append(target)
    ends = [t for t in load if t in distance and (most is None or load[t] < most)]
    if not ends:
        raise ValueError(f"no place is left for team {team}")
    end = min(ends, key=lambda t: distance[t] + LOAD * load[t])
    load[end] += 1
    while end != -1:
        mover, source = via[end]
        seat[mover] = end
        end = source
