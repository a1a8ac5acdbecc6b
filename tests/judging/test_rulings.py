"""The head judge's rulings: what the rules give, on box numbers alone, and what they do to the cards."""

import json

import pytest

from contest import day
from contest.models import LogRow
from contest.refusals import Refused
from judging.models import Call, Reading, Ruling
from judging.selectors.flights import flights
from judging.services.captain import call_head_judge
from judging.services.cards import hand_in_sheet
from judging.services.rulings import rule, rule_no_portion, withdraw_ruling
from tests.factories import client_for, make_contest, make_drawn, mark_everything
from tests.judging.pages import address, name_teams_unmistakably, names_a_team, permute_pairing, plain, sheet_address

pytestmark = pytest.mark.django_db


@pytest.fixture
def contest():
    return make_drawn(teams=3)


@pytest.fixture
def judge(contest):
    return client_for(contest, "head_judge")


def box_of(contest, number="201"):
    return contest.boxes.get(number=number)


def seat_of(contest, letter="A"):
    return contest.tables.get(number=1).seats.get(letter=letter)


def put(contest, kind, scope, number="201", **more):
    values = {"reason": "seen at the table", "by": "head judge"} | more
    return rule(contest=contest, kind=kind, scope=scope, box=box_of(contest, number), **values)


def missing_of(contest, letter="A", key="chicken"):
    sheets = [sheet for flight in flights(contest) for sheet in flight.missing_sheets]
    return next((sheet.missing for sheet in sheets if (sheet.seat.letter, sheet.category.key) == (letter, key)), ())


def test_a_disqualified_box_is_no_longer_missed(contest):
    put(contest, "disqualification", "box")
    assert missing_of(contest) == ("202", "203")
    facts = json.loads(LogRow.objects.get(what="ruling").facts)
    assert facts == {"box": "201", "category": "chicken", "kind": "disqualification", "scope": "box"}


def test_a_lost_card_is_no_longer_missed_and_only_while_no_marks_stand(contest):
    put(contest, "lost", "card", seat=seat_of(contest))
    assert missing_of(contest) == ("202", "203")
    assert missing_of(contest, "B") == ("201", "202", "203")
    mark_everything(make_drawn(teams=1))
    hand_in(contest, "B", {"201": "8 9 7"})
    with pytest.raises(Refused, match="a card that is there is not lost"):
        put(contest, "lost", "card", seat=seat_of(contest, "B"))


def hand_in(contest, letter, rows):
    return hand_in_sheet(
        contest=contest,
        category=contest.categories.get(key="chicken"),
        seat=seat_of(contest, letter),
        marks={
            number: dict(zip(("appearance", "taste", "tenderness"), text.split(), strict=True))
            for number, text in rows.items()
        },
        by="clerk",
    )


def test_a_dismissed_card_waits_for_a_new_mark_and_may_then_be_lost(contest):
    with pytest.raises(Refused, match="no card to dismiss"):
        put(contest, "dismissal", "card", seat=seat_of(contest))
    hand_in(contest, "A", {"201": "8 9 7"})
    ruling = put(contest, "dismissal", "card", seat=seat_of(contest))
    assert ruling.dismissed_reading == Reading.objects.get()
    assert missing_of(contest) == ("201", "202", "203")
    assert "201 by seat A" in closing_texts(contest)
    hand_in(contest, "A", {"201": "5 5 6"})
    assert missing_of(contest) == ("202", "203")
    put(contest, "dismissal", "card", seat=seat_of(contest))  # the new marks too
    assert missing_of(contest) == ("201", "202", "203")
    put(contest, "lost", "card", seat=seat_of(contest))  # the judge has gone home
    assert missing_of(contest) == ("202", "203")


def closing_texts(contest):
    return " ".join(todo.text for todo in day.in_the_way("closing", contest))


def test_a_penalty_needs_a_penalty_mark(contest):
    with pytest.raises(Refused, match="have no penalty mark"):
        put(contest, "penalty", "box")
    with_penalty = make_drawn(teams=3, rules="uneven-weights")
    put(with_penalty, "penalty", "criterion", criterion="appearance")
    put(with_penalty, "penalty", "card", seat=seat_of(with_penalty))
    put(with_penalty, "penalty", "box")
    with pytest.raises(Refused, match="Choose the criterion"):
        put(with_penalty, "penalty", "criterion", criterion="smoke")
    assert Ruling.objects.filter(contest=with_penalty).count() == 3


