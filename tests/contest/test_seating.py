"""Seating judges: at random, by hand, and away from teams they are close to."""

import json

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.urls import reverse

from contest.models import Attendance, Contest, Entered, Judge, LogRow, Sitting
from contest.rules.seating import seat_judges
from contest.selectors.seating import forbidden_tables, seating
from contest.services.seating import judges_to_seat, replace_judge, seat_at_random, swap, vacate
from tests.factories import client_for, make_card, make_contest, make_drawn

pytestmark = pytest.mark.django_db


def seat(contest, place):
    return contest.tables.get(number=place[0]).seats.get(letter=place[1])


def judge_at(contest, place, category="chicken"):
    return Sitting.objects.get(seat=seat(contest, place), category__key=category).judge


def unseated(contest, name="Judge Spare", contests=3):
    judge = Judge.objects.create(name=name, contests_judged=contests)
    Attendance.objects.create(contest=contest, judge=judge)
    return judge


def team(contest, number):
    return contest.entries.get(number=number).team


def test_seating_at_random_can_be_checked_from_the_log():
    contest = make_contest(tables=2, seats=3)
    for number, row in enumerate(contest.attendances.select_related("judge")):
        Judge.objects.filter(pk=row.judge_id).update(contests_judged=number * 3)
    seed = seat_at_random(contest=contest, by="organiser")
    facts = json.loads(LogRow.objects.get(what="judges seated at random").facts)
    listed = judges_to_seat(contest)
    recomputed = seat_judges([judge.contests_judged for judge in listed], {1: "ABC", 2: "ABC"}, facts["seed"].encode())
    assert facts["seed"] == seed
    assert facts["judges"] == 6
    assert {f"{table}{letter}": index + 1 for (table, letter), index in recomputed.items()} == facts["seated"]
    for (table, letter), index in recomputed.items():
        for category in ("chicken", "ribs"):
            assert judge_at(contest, f"{table}{letter}", category) == listed[index]
    assert not any(judge.name in json.dumps(facts) for judge in listed)


def test_a_judge_with_a_competing_team_is_not_seated():
    contest = make_contest(tables=1, seats=6)
    close = judge_at(contest, "1A")
    close.conflicts.add(team(contest, 4))
    seat_at_random(contest=contest, by="organiser", seed="x")
    assert not Sitting.objects.filter(judge=close).exists()
    (waiting,) = seating(contest).waiting
    assert waiting.judge == close
    assert waiting.why.startswith("close to 4 Team")
    with pytest.raises(ValidationError, match="close to 4 Team"):
        replace_judge(contest=contest, seat=seat(contest, "1B"), from_category=None, judge=close, by="o")
    # Withdrawn from everything before the draw: nothing is left to be close to.
    Entered.objects.filter(entry__number=4).update(withdrawn_at="2026-06-01T00:00Z")
    seat_at_random(contest=contest, by="organiser", seed="x")
    assert Sitting.objects.filter(judge=close).count() == 2


def test_an_absent_judge_is_not_seated():
    contest = make_contest(tables=1, seats=6)
    absent = judge_at(contest, "1A")
    contest.attendances.filter(judge=absent).update(absent=True)
    seat_at_random(contest=contest, by="organiser")
    assert not Sitting.objects.filter(judge=absent).exists()


def test_a_judge_replaced_from_a_category_on_keeps_the_earlier_ones():
    contest = make_drawn(categories=("chicken", "ribs", "pork"))
    before, spare = judge_at(contest, "1A"), unseated(contest)
    ribs = contest.categories.get(key="ribs")
    replace_judge(contest=contest, seat=seat(contest, "1A"), from_category=ribs, judge=spare, by="o", reason="ill")
    assert [judge_at(contest, "1A", key) for key in ("chicken", "ribs", "pork")] == [before, spare, spare]
    row = LogRow.objects.get(what="judge replaced")
    assert row.facts == '{"from":"ribs","named":true,"reason":"ill","seat":"1A"}'
    assert row.chain.name == "day"
    assert row.person.name == "o"


def test_a_seat_may_go_on_without_a_name():
    contest = make_contest()
    replace_judge(contest=contest, seat=seat(contest, "1A"), from_category=None, judge=None, by="o")
    row = Sitting.objects.get(seat=seat(contest, "1A"), category__key="ribs")
    assert (row.judge, row.vacant) == (None, False)


