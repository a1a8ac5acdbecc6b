"""The fit against other ways to the same answer: the model written out as dense matrices, and statsmodels' MixedLM."""

import warnings

import numpy as np
import pytest
from scipy import optimize

from reports.rules.severity import plan
from reports.rules.severity.model import SeverityError, fit
from tests.reports.rules.seasons import NAMES, contests


class Dense:
    """The model with every matrix written out, n × n."""

    def __init__(self, score, factors, cells):
        self.y = score
        self.levels = {name: list(dict.fromkeys(levels)) for name, levels in factors.items()}
        self.z = {name: self.indicator(levels) for name, levels in factors.items()}
        self.x = self.indicator(cells)

    @staticmethod
    def indicator(levels):
        index = {level: place for place, level in enumerate(dict.fromkeys(levels))}
        return np.eye(len(index))[[index[level] for level in levels]]

    def variance(self, ratios):
        return np.eye(len(self.y)) + sum(ratio * self.z[name] @ self.z[name].T for name, ratio in ratios.items())

    def criterion(self, ratios):
        v = self.variance(ratios)
        solved = np.linalg.solve(v, np.column_stack([self.x, self.y]))
        xvx = self.x.T @ solved[:, :-1]
        beta = np.linalg.solve(xvx, self.x.T @ solved[:, -1])
        quadratic = (self.y - self.x @ beta) @ np.linalg.solve(v, self.y - self.x @ beta)
        freedom = len(self.y) - self.x.shape[1]
        logs = np.linalg.slogdet(v)[1] + np.linalg.slogdet(xvx)[1]
        return freedom * (1 + np.log(2 * np.pi * quadratic / freedom)) + logs, quadratic / freedom, beta

    def predictions(self, ratios):
        """Fixed means and effects, and the covariance of their errors, from generalised least squares."""
        _, residual, beta = self.criterion(ratios)
        inverse = np.linalg.inv(self.variance(ratios))
        z = np.column_stack(list(self.z.values()))
        g = np.diag(np.concatenate([np.full(self.z[name].shape[1], ratio) for name, ratio in ratios.items()]))
        effects = g @ z.T @ inverse @ (self.y - self.x @ beta)
        a = np.linalg.inv(self.x.T @ inverse @ self.x)
        cross = -a @ self.x.T @ inverse @ z @ g
        p = inverse - inverse @ self.x @ a @ self.x.T @ inverse
        errors = np.block([[a, cross], [cross.T, g - g @ z.T @ p @ z @ g]]) * residual
        return np.concatenate([beta, effects]), errors


DESIGNS = {
    "everything": ({}, NAMES, True),
    "no entries": ({}, ("team", "judge", "table"), True),
    "the command's example": ({}, ("team", "judge", "table"), False),
    "one factor": ({}, ("judge",), True),
    "entries only, nothing crossed": ({}, ("entry",), True),
    "nested only": ({}, ("entry", "in_contest"), True),
    "more fixed cells than levels": ({"contests": 9, "teams": 9, "judges": 9}, ("judge", "team"), True),
    "many contests": ({"contests": 9, "teams": 9, "judges": 9, "categories": 2}, NAMES, True),
    "uneven": ({"missing": 0.5, "seats": 4, "judges": 20}, ("team", "judge", "entry"), True),
}


@pytest.mark.parametrize("dense_lead", [False, True], ids=["sparse", "dense"])
@pytest.mark.parametrize("design", DESIGNS)
def test_effects_errors_and_criterion_are_those_of_the_dense_model(design, dense_lead, monkeypatch):
    if dense_lead:
        monkeypatch.setattr(plan, "MOST_PAIRS", 0)
    options, names, with_cells = DESIGNS[design]
    score, factors, cells, _ = contests(11, **options)
    factors = {name: factors[name] for name in names}
    found = fit(score, factors, fixed=cells if with_cells else None)
    ratios = {name: found.variances[name] / found.residual for name in names}
    dense = Dense(score, factors, cells if with_cells else ["all"] * len(cells))
    criterion, residual, _ = dense.criterion(ratios)
    assert found.reml_criterion == pytest.approx(criterion, abs=1e-8)
    assert found.residual == pytest.approx(residual, rel=1e-10)
    expected, errors = dense.predictions(ratios)
    listed = list(found.fixed.values()) + [pair for name in names for pair in found.effects[name].values()]
    assert [value for value, _ in listed] == pytest.approx(list(expected), abs=1e-8)
    assert [error for _, error in listed] == pytest.approx(list(np.sqrt(np.maximum(errors.diagonal(), 0))), abs=1e-8)
    unknowns = [(None, cell) for cell in found.fixed] + [
        (name, level) for name in names for level in dense.levels[name]
    ]
    assert found.covariance(unknowns) == pytest.approx(errors, abs=1e-8)