def test_rulings_need_a_reason_a_place_and_are_made_once(contest):
    with pytest.raises(Refused, match="Say why"):
        put(contest, "disqualification", "box", reason="  ")
    with pytest.raises(Refused, match="300"):
        put(contest, "disqualification", "box", reason="x" * 301)
    with pytest.raises(Refused, match="Choose the seat"):
        put(contest, "lost", "card")
    other = make_drawn(teams=2, tables=2)
    with pytest.raises(Refused, match="choose a seat of that table"):
        rule(
            contest=other, kind="lost", scope="card", box=box_of(other), reason="x", by="y",
            seat=other.tables.get(number=2).seats.first(),
        )  # fmt: skip
    with pytest.raises(Refused, match="no box of this contest"):
        rule(contest=contest, kind="disqualification", scope="box", box=box_of(other), reason="x", by="y")
    put(contest, "disqualification", "box")
    with pytest.raises(Refused, match="ruled already"):
        put(contest, "disqualification", "box")
    assert Ruling.objects.count() == 1


def test_too_few_portions_loses_the_cards_of_the_seats_ticked_all_or_none(contest):
    hand_in(contest, "C", {"201": "8 9 7"})
    seats = [seat_of(contest, letter) for letter in "BC"]
    with pytest.raises(Refused, match="Seat C has handed in marks"):
        rule_no_portion(contest=contest, box=box_of(contest), seats=seats, by="head judge")
    assert Ruling.objects.count() == 0
    seats = [seat_of(contest, letter) for letter in "BD"]
    rule_no_portion(contest=contest, box=box_of(contest), seats=seats, by="head judge")
    assert set(Ruling.objects.values_list("kind", "seat__letter", "reason")) == {
        ("lost", "B", "no portion for seats B and D"),
        ("lost", "D", "no portion for seats B and D"),
    }
    with pytest.raises(Refused, match="Tick the seats"):
        rule_no_portion(contest=contest, box=box_of(contest), seats=[], by="head judge")


def test_a_ruling_is_taken_back_with_a_reason_and_stays_in_sight(contest, judge):
    ruling = put(contest, "disqualification", "box")
    with pytest.raises(Refused, match="Say why"):
        withdraw_ruling(ruling=ruling, reason="", by="head judge")
    withdraw_ruling(ruling=ruling, reason="wrong box", by="head judge")
    assert missing_of(contest) == ("201", "202", "203")
    with pytest.raises(Refused, match="already"):
        withdraw_ruling(ruling=ruling, reason="wrong box", by="head judge")
    text = judge.get(address(contest, "rulings")).content.decode()
    assert "disqualified · taken back" in text
    assert "Taken back: wrong box" in text
    put(contest, "disqualification", "box")  # it may be ruled again


def test_rulings_are_refused_before_the_draw_and_after_closing(contest):
    type(contest).objects.filter(pk=contest.pk).update(state="closed", marks_locked_at="2026-06-13T16:00Z")
    with pytest.raises(Refused, match="The tally is closed"):
        put(contest, "disqualification", "box")
    type(contest).objects.filter(pk=contest.pk).update(marks_locked_at=None)
    put(contest, "disqualification", "box")  # unlocked for a revision


def test_the_form_offers_what_the_rules_give_and_says_what_they_do_not(contest, judge):
    text = judge.get(address(contest, "rulings"), {"box": "201"}).content.decode()
    assert "No penalty marks: the rules of chicken have none." in text
    assert 'value="penalty-box"' not in text
    other = make_drawn(teams=3, rules="uneven-weights")
    text = client_for(other, "head_judge").get(address(other, "rulings"), {"box": "201"}).content.decode()
    assert 'value="penalty-box"' in text
    assert '<option value="taste">Taste</option>' in text


@pytest.mark.parametrize(
    ("posted", "kind", "scope", "letters"),
    [
        ({"what": "out-box", "reason": "sauce pooled"}, "disqualification", "box", [None]),
        ({"what": "out-team", "reason": "meat brought cooked"}, "disqualification", "team", [None]),
        ({"what": "lost", "seats": ["A", "C"], "reason": "sheet blew away"}, "lost", "card", ["A", "C"]),
        ({"what": "portions", "seats": ["F"]}, "lost", "card", ["F"]),
    ],
)
def test_each_ruling_by_the_form(contest, judge, posted, kind, scope, letters):
    answer = judge.post(address(contest, "rulings"), {"do": "rule", "box": "201", **posted})
    assert answer.url == f"{address(contest, 'rulings')}?box=201"
    rows = Ruling.objects.order_by("seat__letter").values_list("kind", "scope", "box__number", "seat__letter")
    assert list(rows) == [(kind, scope, "201", letter) for letter in letters]