def test_a_vacated_seat_expects_nobody_from_then_on():
    contest = make_drawn()
    ribs = contest.categories.get(key="ribs")
    with pytest.raises(ValidationError, match="Say why"):
        vacate(contest=contest, seat=seat(contest, "1B"), from_category=ribs, by="o", reason=" ")
    vacate(contest=contest, seat=seat(contest, "1B"), from_category=ribs, by="o", reason="called away")
    rows = Sitting.objects.filter(seat=seat(contest, "1B")).order_by("category__order")
    assert [(row.vacant, row.judge is None) for row in rows] == [(False, False), (True, True)]


def test_two_seats_exchange_their_judges():
    contest = make_contest(tables=2, seats=2)
    one, other = judge_at(contest, "1A"), judge_at(contest, "2B")
    swap(contest=contest, one=seat(contest, "1A"), other=seat(contest, "2B"), by="o")
    assert (judge_at(contest, "1A"), judge_at(contest, "2B", "ribs")) == (other, one)


def test_an_exchange_with_a_vacant_seat_moves_the_vacancy():
    contest = make_contest(tables=2, seats=2)
    vacate(contest=contest, seat=seat(contest, "2B"), from_category=None, by="o", reason="nobody")
    mover = judge_at(contest, "1A")
    swap(contest=contest, one=seat(contest, "1A"), other=seat(contest, "2B"), by="o")
    assert judge_at(contest, "2B") == mover
    assert Sitting.objects.get(seat=seat(contest, "1A"), category__key="chicken").vacant


def test_nobody_sits_in_two_seats_in_one_category():
    contest = make_contest(tables=2, seats=2)
    judge = judge_at(contest, "1A")
    with pytest.raises(ValidationError, match="already sits at table 1, seat A in Chicken"):
        replace_judge(contest=contest, seat=seat(contest, "2A"), from_category=None, judge=judge, by="o")
    with pytest.raises(IntegrityError), transaction.atomic():
        Sitting.objects.filter(seat=seat(contest, "2A")).update(judge=judge)


def test_after_the_draw_a_change_needs_its_reason():
    contest = make_drawn(tables=2, seats=2)
    with pytest.raises(ValidationError, match="Say why"):
        swap(contest=contest, one=seat(contest, "1A"), other=seat(contest, "2A"), by="o")
    with pytest.raises(ValidationError, match="Say why"):
        replace_judge(contest=contest, seat=seat(contest, "1A"), from_category=None, judge=None, by="o")


def test_a_seat_of_another_contest_is_refused():
    contest, other = make_contest(), make_contest()
    for change in (
        lambda: swap(contest=contest, one=seat(contest, "1A"), other=seat(other, "1B"), by="o"),
        lambda: replace_judge(contest=contest, seat=seat(other, "1A"), from_category=None, judge=None, by="o"),
    ):
        with pytest.raises(ValidationError, match="another contest"):
            change()


def test_locked_marks_hold_the_seating():
    contest = make_drawn()
    Contest.objects.filter(pk=contest.pk).update(marks_locked_at="2026-06-13T15:00Z")
    with pytest.raises(ValidationError, match="marks are locked"):
        vacate(contest=contest, seat=seat(contest, "1A"), from_category=None, by="o", reason="x")


def kept_apart(drawn=False):
    contest = make_contest(tables=3, seats=2, conflicts="kept_apart")
    judge_at(contest, "2A").conflicts.add(team(contest, 5))
    return make_drawn(contest) if drawn else contest


def test_kept_apart_gives_the_draw_its_forbidden_pairs():
    contest = kept_apart()
    assert forbidden_tables(contest) == {(5, 2)}
    swap(contest=contest, one=seat(contest, "2A"), other=seat(contest, "3B"), by="o")
    assert forbidden_tables(contest) == {(5, 3)}
    assert forbidden_tables(make_contest()) == frozenset()


def test_kept_apart_says_when_a_team_has_no_table_left():
    contest = kept_apart()
    for place in ("1A", "3A"):
        judge_at(contest, place).conflicts.add(team(contest, 5))
    (problem,) = seating(contest).problems
    assert "Team 5 has a close judge at every table" in problem


