"""Locking, closing, signing off and revising: what is refused, what is frozen, what the log says."""

import hashlib
import json
from decimal import Decimal

import pytest

from contest import day
from contest.day import in_the_way
from contest.models import Contest, LogRow
from contest.refusals import Refused
from contest.rules.ruleset import parse
from judging.frozen import canonical, outcome_of
from judging.models import Mark, Reading, Tally
from judging.records import closing_records
from judging.rules import workings
from judging.rules.standings import box_standings, read_outcome
from judging.rules.tally import Box, Card, tally
from judging.rules.tally_csv import result_csv
from judging.rules.workings import box_working
from judging.services.cards import SheetRefused, hand_in_sheet
from judging.services.rulings import rule
from judging.services.tally import close_tally, lock_marks, revise, sign_off, unlock_marks
from tests.factories import make_contest, make_drawn, mark_everything, take_in, unguarded
from tests.rewording import reword_everything

pytestmark = pytest.mark.django_db


@pytest.fixture
def contest():
    contest = make_drawn(make_contest(teams=6, tables=2, seats=6))
    take_in(contest)
    mark_everything(contest)
    return contest


def state(contest):
    contest.refresh_from_db()
    return contest.state


def log(contest, chain):
    return list(LogRow.objects.filter(chain__contest=contest, chain__name=chain).values_list("what", flat=True))


def correct(contest, number, seat, **marks):
    """A correction as the room of cards writes it: a new reading that stands."""
    reading = Reading.objects.get(card__box__number=number, card__seat__letter=seat, standing=True)
    Reading.objects.filter(pk=reading.pk).update(standing=False)
    made = Reading.objects.create(card=reading.card, kind="correction", reason="misread", by="clerk")
    Mark.objects.bulk_create(
        Mark(reading=made, criterion=mark.criterion, value=marks.get(mark.criterion, mark.value))
        for mark in reading.marks.all()
    )


def test_locking_is_logged_once_and_unlocking_needs_a_reason(contest):
    lock_marks(contest=contest, by="clerk")
    lock_marks(contest=contest, by="clerk")
    contest.refresh_from_db()
    assert contest.marks_locked_at is not None
    with pytest.raises(Refused, match="Say why"):
        unlock_marks(contest=contest, reason="  ", by="clerk")
    unlock_marks(contest=contest, reason="a sheet was found", by="clerk")
    contest.refresh_from_db()
    assert contest.marks_locked_at is None
    assert log(contest, "cards") == ["marks locked", "marks unlocked"]
    with pytest.raises(Refused, match="not locked"):
        unlock_marks(contest=contest, reason="again", by="clerk")


def test_nothing_to_lock_or_close_before_the_draw():
    contest = make_contest()
    for act in (lock_marks, close_tally):
        with pytest.raises(Refused, match="before the draw"):
            act(contest=contest, by="clerk")


def test_closing_is_refused_with_the_list_and_changes_nothing(contest):
    with unguarded():
        Reading.objects.filter(card__box__number="201", card__seat__letter="B").delete()
    (todo,) = in_the_way("closing", contest)
    assert todo.text == "Table 1 has one card missing for chicken (seat B)."
    with pytest.raises(Refused) as refused:
        close_tally(contest=contest, by="head judge")
    assert refused.value.todos == [todo]
    assert state(contest) == Contest.State.SEALED
    assert contest.marks_locked_at is None
    assert not Tally.objects.exists()
    assert log(contest, "day") == []


def test_missing_cards_stop_the_closing_until_each_is_ruled_lost(contest):
    box = contest.boxes.order_by("number").last()
    gone = list(box.table.seats.order_by("letter"))[-2:]
    with unguarded():
        Reading.objects.filter(card__box=box, card__seat__in=gone).delete()
    with pytest.raises(Refused) as refused:
        close_tally(contest=contest, by="head judge")
    assert "two cards missing for ribs (seats E and F)" in refused.value.todos[0].text
    rule(contest=contest, kind="lost", scope="card", box=box, seat=gone[0], reason="blown away", by="head judge")
    with pytest.raises(Refused) as refused:
        close_tally(contest=contest, by="head judge")
    assert "one card missing for ribs (seat F)" in refused.value.todos[0].text
    rule(contest=contest, kind="lost", scope="card", box=box, seat=gone[1], reason="blown away", by="head judge")
    made = close_tally(contest=contest, by="head judge")
    row = next(row for row in made.outcome["categories"][1]["boxes"] if row["box"] == box.number)
    assert row["counted"] == ["A", "B", "C", "D"]


def test_boxes_that_the_desk_has_not_recorded_stop_the_closing(contest):
    with unguarded():
        contest.boxes.get(number="204").turn_ins.all().delete()
    with pytest.raises(Refused) as refused:
        close_tally(contest=contest, by="head judge")
    assert [todo.part for todo in refused.value.todos] == ["desk"]


