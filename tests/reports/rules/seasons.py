"""Small invented seasons with known effects, for the tests of the severity model."""

from typing import NamedTuple

import numpy as np

NAMES = ("team", "judge", "in_contest", "table", "entry")


class Season(NamedTuple):
    """Scores, factor → level by row, fixed cell by row, and the true effects by (factor, *level)."""

    score: np.ndarray
    factors: dict
    cells: list
    effects: dict


def contests(seed, *, contests=4, teams=12, judges=14, tables=2, categories=3, seats=3, missing=0.1, spread=None):
    """A small invented season; some cards missing, boxes drawn to tables anew in every category."""
    rng = np.random.default_rng(seed)
    spread = spread or {"team": 1.2, "judge": 0.9, "in_contest": 0.7, "table": 0.6, "entry": 0.8, "error": 1.0}
    effects: dict[object, float] = {}

    def effect(name, *level):
        return effects.setdefault((name, *level), rng.normal(0, spread[name]) if spread[name] else 0.0)

    score, rows, cells = [], [], []
    for contest in range(contests):
        entered = rng.choice(teams, teams * 2 // 3, replace=False)
        seated = rng.choice(judges, (tables, seats), replace=False)
        for category in range(categories):
            for place, team in enumerate(rng.permutation(entered)):
                table = place % tables
                for judge in seated[table]:
                    if rng.random() < missing:
                        continue
                    row = {
                        "team": (int(team),),
                        "judge": (int(judge),),
                        "in_contest": (contest, int(team)),
                        "table": (contest, table),
                        "entry": (contest, category, int(team)),
                    }
                    rows.append(row)
                    cells.append(f"{contest}:{category}")
                    score.append(
                        20 + category + sum(effect(name, *row[name]) for name in NAMES) + rng.normal(0, spread["error"])
                    )
    return Season(np.array(score), {name: [row[name] for row in rows] for name in NAMES}, cells, effects)