@pytest.mark.parametrize("seed", range(6))
def test_no_other_variances_are_likelier(seed):
    # A general minimiser (scipy, L-BFGS-B) on the dense criterion from other starts.
    score, factors, cells, _ = contests(seed, contests=3, teams=9, judges=9, tables=2, categories=2)
    names = ("team", "judge", "table", "entry")
    factors = {name: factors[name] for name in names}
    found = fit(score, factors, fixed=cells)
    dense = Dense(score, factors, cells)

    def criterion(ratios):
        return dense.criterion(dict(zip(names, ratios, strict=True)))[0]

    own = [found.variances[name] / found.residual for name in names]
    lowest = min(
        optimize.minimize(criterion, start, bounds=[(0, None)] * 4, method="L-BFGS-B").fun
        for start in (own, [1.0] * 4, [0.05] * 4)
    )
    assert criterion(own) <= lowest + 1e-6


def test_of_two_minima_the_lower_is_found():
    # Eight made-up scores whose criterion has a minimum without judges, 21.675, and a lower one with them.
    score = np.array([18.7, 18.7, 21.8, 21.8, 19.8, 19.4, 20.7, 19.8])
    factors = {"judge": [0, 1, 0, 1, 2, 3, 2, 3], "team": [2, 2, 1, 1, 0, 0, 1, 1]}
    dense = Dense(score, factors, ["all"] * 8)
    without = dense.criterion({"judge": 0.0, "team": 2.11})[0]
    assert without < dense.criterion({"judge": 0.01, "team": 2.11})[0]
    assert without < dense.criterion({"judge": 0.0, "team": 2.5})[0]
    found = fit(score, factors)
    assert found.variances["judge"] > 0.5
    assert found.reml_criterion == pytest.approx(19.6571469, abs=1e-6)
    assert found.reml_criterion < without - 2


def test_a_variance_of_nought_is_found_as_nought():
    # Of a factor without any effect about half the estimates stand at the boundary; all must be optima.
    spread = {"team": 1.0, "judge": 1.0, "in_contest": 0.0, "table": 0.0, "entry": 0.0, "error": 1.0}
    at_boundary = 0
    for seed in range(12):
        score, factors, cells, _ = contests(seed, spread=spread)
        factors = {name: factors[name] for name in ("team", "judge", "table")}
        found = fit(score, factors, fixed=cells)
        assert (found.variances["table"] == 0.0) == ("table" in found.at_boundary)
        if "table" in found.at_boundary:
            at_boundary += 1
            ratios = {name: found.variances[name] / found.residual for name in factors}
            dense = Dense(score, factors, cells)
            assert dense.criterion(ratios | {"table": 1e-4})[0] > dense.criterion(ratios)[0]
    assert 2 <= at_boundary <= 10


@pytest.mark.parametrize("seed", [1, 2, 3, 4])
def test_one_contest_against_statsmodels(seed):
    # Reference library: statsmodels' MixedLM, every factor a variance component of one group that holds all rows.
    pandas = pytest.importorskip("pandas")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from statsmodels.regression.mixed_linear_model import MixedLM
    score, factors, cells, _ = contests(
        seed, contests=1, teams=18, judges=9, tables=3, categories=4, seats=3, missing=0
    )
    names = ("team", "judge", "entry")
    data = pandas.DataFrame({name: [str(level) for level in factors[name]] for name in names})
    data["score"], data["cell"], data["all"] = score, cells, 1
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it warns of its own optimiser's and pandas' ways
        model = MixedLM.from_formula(
            "score ~ 0 + cell",
            groups="all",
            vc_formula={name: f"0 + C({name})" for name in names},
            re_formula="0",
            data=data,
        )
        theirs = model.fit(reml=True, method=["bfgs"], gtol=1e-8)
    found = fit(score, {name: data[name].tolist() for name in names}, fixed=cells)
    components = dict(zip(model.exog_vc.names, theirs.vcomp, strict=True))
    assert found.variances == pytest.approx(components, rel=2e-3, abs=2e-4)
    assert found.residual == pytest.approx(theirs.scale, rel=1e-3)
    assert -2 * theirs.llf == pytest.approx(found.reml_criterion, abs=1e-4)
    assert found.reml_criterion <= -2 * theirs.llf + 1e-7
    for cell in found.fixed:
        assert found.fixed[cell][0] == pytest.approx(theirs.fe_params[f"cell[{cell}]"], abs=1e-3)
        assert found.fixed[cell][1] == pytest.approx(theirs.bse_fe[f"cell[{cell}]"], rel=2e-3)
    effects = theirs.random_effects[1]
    for name in names:
        for level, (effect, _) in found.effects[name].items():
            assert effect == pytest.approx(effects[f"{name}[C({name})[{level}]]"], abs=2e-3)