def test_a_card_corrected_by_its_own_service_comes_into_the_revision(contest):
    sign_off(tally=close_tally(contest=contest, by="head judge"), by="head judge")
    contest.refresh_from_db()
    category, box = contest.categories.get(key="chicken"), contest.boxes.get(number="203")
    given = {
        "contest": contest,
        "category": category,
        "seat": box.table.seats.get(letter="A"),
        "marks": {"203": {"appearance": 8, "taste": 1, "tenderness": 8}},
        "by": "clerk",
        "reason": "a nine read for a one",
    }
    with pytest.raises(SheetRefused, match="The tally is closed"):
        hand_in_sheet(**given)
    unlock_marks(contest=contest, reason="a nine read for a one", by="head judge")
    contest.refresh_from_db()
    hand_in_sheet(**given | {"contest": contest})
    made = revise(contest=contest, reason="a nine read for a one", by="head judge")
    row = next(row for row in made.outcome["categories"][0]["boxes"] if row["box"] == "203")
    assert row["total"] == "182"


def test_closing_freezes_inputs_standings_and_workings(contest):
    made = close_tally(contest=contest, by="head judge")
    assert state(contest) == Contest.State.CLOSED
    assert contest.marks_locked_at is not None
    assert made.revision == 1
    assert made.signed_at is None
    kept = Tally.objects.get()
    assert kept.inputs_hash == hashlib.sha256(canonical(kept.inputs).encode()).hexdigest()
    assert parse(kept.inputs["rules"]["chicken"]).name == "Taste double"
    # Boxes 201 … 206, base mark 5 + number mod 4; box 203 is the best, 8 in every criterion, taste 9 in seats A and C.
    # Weights 1, 2, 1.5: a card is 36, or 38; the lowest of six (36) is dropped: 3 × 36 + 2 × 38 = 184.
    chicken = kept.outcome["categories"][0]
    assert (chicken["key"], chicken["name"], chicken["counts"]) == ("chicken", "Chicken", True)
    best = chicken["boxes"][0]
    assert (best["box"], best["rank"], best["total"], best["status"]) == ("203", 1, "184", "ranked")
    assert best["team"] == str(contest.boxes.get(number="203").pairing.entry.number)
    assert len(best["counted"]) == 5
    (dropped,) = best["dropped"]
    assert (dropped["rule"], dropped["value"], dropped["limit"]) == ("lowest", "36", "36")
    box, cards = kept.standings.categories[0].boxes[0], kept.source.box("chicken", "203").cards
    assert "Total 184." in box_working(box, cards, kept.source.rules("chicken"))
    public = box_working(box, cards, kept.source.rules("chicken"), public=True)
    assert not any("seat" in line.lower() and "Table" in line for line in public)
    assert set(kept.outcome["teams"]) == {"1", "2", "3", "4", "5", "6"}
    assert [team["rank"] for team in kept.outcome["overall"]] == [1, 2, 3, 4, 5, 6]
    assert kept.outcome["champions"] == [team["team"] for team in kept.outcome["overall"][:2]]


def texts_in(value):
    """Every text in a JSON value, names of keys left out."""
    if isinstance(value, str):
        return [value]
    nested = value.values() if isinstance(value, dict) else value if isinstance(value, list) else ()
    return [text for part in nested for text in texts_in(part)]


def test_stored_outcome_holds_no_sentence(contest):
    with unguarded():
        Mark.objects.update(value=5)  # ties, so that every kind of fact is there
    made = close_tally(contest=contest, by="head judge")
    outcome = dict(made.outcome)
    names = {*outcome.pop("teams").values(), *(category["name"] for category in outcome["categories"])}
    texts = set(texts_in(outcome)) - names
    assert "lot" in texts
    assert [text for text in texts if " " in text] == []
    assert read_outcome(json.loads(json.dumps(made.outcome))).document() == made.outcome


def test_one_category_reads_as_within_the_whole(contest):
    made = close_tally(contest=contest, by="head judge")
    for category in made.standings.categories:
        assert made.category(category.key) == category
    assert made.category("never held") is None


def test_rewording_every_sentence_changes_nothing_stored(contest, monkeypatch):
    with unguarded():
        Mark.objects.filter(reading__card__box__category__key="ribs").update(value=5)
    records = closing_records(contest)
    names = {"category_names": {"chicken": "Chicken", "ribs": "Ribs"}, "team_names": {str(n): str(n) for n in range(9)}}
    outcome, printed = outcome_of(records, records.tally(), **names), result_csv(records.tally())
    box = box_standings(records.tally(), "chicken")[0]
    said = workings.box_working(box, records.cards_of("chicken", box.box), records.rules["chicken"])
    reword_everything(monkeypatch)
    assert outcome_of(records, records.tally(), **names) == outcome
    assert result_csv(records.tally()) == printed
    # The sentences did change.
    assert said != workings.box_working(box, records.cards_of("chicken", box.box), records.rules["chicken"])
    assert (
        close_tally(contest=contest, by="head judge").outcome["categories"][0]["boxes"]
        == (outcome["categories"][0]["boxes"])
    )


