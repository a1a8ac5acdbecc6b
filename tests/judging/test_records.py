"""Rows become the tally's values: rulings put in place, the seal kept."""

import pytest
from django.utils import timezone

from contest.models import Pairing
from judging.models import Reading, Ruling
from judging.records import RecordsError, closing_records, sealed_records
from tests.factories import make_card, make_contest, make_drawn, mark_everything, take_in, unguarded

pytestmark = pytest.mark.django_db


def rule(contest, kind, scope, number, seat=None, **fields):
    box = contest.boxes.get(number=number)
    found = box.table.seats.get(letter=seat) if seat else None
    return Ruling.objects.create(
        contest=contest,
        kind=kind,
        scope=scope,
        box=box,
        seat=found,
        reason="seen by the head judge",
        by="head",
        **fields,
    )


@pytest.fixture
def contest():
    contest = make_drawn(make_contest(teams=4, seats=4, rules="uneven-weights"))
    take_in(contest)
    mark_everything(contest)
    return contest


def cards(records, number):
    box = next(box for box in records.boxes if box.box == number)
    return {card.seat: tuple(int(mark) for mark in card.marks) for card in box.cards}


def test_marks_come_in_sheet_order_by_seat(contest):
    # Box 201: base 5 + 201 % 4 = 6; seats A and C give taste one more.
    assert cards(sealed_records(contest), "201") == {"A": (6, 7, 6), "B": (6, 6, 6), "C": (6, 7, 6), "D": (6, 6, 6)}


def test_halves_stay_exact(contest):
    half = make_drawn(make_contest(teams=1, seats=1, rules="four-criteria", categories=("ribs",)))
    take_in(half)
    box = half.boxes.get()
    make_card(box, box.table.seats.get(), {"appearance": "8.5", "taste": "7", "tenderness": "6.5", "impression": "9"})
    keys = list(sealed_records(half).rules["ribs"].criteria)
    assert len(keys) == 4
    given = sealed_records(half).boxes[0].cards[0].marks
    assert [str(mark) for mark in given] == ["8.5", "7", "6.5", "9"]


def test_a_penalty_on_a_criterion_reaches_every_card_of_the_box_and_no_other_box(contest):
    rule(contest, "penalty", "criterion", "201", criterion="appearance")
    records = sealed_records(contest)
    assert cards(records, "201") == {"A": (0, 7, 6), "B": (0, 6, 6), "C": (0, 7, 6), "D": (0, 6, 6)}
    assert cards(records, "202")["A"] == (7, 8, 7)


def test_a_penalty_on_a_card_reaches_that_card_alone(contest):
    rule(contest, "penalty", "card", "201", "B")
    assert cards(sealed_records(contest), "201") == {
        "A": (6, 7, 6), "B": (0, 0, 0), "C": (6, 7, 6), "D": (6, 6, 6),
    }  # fmt: skip


def test_a_penalty_on_a_box_reaches_every_mark(contest):
    rule(contest, "penalty", "box", "201")
    assert set(cards(sealed_records(contest), "201").values()) == {(0, 0, 0)}


def test_a_penalty_where_the_rules_have_none_is_said():
    contest = make_drawn(make_contest(teams=1, rules="plain-points", categories=("ribs",)))
    mark_everything(contest)
    rule(contest, "penalty", "box", "201")
    with pytest.raises(RecordsError, match="Box 201 has a penalty"):
        sealed_records(contest)


def test_a_lost_card_is_left_out_until_its_ruling_is_withdrawn(contest):
    ruling = rule(contest, "lost", "card", "201", "C")
    assert set(cards(sealed_records(contest), "201")) == {"A", "B", "D"}
    ruling.withdrawn_at, ruling.withdrawn_why = timezone.now(), "the sheet was found"
    ruling.save()
    assert set(cards(sealed_records(contest), "201")) == {"A", "B", "C", "D"}