def test_the_order_of_rows_and_the_names_of_levels_do_not_matter():
    score, factors, cells, _ = contests(5)
    found = fit(score, factors, fixed=cells)
    order = np.random.default_rng(1).permutation(len(score))
    shuffled = fit(
        score[order],
        {name: [f"{name} {levels[place]}" for place in order] for name, levels in reversed(factors.items())},
        fixed=[cells[place] for place in order],
    )
    assert shuffled.reml_criterion == pytest.approx(found.reml_criterion, abs=1e-8)
    assert shuffled.variances == pytest.approx(found.variances, rel=1e-5, abs=1e-9)
    assert shuffled.effects["team"]["team (3,)"] == pytest.approx(found.effects["team"][(3,)], abs=1e-6)


def test_another_unit_scales_everything():
    score, factors, cells, _ = contests(6)
    found, scaled = fit(score, factors, fixed=cells), fit(1000 + 10 * score, factors, fixed=cells)
    for name, variance in found.variances.items():
        assert scaled.variances[name] == pytest.approx(100 * variance, rel=1e-6, abs=1e-9)
    team, error = found.effects["team"][(3,)]
    assert scaled.effects["team"][(3,)] == pytest.approx((10 * team, 10 * error), rel=1e-6)


def test_draws_have_the_posteriors_mean_and_covariance():
    score, factors, cells, _ = contests(7)
    found = fit(score, factors, fixed=cells)
    unknowns = [("team", (place,)) for place in range(4)] + [("judge", (2,))]
    drawn = found.draws(unknowns, 40_000, np.random.default_rng(3))
    covariance = found.covariance(unknowns)
    assert np.cov(drawn.T) == pytest.approx(covariance, abs=0.04 * covariance.max())
    expected = [found.effects[name][level][0] for name, level in unknowns]
    assert drawn.mean(axis=0) == pytest.approx(expected, abs=0.03)
    assert found.draws(unknowns, 3, np.random.default_rng(3)) == pytest.approx(drawn[:3], abs=1e-12)


def test_many_contrasts_are_each_ones_own():
    score, factors, cells, _ = contests(8)
    found = fit(score, factors, fixed=cells)
    many = [
        {("table", table): 1.0, ("judge", judge): 0.5, ("team", (3,)): -0.25}
        for table in found.effects["table"]
        for judge in found.effects["judge"]
    ]
    assert len(many) > 64
    together = np.array(found.contrasts(many))
    assert together == pytest.approx(np.array([found.contrast(each) for each in many]), abs=1e-10)


def two_parts():
    score = [3.0, 4.0, 6.0, 5.0, 8.0, 7.5, 9.0, 7.0] * 2
    teams = ["a", "a", "b", "b", "c", "c", "d", "d"] * 2
    judges = ["one", "two"] * 2 + ["three", "four"] * 2 + ["two", "one"] * 2 + ["four", "three"] * 2
    return score, {"team": teams, "judge": judges}


def test_parts_that_nothing_joins_are_not_compared():
    score, factors = two_parts()
    found = fit(score, factors)
    assert not found.connected
    part = found.components["team"]
    assert part["a"] == part["b"] == found.components["judge"]["one"]
    assert part["c"] == part["d"] == found.components["judge"]["four"]
    assert part["a"] != part["c"]
    assert found.contrast({("team", "a"): 1, ("team", "b"): -1})[0] < 0
    with pytest.raises(SeverityError, match="nothing in the data joins all of a, c; they cannot be compared"):
        found.contrast({("team", "a"): 1, ("team", "c"): -1})