def test_the_log_of_cards_never_names_a_team_nor_a_hash_of_one(contest):
    close_tally(contest=contest, by="head judge")
    assert log(contest, "cards") == ["tally closed"]
    assert log(contest, "day") == ["tally closed"]
    rows = LogRow.objects.filter(chain__contest=contest)
    assert json.loads(rows.get(chain__name="cards").facts) == {"revision": 1}
    assert json.loads(rows.get(chain__name="day").facts)["inputs"] == Tally.objects.get().inputs_hash


def test_no_person_stands_in_the_frozen_tally(contest):
    made = close_tally(contest=contest, by="Somebody Particular")
    text = canonical(made.inputs) + canonical(made.outcome)
    assert "Somebody" not in text
    assert "Judge 1A" not in text


def test_closing_twice_is_refused(contest):
    close_tally(contest=contest, by="head judge")
    with pytest.raises(Refused, match="closed already"):
        close_tally(contest=contest, by="head judge")
    assert Tally.objects.count() == 1


def test_a_box_that_is_not_on_record_stops_the_closing_even_if_nobody_said_so(contest, monkeypatch):
    monkeypatch.setattr(day, "in_the_way", lambda what, contest: [])
    with unguarded():
        contest.boxes.get(number="204").turn_ins.all().delete()
    with pytest.raises(Refused, match="204"):
        close_tally(contest=contest, by="head judge")
    assert state(contest) == Contest.State.SEALED


def test_the_tally_is_signed_once(contest):
    made = close_tally(contest=contest, by="head judge")
    assert sign_off(tally=made, by="Head Judge Larch").signed_by == "Head Judge Larch"
    with pytest.raises(Refused, match="signed off already"):
        sign_off(tally=made, by="another")
    assert log(contest, "cards") == ["tally closed", "tally signed off"]


def test_a_correction_after_closing_is_a_revision_with_a_reason_and_the_first_stays(contest):
    first = sign_off(tally=close_tally(contest=contest, by="head judge"), by="head judge")
    with pytest.raises(Refused, match="Nothing has changed"):
        revise(contest=contest, reason="just so", by="head judge")
    unlock_marks(contest=contest, reason="Team Alder's card was misread", by="head judge")
    correct(contest, "203", "A", taste=Decimal(1))
    with pytest.raises(Refused, match="Say why"):
        revise(contest=contest, reason="", by="head judge")
    second = revise(contest=contest, reason="Team Alder's card was misread", by="head judge")
    assert (second.revision, second.signed_at) == (2, None)
    first.refresh_from_db()
    assert first.outcome["categories"][0]["boxes"][0]["total"] == "184"
    # Seat A's card falls to 8 + 2 + 12 = 22 and is the lowest now: 4 × 36 + 38 = 182.
    box = next(box for box in second.outcome["categories"][0]["boxes"] if box["box"] == "203")
    assert box["total"] == "182"
    contest.refresh_from_db()
    assert contest.marks_locked_at is not None
    assert "Alder" not in " ".join(LogRow.objects.filter(chain__name="cards").values_list("facts", flat=True))
    with pytest.raises(Refused, match="newer revision"):
        sign_off(tally=first, by="head judge")


def test_an_open_tally_is_not_revised(contest):
    with pytest.raises(Refused, match="only after it was closed"):
        revise(contest=contest, reason="too early", by="head judge")


def test_anyone_tallies_the_frozen_inputs_again_to_the_same_result(contest):
    made = close_tally(contest=contest, by="head judge")
    boxes = [
        Box(
            category=box["category"],
            box=box["box"],
            table=box["table"],
            status=box["status"],
            team=box["team"],
            cards=tuple(Card(seat, tuple(Decimal(mark) for mark in marks)) for seat, marks in box["cards"].items()),
        )
        for box in made.inputs["boxes"]
    ]
    again = tally(
        {key: parse(made.inputs["rules"][key]) for key in made.inputs["categories"]},
        boxes,
        overall=made.inputs["counting"],
        seed=made.inputs["seed"],
        overall_rules=parse(made.inputs["overall_rules"]),
    )
    frozen = {each["key"]: [(box["box"], box["rank"]) for box in each["boxes"]] for each in made.outcome["categories"]}
    assert {key: [(box.box, box.rank) for box in listed] for key, listed in again.categories.items()} == frozen
    assert [(team.team, team.rank) for team in again.overall] == [
        (team["team"], team["rank"]) for team in made.outcome["overall"]
    ]


def test_the_lots_seed_is_the_draws(contest):
    with unguarded():
        Mark.objects.update(value=5)
    made = close_tally(contest=contest, by="head judge")
    seed = contest.draws.get().seed
    order = sorted(
        (hashlib.sha256(f"{seed}:chicken:{number}".encode()).hexdigest(), number)
        for number in ("201", "202", "203", "204", "205", "206")
    )
    assert [box["box"] for box in made.outcome["categories"][0]["boxes"]] == [number for _, number in order]
    assert made.outcome["categories"][0]["boxes"][0]["decided_by"] == "lot"


def test_records_load_in_a_bounded_number_of_queries(contest, django_assert_max_num_queries):
    with django_assert_max_num_queries(12):
        closing_records(contest).tally()
