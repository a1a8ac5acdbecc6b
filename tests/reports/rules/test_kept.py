"""What is kept of fits, agreements, practices and packages reads back whole, as codes and figures."""

import json

import pytest

from contest.rules.stored import StoredError
from judging.rules.outcome import Dropped
from reports.rules.fitted import (
    ENGINE,
    AgreementFigures,
    FitFigures,
    FlightFigures,
    JudgeFigures,
    JudgeSeverity,
    Points,
    SlopeDay,
    TeamSlope,
    by_place,
)
from reports.rules.sensory.counts import preference, triangle
from reports.rules.sensory.scorewords import Difference, ScoreFigures
from reports.rules.sensory.tasted import (
    CALLED_OFF,
    ByRules,
    OddPlate,
    PracticeResult,
    PreferenceResult,
    PreferredPlate,
    ScoreResult,
    Standing,
    TasterPoints,
    TriangleResult,
    VersionMean,
)
from reports.rules.severity.hardness import BoxWorth, TableHardness
from reports.rules.severity.places import Hold
from reports.season.imported import ImportedBox, ImportedBoxes

FIT = FitFigures(
    contests=2,
    cards=48,
    variances={"judge": 0.25},
    residual=0.5,
    at_boundary=("team",),
    connected=False,
    repetitions=4000,
    names={"ribs": "Ribs"},
    points=by_place({("u", "ribs"): Points(4.5, 36.0, 5)}),
    tables=by_place({("u", "ribs", "1"): TableHardness(0.5, 0.6, None, None, 4, 24)}),
    boxes=by_place({("u", "ribs", "201"): BoxWorth("t", "1", 0.5, -0.1, 0.05, 6)}),
    slopes={"": {"t": TeamSlope((SlopeDay("u", 0.1, 0.2),), 180.0, 0.01, 0.02, 0.9, ((1.0, 0.5, 1.5),))}},
    judges={"j": JudgeSeverity(0.1, 0.2, 8)},
    places={"u": {"ribs": {"4": Hold(1, 0.8, 1, 2)}}},
)
AGREEMENT = AgreementFigures(
    flights=(FlightFigures("ribs", "1", 4, 6, 0, (0.8, 0.5, None), None),),
    pooled={"": None, "ribs": (0.8, 0.5, 0.9)},
    judges={"j": JudgeFigures((("1", "A"),), 4, (0.1, -0.1, 0.3), None, None)},
)
TRIANGLE = triangle(3, 3)
PREFERENCE = preference(1, 9)
PRACTICES = {
    "triangle": PracticeResult(
        versions=("cherry", "hickory"),
        tasters=3,
        sum="0" * 64,
        triangle=TriangleResult(
            tuple(OddPlate(taster, 1, "417", is_right=True) for taster in (1, 2, 3)),
            3, TRIANGLE.needed, TRIANGLE.tasters,
        ),
    ),
    "preference": PracticeResult(
        versions=("cherry", "hickory"),
        tasters=10,
        unfinished=((4, 0, 1),),
        preference=PreferenceResult(
            tuple(PreferredPlate(taster, 1, "417", 1 if taster == 1 else 2) for taster in range(1, 11)),
            1, 9, PREFERENCE.needed, PREFERENCE.share,
        ),
    ),
    "score": PracticeResult(
        versions=("cherry", "hickory"),
        tasters=3,
        score=ScoreResult(
            table=(TasterPoints(1, ("36", None)),),
            means=(VersionMean("100/3", None), VersionMean("31.5", 2.5)),
            figures=ScoreFigures(3, 0.25, (Difference(0, 1, 4.5, -6.7, 15.7),), 4.4, 12),
            possible=45.0,
            least=4.5,
            one_mark=4.5,
            rule_set="Taste double",
            by_rules=ByRules(3, 4, 6, (Standing(1, 2, "153", (Dropped("1", "lowest", "27", "31.5"),)),)),
        ),
    ),
    "called off": PracticeResult(),
}  # fmt: skip


def through_json(document):
    return json.loads(json.dumps(document, allow_nan=False))


def test_fit_round_trips():
    kept = FitFigures.from_json(ENGINE, through_json(FIT.to_json()))
    assert kept == FIT
    assert kept.table("u", "ribs", "1").mean == 0.5
    assert kept.box("u", "ribs", "202") is None
    assert kept.points_at("u", "ribs").total == 180.0


def test_fit_that_failed_keeps_a_code():
    failed = FitFigures(contests=3, problem="not joined")
    assert FitFigures.from_json(ENGINE, through_json(failed.to_json())) == failed
    assert (failed.is_usable, FIT.is_usable, FitFigures(contests=1).is_usable) == (False, True, False)


def test_trend_of_a_kept_slope_is_in_points():
    trend = FIT.slopes[""]["t"].trend
    assert (trend.contests, trend.slope, trend.error, trend.chance) == (1, pytest.approx(1.8), pytest.approx(3.6), 0.9)


def test_agreement_round_trips():
    assert AgreementFigures.from_json(ENGINE, through_json(AGREEMENT.to_json())) == AGREEMENT


@pytest.mark.parametrize("figures", [FIT, AGREEMENT], ids=["fit", "agreement"])
def test_figures_of_another_engine_are_refused(figures):
    with pytest.raises(StoredError, match="worked out by “severity 2”"):
        type(figures).from_json("severity 2", through_json(figures.to_json()))


def test_fit_with_another_key_is_refused_with_its_place():
    document = through_json(FIT.to_json())
    document["slopes"][""]["t"]["sentence"] = "Your boxes rose."
    with pytest.raises(StoredError, match=r"^slopes\.\.t: unknown sentence$"):
        FitFigures.from_json(ENGINE, document)


@pytest.mark.parametrize("name", PRACTICES)
def test_practice_round_trips_as_figures(name):
    result = PRACTICES[name]
    document = through_json(result.to_json())
    assert PracticeResult.from_json(document) == result
    for line in result.words:
        assert line not in json.dumps(document, ensure_ascii=False)
    with pytest.raises(StoredError, match="format 2"):
        PracticeResult.from_json(document | {"format": 2})


def test_practice_words_come_from_the_kept_figures():
    assert PRACTICES["triangle"].words[1] == (
        "3 of 3 found the odd plate; 3 were needed. Guessing does as well one time in 27."
    )
    assert PRACTICES["preference"].words[0] == "They prefer hickory to cherry."
    assert PRACTICES["score"].words[0] == "Cannot tell: the versions may score alike or not."
    assert PRACTICES["called off"].words == [CALLED_OFF]
    score = PRACTICES["score"].score
    assert [mean.text for mean in score.means] == ["33.33", "31.5"]
    assert score.why_not == "Three cards a version are too few for a total: Taste double takes 4 to 6."


def test_imported_boxes_round_trip():
    box = ImportedBox(
        "ribs",
        "201",
        "t",
        "1",
        "accepted",
        {"A": ("7", "7.5")},
        None,
        None,
        "short",
        (Dropped("A", "lowest", "21", "22.5"),),
    )
    kept = ImportedBoxes((box,))
    assert ImportedBoxes.from_json(through_json(kept.to_json())) == kept
    with pytest.raises(StoredError, match="format None"):
        ImportedBoxes.from_json({"boxes": []})