def test_kept_apart_holds_judges_with_a_team_where_they_were_at_the_draw():
    contest = kept_apart(drawn=True)
    close = judge_at(contest, "2A")
    with pytest.raises(ValidationError, match="cannot change tables"):
        swap(contest=contest, one=seat(contest, "2A"), other=seat(contest, "3A"), by="o", reason="view")
    with pytest.raises(ValidationError, match="The draw was made for this seating"):
        seat_at_random(contest=contest, by="o")
    swap(contest=contest, one=seat(contest, "2A"), other=seat(contest, "2B"), by="o", reason="view")
    assert judge_at(contest, "2B") == close
    swap(contest=contest, one=seat(contest, "1A"), other=seat(contest, "3A"), by="o", reason="view")
    spare = unseated(contest)
    spare.conflicts.add(team(contest, 1))
    with pytest.raises(ValidationError, match="the boxes are drawn"):
        replace_judge(contest=contest, seat=seat(contest, "1A"), from_category=None, judge=spare, by="o", reason="x")


def test_kept_apart_names_a_conflict_that_the_draw_did_not_know():
    contest = kept_apart(drawn=True)
    assert seating(contest).problems == []
    judge_at(contest, "1A").conflicts.add(team(contest, 2))
    (problem,) = seating(contest).problems
    assert "which the draw did not know" in problem


# The page


def page(contest, name="seating"):
    return reverse(f"contest:{name}", args=[contest.slug])


def test_the_organiser_seats_exchanges_and_replaces_on_the_page():
    contest = make_contest(tables=2, seats=2)
    spare = unseated(contest)
    client = client_for(contest, "organiser")
    client.post(page(contest, "seat_at_random"))
    assert LogRow.objects.filter(what="judges seated at random").count() == 1
    taken = judge_at(contest, "1A")
    free = next(row.judge for row in seating(contest).waiting)
    ribs = contest.categories.get(key="ribs").pk
    change = {"seat": seat(contest, "1A").pk, "judge": free.pk, "from_category": ribs}
    assert client.post(page(contest, "change_seat"), change).status_code == 302
    assert (judge_at(contest, "1A"), judge_at(contest, "1A", "ribs")) == (taken, free)
    text = client.get(page(contest)).content.decode()
    assert "from Ribs:" in text
    client.post(page(contest, "change_seat"), {"seat": seat(contest, "2A").pk, "judge": "unnamed"})
    assert judge_at(contest, "2A") is None
    exchange = {"one": seat(contest, "1B").pk, "other": seat(contest, "2A").pk}
    moved = judge_at(contest, "1B")
    client.post(page(contest, "exchange_seats"), exchange)
    assert judge_at(contest, "2A") == moved
    assert spare.name in client.get(page(contest)).content.decode()


def test_a_refused_change_keeps_the_form():
    contest = make_drawn(tables=1, seats=2)
    client = client_for(contest, "organiser")
    for data in (
        {"seat": seat(contest, "1A").pk, "judge": "vacant", "reason": " "},
        {"seat": "", "judge": "unnamed"},
        {"seat": seat(contest, "1A").pk, "judge": judge_at(contest, "1B").pk, "reason": "x"},
    ):
        answer = client.post(page(contest, "change_seat"), data)
        assert answer.status_code == 422
    assert client.post(page(contest, "exchange_seats"), {"one": "1", "other": "nonsense"}).status_code == 422
    assert not Sitting.objects.filter(vacant=True).exists()


def test_once_cards_are_in_the_whole_seating_stays():
    contest = make_drawn(tables=1, seats=2)
    make_card(contest.boxes.first(), seat(contest, "1A"), {"appearance": 7, "taste": 7, "tenderness": 7})
    before = judge_at(contest, "1A")
    answer = client_for(contest, "organiser").post(page(contest, "seat_at_random"), follow=True)
    assert "Cards are handed in, so the seats stay" in answer.content.decode()
    assert judge_at(contest, "1A") == before
    assert not LogRow.objects.exists()


@pytest.mark.parametrize("part", ["head_judge", "tally"])
def test_head_judge_and_clerk_read_the_seating(part):
    contest = make_contest()
    client = client_for(contest, part)
    text = client.get(page(contest)).content.decode()
    assert judge_at(contest, "1A").name in text
    assert "<select" not in text
    for name in ("seat_at_random", "change_seat", "exchange_seats"):
        assert client.post(page(contest, name)).status_code == 403


def test_a_contest_without_tables_says_what_is_missing():
    contest = make_contest(tables=0, categories=())
    client = client_for(contest, "organiser")
    assert "No table yet" in client.get(page(contest)).content.decode()
    answer = client.post(page(contest, "seat_at_random"), follow=True)
    assert "There is nobody to seat" in answer.content.decode()