@pytest.mark.parametrize(
    ("posted", "said"),
    [
        ({"box": "999", "what": "out-box", "reason": "x"}, "There is no box 999 in this contest"),
        ({"box": "", "what": "out-box", "reason": "x"}, "Type the number of the box first."),
        ({"box": "201", "reason": "x"}, "This field is required."),
        ({"box": "201", "what": "out-box"}, "Say why"),
        ({"box": "201", "what": "lost", "reason": "x"}, "Tick the seats"),
        ({"box": "201", "what": "penalty-box", "reason": "x"}, "not one of the available choices"),
        ({"box": "201", "what": "dismissal", "seats": ["B"], "reason": "x"}, "there is no card to dismiss"),
    ],
)
def test_a_refused_ruling_is_said_and_nothing_is_lost(contest, judge, posted, said):
    answer = judge.post(address(contest, "rulings"), {"do": "rule", **posted})
    text = answer.content.decode()
    assert answer.status_code == 422
    assert said in text
    assert Ruling.objects.count() == 0
    if posted["box"] == "201" and "reason" in posted:
        assert 'value="x"' in text


def test_a_call_stands_on_top_until_answered_and_comes_by_itself(contest, judge):
    calls = address(contest, "calls")
    seen = judge.get(calls).context["seen"]
    assert judge.get(calls, {"seen": seen}).status_code == 204
    table, category = contest.tables.get(), contest.categories.get(key="chicken")
    call = call_head_judge(
        contest=contest, table=table, category=category, about="portions", box=box_of(contest), by="captain of table 1"
    )
    fresh = judge.get(calls, {"seen": seen})
    assert "Rule on 201" in fresh.content.decode()
    assert "Table 1 waits for the head judge about box 201" in closing_texts(contest)
    text = judge.get(address(contest, "rulings")).content.decode()
    assert text.index("Too few portions") < text.index("All rulings")
    judge.post(address(contest, "rulings"), {"do": "answer", "call": call.pk, "answer": "halve the thighs"})
    call = Call.objects.get()
    assert (call.answer, call.answered_at is not None) == ("halve the thighs", True)
    assert "waits for the head judge" not in closing_texts(contest)


def test_a_ruling_answers_the_calls_about_its_box(contest, judge):
    table, category = contest.tables.get(), contest.categories.get(key="chicken")
    for number in ("201", "202"):
        call_head_judge(
            contest=contest, table=table, category=category, about="portions", box=box_of(contest, number), by="captain"
        )
    judge.post(address(contest, "rulings"), {"do": "rule", "box": "201", "what": "portions", "seats": ["F"]})
    assert {call.box.number: call.answer for call in Call.objects.all()} == {"201": "seat F: card lost", "202": ""}
    assert Call.objects.get(answered_at__isnull=True).box.number == "202"


@pytest.mark.parametrize("posted", [{"do": "answer", "call": "x"}, {"do": "withdraw", "ruling": "99999"}])
def test_what_is_not_there_cannot_be_answered_or_taken_back(contest, judge, posted):
    assert judge.post(address(contest, "rulings"), posted).status_code == 404


def test_calls_and_rulings_of_another_contest_stay_out_of_reach(contest, judge):
    other = make_drawn(teams=3)
    ruling = put(other, "disqualification", "box")
    answer = judge.post(address(contest, "rulings"), {"do": "withdraw", "ruling": ruling.pk, "reason": "x"})
    assert answer.status_code == 404


def test_no_page_names_a_team_or_depends_on_the_pairing(contest, judge):
    name_teams_unmistakably(contest)
    put(contest, "disqualification", "team", "202")
    pages = [address(contest, "rulings"), f"{address(contest, 'rulings')}?box=202", address(contest, "calls")]
    before = [plain(judge.get(each)) for each in pages]
    permute_pairing(contest)
    assert before == [plain(judge.get(each)) for each in pages]
    assert [names_a_team(text) for text in before] == [[], [], []]


def test_the_day_counts_flights_and_names_what_is_missing(contest):
    def tables():
        return next(step for step in day.steps(contest) if step.key == "tables")

    assert tables().lines == ["0 of 2 flights done"]
    hand_in(contest, "A", {"201": "8 9 7", "202": "8 8 7", "203": "7 7 8"})
    step = tables()
    assert step.state == "now"
    assert [todo.text for todo in step.todos] == [
        "Table 1 has five score sheets missing for chicken (seats B, C, D, E and F)."
    ]
    assert step.todos[0].url == sheet_address(contest, seat="B")
    for letter in "BCDEF":
        hand_in(contest, letter, {"201": "8 9 7", "202": "8 8 7"} | ({"203": "7 7 8"} if letter < "F" else {}))
    assert [todo.text for todo in tables().todos] == ["Table 1 has one card missing for chicken (seat F)."]


def test_one_person_is_declared_before_the_first_card(contest):
    assert day.in_the_way("one_person", contest) == []
    hand_in(contest, "A", {"201": "8 9 7"})
    assert [todo.url for todo in day.in_the_way("one_person", contest)] == [address(contest, "marks")]


def test_before_the_draw_the_tables_say_nothing():
    contest = make_contest(teams=3)
    step = next(step for step in day.steps(contest) if step.key == "tables")
    assert (step.lines, step.todos) == ([], [])
    assert not [todo for todo in day.in_the_way("closing", contest) if "score sheet" in todo.text]