def test_a_dismissed_card_waits_until_another_reading_stands(contest):
    box = contest.boxes.get(number="201")
    seat = box.table.seats.get(letter="D")
    dismissed = Reading.objects.get(card__box=box, card__seat=seat)
    rule(contest, "dismissal", "card", "201", "D", dismissed_reading=dismissed)
    assert set(cards(sealed_records(contest), "201")) == {"A", "B", "C"}
    dismissed.standing = False
    dismissed.save()
    make_card(
        box, seat, {"appearance": 9, "taste": 9, "tenderness": 9}, kind="correction", reason="marked again, alone"
    )
    assert cards(sealed_records(contest), "201")["D"] == (9, 9, 9)


def test_only_the_standing_reading_counts(contest):
    box = contest.boxes.get(number="201")
    Reading.objects.filter(card__box=box, card__seat__letter="A").update(standing=False)
    make_card(box, box.table.seats.get(letter="A"), {"appearance": 2, "taste": 3, "tenderness": 4})
    assert cards(sealed_records(contest), "201")["A"] == (2, 3, 4)


def test_a_card_that_lacks_a_mark_is_named(contest):
    with unguarded():
        Reading.objects.get(card__box__number="203", card__seat__letter="B").marks.get(criterion="taste").delete()
    with pytest.raises(RecordsError, match="table 1, seat B for box 203 lacks a mark"):
        sealed_records(contest)


def statuses(records):
    return {box.box: box.status for box in records.boxes}


def test_a_teams_disqualification_reaches_its_other_boxes_only_where_teams_are_known(contest):
    ruled = contest.boxes.get(number="201")
    other = Pairing.objects.exclude(box=ruled).get(entry=ruled.pairing.entry).box
    rule(contest, "disqualification", "team", "201")
    sealed = statuses(sealed_records(contest))
    assert (sealed["201"], sealed[other.number]) == ("disqualified", "accepted")
    known = statuses(closing_records(contest))
    assert {number for number, status in known.items() if status == "disqualified"} == {"201", other.number}


def test_sealed_records_say_neither_team_nor_why_a_box_is_not_judged():
    contest = make_drawn(make_contest(teams=4, seats=3, categories=("ribs",)))
    for number, status in (("201", "accepted"), ("202", "late"), ("203", "absent"), ("204", "refused")):
        from contest.models import TurnIn

        TurnIn.objects.create(box=contest.boxes.get(number=number), status=status, by="desk", reason="at the desk")
    records = sealed_records(contest)
    assert records.not_judged == (("ribs", "202"), ("ribs", "203"), ("ribs", "204"))
    assert [(box.box, box.team, box.status) for box in records.boxes] == [("201", None, "accepted")]
    # An absent box stays absent when its team is disqualified: there is nothing to disqualify.
    rule(contest, "disqualification", "box", "203")
    rule(contest, "disqualification", "box", "202")
    assert statuses(closing_records(contest)) == {
        "201": "accepted", "202": "disqualified", "203": "absent", "204": "refused",
    }  # fmt: skip


def test_closing_needs_every_box_on_record(contest):
    with unguarded():
        contest.boxes.get(number="204").turn_ins.all().delete()
    with pytest.raises(RecordsError, match="Box 204 has no turn-in on record"):
        closing_records(contest)


def test_a_cancelled_category_is_left_out(contest):
    contest.categories.filter(key="ribs").update(cancelled_at=timezone.now(), cancelled_why="storm")
    for records in (sealed_records(contest), closing_records(contest)):
        assert list(records.rules) == ["chicken"]
        assert {box.category for box in records.boxes} == {"chicken"}
        assert records.counting == ("chicken",)


def test_sealed_records_load_no_team(contest, django_assert_max_num_queries):
    with django_assert_max_num_queries(16) as queries:
        sealed_records(contest)
    texts = " ".join(query["sql"] for query in queries.captured_queries)
    for table in ("contest_pairing", "contest_entry", "contest_team"):
        assert table not in texts
