"""Trends: the sentences, and by simulation that chances and intervals mean what they say."""

import numpy as np
import pytest

from reports.rules.trends import Result, trends
from reports.rules.trendwords import Trend, sentence


def cooks(rng, number, *, sigma, tau, contests=(3, 9), errors=(0.3, 1.5)):
    """Invented cooks: (results by cook, true slopes)."""
    results, slopes = {}, {}
    for cook in range(number):
        level, slopes[cook] = rng.normal(30, 4), rng.normal(0, tau)
        when = np.sort(rng.choice(12, rng.integers(*contests), replace=False))
        own = []
        for x in when:
            error = rng.uniform(*errors)
            points = level + slopes[cook] * x + rng.normal(0, sigma) + rng.normal(0, error)
            own.append(Result(float(x), float(points), float(error)))
        results[cook] = own
    return results, slopes


@pytest.mark.parametrize(("sigma", "tau"), [(1.5, 0.6), (1.0, 0.15), (2.0, 0.0)])
def test_chances_are_calibrated_and_intervals_cover(sigma, tau):
    rng = np.random.default_rng(int(100 * sigma + 10 * tau))
    chances, above, covered = [], [], []
    for _ in range(25):
        results, slopes = cooks(rng, 80, sigma=sigma, tau=tau)
        for cook, trend in trends(results).items():
            chances.append(trend.chance)
            above.append(slopes[cook] > 0)
            covered.append(abs(slopes[cook] - trend.slope) <= 1.96 * trend.error)
    chances, above = np.array(chances), np.array(above)
    assert 0.93 <= np.mean(covered) <= (0.98 if tau else 1.0)
    if not tau:  # nobody has a slope: hardly anybody may be told of one, and of none firmly
        assert np.mean((chances > 0.9) | (chances < 0.1)) < 0.02
        return
    for low, high in ((0.0, 0.1), (0.1, 0.25), (0.25, 0.5), (0.5, 0.75), (0.75, 0.9), (0.9, 1.0)):
        some = (chances >= low) & (chances < high)
        if some.sum() < 60:
            continue
        told, came = chances[some].mean(), above[some].mean()
        assert came == pytest.approx(told, abs=3.5 * (told * (1 - told) / some.sum()) ** 0.5 + 0.02)


def test_a_handful_of_cooks_makes_no_bold_claims():
    rng = np.random.default_rng(8)
    bold, right = 0, 0
    for _ in range(150):
        results, slopes = cooks(rng, 4, sigma=1.5, tau=0.3, contests=(3, 6))
        for cook, trend in trends(results).items():
            if trend.chance > 0.9 or trend.chance < 0.1:
                bold += 1
                right += (slopes[cook] > 0) == (trend.chance > 0.5)
    assert bold >= 20
    assert right / bold >= 0.82


def test_known_spreads_give_the_textbook_posterior():
    # Many cooks pin σ and τ down: the slope must then be b τ² ÷ (τ² + v), v = σ² ÷ Σ(x − x̄)², here by hand.
    rng = np.random.default_rng(4)
    results, _ = cooks(rng, 3000, sigma=1.0, tau=0.5, contests=(4, 8), errors=(0.0, 1e-9))
    own = [Result(x, 30 + 0.8 * x) for x in range(5)]
    trend = trends(results | {"own": own})["own"]
    v = 1.0 / 10
    kept = 0.25 / (0.25 + v)
    assert trend.slope == pytest.approx(0.8 * kept, rel=0.02)
    assert trend.error == pytest.approx((v * kept) ** 0.5, rel=0.03)


def test_larger_errors_of_the_points_shrink_more():
    rng = np.random.default_rng(5)
    results, _ = cooks(rng, 200, sigma=1.0, tau=0.5)
    sure = [Result(x, 30 + x, 0.1) for x in range(4)]
    unsure = [Result(x, 30 + x, 3.0) for x in range(4)]
    found = trends(results | {"sure": sure, "unsure": unsure})
    assert 0 < found["unsure"].slope < found["sure"].slope < 1
    assert 0.5 < found["unsure"].chance < found["sure"].chance


def test_the_mirror_image_has_the_opposite_slope():
    rng = np.random.default_rng(6)
    results, _ = cooks(rng, 30, sigma=1.0, tau=0.5)
    mirrored = {cook: [Result(r.when, -r.points, r.error) for r in own] for cook, own in results.items()}
    found, opposite = trends(results), trends(mirrored)
    for cook, trend in found.items():
        assert opposite[cook].slope == pytest.approx(-trend.slope, abs=1e-9)
        assert opposite[cook].chance == pytest.approx(1 - trend.chance, abs=1e-9)


def test_no_slope_below_three_contests_or_at_one_time():
    results = {
        "none": [],
        "two": [Result(0, 30), Result(1, 40)],
        "one time": [Result(1, 30), Result(1, 31), Result(1, 32)],
        "three": [Result(0, 30), Result(1, 31), Result(2, 33)],
    }
    found = trends(results)
    assert found["none"] == Trend(0)
    assert found["two"] == Trend(2)
    assert found["one time"] == Trend(3)
    assert 0.5 < found["three"].chance < 1
    assert trends({}) == {}


def test_equal_points_everywhere_tell_nothing():
    found = trends({cook: [Result(x, 30.0) for x in range(4)] for cook in range(3)})
    assert found[0].slope == pytest.approx(0.0, abs=1e-9)
    assert found[0].chance == pytest.approx(0.5)


@pytest.mark.parametrize("bad", [Result(0, float("nan")), Result(float("inf"), 1.0), Result(0, 1.0, -0.5)])
def test_numbers_that_are_none_are_refused(bad):
    with pytest.raises(ValueError, match="needs finite numbers"):
        trends({"Alder": [Result(0, 1.0), bad]})


@pytest.mark.parametrize(
    ("trend", "text"),
    [
        (Trend(0), "Not enough contests yet: a trend of your ribs needs three, there are none."),
        (Trend(1), "Not enough contests yet: a trend of your ribs needs three, there is one."),
        (Trend(3), "Whether your ribs rose or fell this season, three contests cannot tell."),
        (Trend(6, 0.5, 0.7, 0.899), "Whether your ribs rose or fell this season, six contests cannot tell."),
        (Trend(6, -0.5, 0.7, 0.101), "Whether your ribs rose or fell this season, six contests cannot tell."),
        (Trend(6, 0.5, 0.7, 0.9), "Your ribs rose about 0.5 points a contest this season; 9 in 10 that it is real."),
        (Trend(6, -0.5, 0.7, 0.1), "Your ribs fell about 0.5 points a contest this season; 9 in 10 that it is real."),
        (Trend(6, 1.1, 0.8, 0.949), "Your ribs rose about 1.1 points a contest this season; 9 in 10 that it is real."),
        (Trend(6, -1.1, 0.8, 0.1), "Your ribs fell about 1.1 points a contest this season; 9 in 10 that it is real."),
        (Trend(6, 1.1, 0.5, 0.96), "Your ribs rose about 1.1 points a contest this season; 19 in 20 that it is real."),
        (Trend(6, 1.1, 0.1, 1.0), "Your ribs rose about 1.1 points a contest this season; 49 in 50 that it is real."),
        (
            Trend(6, 0.04, 0.02, 0.95),
            "Your ribs rose less than 0.1 points a contest this season; 19 in 20 that it is real.",
        ),
    ],
)
def test_sentences_claim_no_more_than_the_chance(trend, text):
    assert sentence(trend, "ribs") == text