def test_fixed_cells_and_a_single_factor_connect():
    score, factors = two_parts()
    assert fit(score, {"team": factors["team"]}).connected
    cells = ["ribs", "pork"] * 8
    assert fit(score, factors, fixed=cells).connected


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"factors": {"team": list("aabb"), "again": list("ccdd")}}, "again divides the rows exactly as team does"),
        ({"factors": {"team": list("aaaa")}}, "team has a single level"),
        ({"factors": {"team": list("abcd")}}, "team has a level of its own in every row"),
        ({"factors": {"team": list("aabb")}, "fixed": list("ccdd")}, "every fixed cell has a single level of team"),
        ({"score": [1.0, 1.0, 1.0, 1.0]}, "all scores of each fixed cell are equal"),
        ({"score": [1.0, 1.0, 2.0, 2.0]}, "no residual is left"),
        ({"score": [1.0, np.nan, 2.0, 2.0]}, "score 1 is not a finite number"),
        ({"score": []}, "there are no scores"),
        ({"score": [1.0, 2.0]}, "team has 4 levels for 2 scores"),
        ({"fixed": list("abcd")}, "4 scores cannot tell 4 fixed means and a spread"),
        ({"factors": {}}, "no factor is given"),
        ({"ratios": {"judge": 1.0}}, "a ratio is given for judge, which is no factor"),
        ({"ratios": {"team": -1.0}}, "the ratio of team is -1.0"),
    ],
)
def test_what_the_data_cannot_tell_is_refused_in_words(change, message):
    given = {"score": [1.0, 2.0, 3.0, 5.0], "factors": {"team": list("aabb")}} | change
    with pytest.raises(SeverityError, match=message):
        fit(given.pop("score"), given.pop("factors"), **given)


def test_unknown_levels_are_refused_by_name():
    found = fit([1.0, 2.0, 3.0, 5.0], {"team": list("aabb")})
    with pytest.raises(SeverityError, match="z is no level of team in these data"):
        found.contrast({("team", "z"): 1.0})
    with pytest.raises(SeverityError, match="judge is no factor of this fit; there is team"):
        found.contrast({("judge", "a"): 1.0})


def test_estimates_move_with_the_variances_as_said():
    """The derivatives behind `variances_too` against differences of fits with the ratios given, and their covariance
    against the second derivatives of the criterion, taken by differences as well."""
    season = contests(5)
    found = fit(season.score, season.factors, fixed=season.cells)
    ratios = {name: variance / found.residual for name, variance in found.variances.items()}
    assert min(ratios.values()) > 0
    sums = [
        {("table", (0, 0)): 1.0, ("table", (0, 1)): -1.0, ("judge", season.factors["judge"][0]): 0.5},
        {("team", season.factors["team"][3]): 1.0},
    ]

    def at(**more):
        return fit(season.score, season.factors, fixed=season.cells, ratios=ratios | more)

    step = 1e-4
    moves = np.array(
        [
            [
                (up - down) / (2 * step * ratios[name])
                for (up, _), (down, _) in zip(
                    at(**{name: ratios[name] * (1 + step)}).contrasts(sums),
                    at(**{name: ratios[name] * (1 - step)}).contrasts(sums),
                    strict=True,
                )
            ]
            for name in NAMES
        ]
    )
    step = 1e-2
    second = np.array(
        [
            [
                sum(
                    one * other * at(**_moved(ratios, (name, one * step), (second, other * step))).reml_criterion
                    for one in (1, -1)
                    for other in (1, -1)
                )
                / (4 * step**2 * ratios[name] * ratios[second])
                for second in NAMES
            ]
            for name in NAMES
        ]
    )
    more = np.einsum("ki,kl,li->i", moves, 2 * np.linalg.inv(second), moves)
    for (_, given), (_, error), expected in zip(
        found.contrasts(sums), found.contrasts(sums, variances_too=True), more, strict=True
    ):
        # Average information stands for the second derivatives, so the two agree roughly.
        assert error**2 - given**2 == pytest.approx(2 * expected, rel=0.2)
        assert error > given


def _moved(ratios, *changes):
    found = {}
    for name, change in changes:
        found[name] = found.get(name, ratios[name]) + change * ratios[name]
    return found


def test_variances_given_or_at_nought_do_not_vary():
    score, batch = [4.0, 6.0, 5.0, 5.5, 4.5, 5.2], "aabbcc"
    at_nought = fit(score, {"batch": batch})
    assert at_nought.at_boundary == ("batch",)
    for found in (at_nought, fit(score, {"batch": batch}, ratios={"batch": 0.5})):
        sums = [{("batch", "a"): 1.0, ("batch", "b"): -1.0}]
        assert found.contrasts(sums, variances_too=True) == found.contrasts(sums)
