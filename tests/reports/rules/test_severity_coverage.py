"""By simulation: do 95 % intervals of a small season hold the truth, and are the variances right on average?"""

from itertools import pairwise

import numpy as np
import pytest

from reports.rules.severity.model import fit
from tests.reports.rules.seasons import NAMES, contests

SEASONS = 240
SPREAD = {"team": 1.2, "judge": 0.9, "in_contest": 0.7, "table": 0.5, "entry": 0.8, "error": 1.2}


def hardness(factors):
    """Of every table in a contest: the table's effect and the mean of its judges', as weights."""
    panels = {}
    for table, judge in zip(factors["table"], factors["judge"], strict=True):
        panels.setdefault(table, set()).add(judge)
    return [
        {("table", table): 1.0} | {("judge", judge): 1 / len(panel) for judge in sorted(panel)}
        for table, panel in panels.items()
    ]


@pytest.mark.slow
def test_intervals_cover_what_they_say():
    held = {"hardness": [], "hardness between tables": [], "team": [], "teams apart": [], "judge": [], "entry": []}
    variances = []

    for seed in range(SEASONS):
        score, factors, cells, true = contests(
            seed, contests=8, teams=18, judges=20, tables=3, categories=3, seats=5, missing=0.02, spread=SPREAD
        )
        found = fit(score, factors, fixed=cells)
        variances.append([found.variances[name] for name in NAMES] + [found.residual])

        def hold(what, sums, found=found, true=true):
            for weights, (estimate, error) in zip(sums, found.contrasts(sums, variances_too=True), strict=True):
                truth = sum(weight * true[name, *level] for (name, level), weight in weights.items())
                held[what].append(abs(estimate - truth) <= 1.96 * error)

        tables = hardness(factors)
        hold("hardness", tables)
        hold(
            "hardness between tables",
            [one | {unknown: one.get(unknown, 0) - weight for unknown, weight in two.items()}
             for one, two in zip(tables[::3], tables[1::3], strict=False)],
        )  # fmt: skip
        teams = list(found.effects["team"])
        hold("team", [{("team", team): 1.0} for team in teams])
        hold(
            "teams apart",
            [{("team", one): 1.0, ("team", two): -1.0} for one, two in pairwise(teams)],
        )
        hold("judge", [{("judge", judge): 1.0} for judge in found.effects["judge"]])
        hold("entry", [{("entry", entry): 1.0} for entry in found.effects["entry"]])

    coverage = {what: float(np.mean(each)) for what, each in held.items()}
    print(coverage)
    assert all(0.91 <= share <= 0.98 for share in coverage.values()), coverage
    means, errors = np.mean(variances, axis=0), np.std(variances, axis=0) / SEASONS**0.5
    true = np.array([SPREAD[name] ** 2 for name in (*NAMES, "error")])
    # REML is unbiased but for estimates that nought cuts off.
    assert (np.abs(means - true) <= 4 * errors + 0.03 * true).all(), (means, true)
