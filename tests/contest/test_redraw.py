"""Drawing again before the first box: what it changes, what it keeps, and when it is refused."""

import json
from hashlib import sha256

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse
from django.utils import timezone

from contest.models import Box, Contest, Draw, Entered, Entry, LogRow, Pairing, Pass, TurnIn
from contest.refusals import Refused
from contest.rules.draw import recompute
from contest.rules.draw.commitment import short_form
from contest.selectors.boxes import standing_boxes, to_judge
from contest.selectors.pairing import boxes_of_teams
from contest.services.desk import record_turn_in, undo_turn_in
from contest.services.draw import DrawRefused, make_draw
from contest.services.people import withdraw
from contest.services.redraw import Changes, LateTeam, redraw
from judging.models import Arrival, Call
from judging.selectors.cards import sheet_lines
from judging.services.captain import tick_box
from tests.factories import client_for, make_card, make_contest

pytestmark = pytest.mark.django_db


@pytest.fixture
def contest():
    contest = make_contest(teams=8, tables=2)
    make_draw(contest=contest, by="organiser")
    contest.refresh_from_db()
    return contest


def again(contest, **changes):
    made = redraw(contest=contest, reason="one team came late", by="organiser", changes=Changes(**changes))
    contest.refresh_from_db()
    return made


def state_of(contest):
    """Everything that a refused redraw must leave alone."""
    return (
        Contest.objects.get(pk=contest.pk).state,
        list(Draw.objects.values_list("number", "standing", "fingerprint")),
        sorted(Box.objects.values_list("number", "table")),
        sorted(contest.entries.values_list("number", flat=True)),
        Entered.objects.filter(withdrawn_at=None).count(),
        sorted(contest.tables.values_list("number", flat=True)),
        LogRow.objects.count(),
    )


def test_every_number_is_new_and_the_secret_is_kept(contest):
    old = Draw.objects.get()
    before = set(Box.objects.values_list("number", flat=True))
    made = again(contest)
    old.refresh_from_db()
    after = set(standing_boxes(contest).values_list("number", flat=True))
    assert (len(before), len(after), before & after) == (16, 16, set())
    assert (old.standing, old.superseded_by) == (False, made)
    assert (made.number, made.standing, made.reason) == (2, True, "one team came late")
    assert (made.secret_text, made.commitment) == (old.secret_text, old.commitment)
    assert made.fingerprint != old.fingerprint
    assert contest.state == "sealed"
    assert Pass.objects.filter(opens="desk", revoked_at=None).count() == 1


def test_the_public_lines_name_number_and_reason_and_give_the_seed(contest):
    """The sums are recomputed with the standard library's SHA-256 (FIPS 180-4), as `sha256sum` would."""
    made = again(contest)
    assert made.public_text == f"commitment\t{made.commitment}\ndraw\t2\nreason\tone team came late\n"
    assert made.seed == sha256((made.secret_text + made.public_text).encode()).hexdigest()
    assert recompute(made.draw_text)
    used = next(line for line in made.draw_text.split("\n") if line.startswith("used"))
    assert set(used.split("\t")[1].split(" ")) == set(Draw.objects.get(number=1).boxes.values_list("number", flat=True))


def test_three_draws_in_a_row_never_use_a_number_twice(contest):
    again(contest)
    again(contest)
    assert Box.objects.count() == 48
    assert len(set(Box.objects.values_list("number", flat=True))) == 48
    assert list(Draw.objects.values_list("number", "standing")) == [(1, False), (2, False), (3, True)]


def test_the_log_names_the_new_draw_and_never_the_pairing_or_the_secret(contest):
    made = again(contest)
    row = LogRow.objects.filter(what="boxes drawn").last()
    facts = json.loads(row.facts)
    assert (facts["draw"], facts["reason"], facts["fingerprint"]) == (2, "one team came late", made.fingerprint)
    text = " ".join(LogRow.objects.values_list("facts", flat=True))
    assert made.secret_text.strip() not in text
    assert made.seed not in text


def test_a_late_team_a_withdrawn_one_and_another_table_in_one_step(contest):
    ribs = contest.categories.get(key="ribs")
    made = again(
        contest,
        withdrawn=[contest.entries.get(number=3)],
        late=LateTeam("Team Aspen", number=21, categories=[ribs]),
        lost_tables=[contest.tables.get(number=1)],
        more_tables=2,
    )
    assert list(boxes_of_teams(contest.categories.get(key="chicken"))) == [1, 2, 4, 5, 6, 7, 8]
    assert list(boxes_of_teams(ribs)) == [1, 2, 4, 5, 6, 7, 8, 21]
    assert sorted(contest.tables.values_list("number", flat=True)) == [2, 3, 4]
    assert [table.seats.count() for table in contest.tables.all()] == [6, 6, 6]
    assert set(made.boxes.values_list("table__number", flat=True)) == {2, 3, 4}
    assert set(Draw.objects.get(number=1).boxes.values_list("table__number", flat=True)) == {None, 2}
    assert Entered.objects.get(entry__number=3, category=ribs).withdrawn_why == "one team came late"
    said = list(LogRow.objects.order_by("pk").values_list("what", flat=True))
    assert said == [
        "boxes drawn", "team withdrawn", "team withdrawn", "late team entered", "tables changed", "boxes drawn",
    ]  # fmt: skip


def test_the_rules_stay_as_the_first_draw_fixed_them(contest):
    contest.rule_set.document = contest.rule_set.document.replace("Taste double", "Other")
    contest.rule_set.save()
    frozen = set(contest.categories.values_list("frozen_rules", flat=True))
    again(contest)
    assert set(contest.categories.values_list("frozen_rules", flat=True)) == frozen
    facts = [json.loads(row.facts) for row in LogRow.objects.filter(what="boxes drawn")]
    assert facts[0]["rules"] == facts[1]["rules"]


def box_in(contest):
    record_turn_in(contest=contest, box=standing_boxes(contest).first(), status="accepted", by="desk")


def card_in(contest):
    box = standing_boxes(contest).first()
    make_card(box, box.table.seats.first(), {"appearance": 7, "taste": 7, "tenderness": 7})


def box_at_table(contest):
    box = standing_boxes(contest).first()
    tick_box(contest=contest, table=box.table, box=box, here=True, by="captain")


def call_waits(contest):
    table, category = contest.tables.first(), contest.categories.first()
    Call.objects.create(contest=contest, table=table, category=category, about="question", by="captain")


@pytest.mark.parametrize(
    ("prepare", "words"),
    [
        (box_in, "Chicken: 1 box is recorded at the turn-in desk, so the draw stays."),
        (card_in, "The tables are at work: one card handed in."),
        (box_at_table, "The tables are at work: one box ticked in at a table."),
        (call_waits, "The tables are at work: one call waiting for the head judge."),
        (lambda contest: Contest.objects.update(marks_locked_at=timezone.now()), "The marks are locked"),
        (lambda contest: Contest.objects.update(state="closed"), "The tally is closed"),
    ],
)
def test_once_anything_hangs_on_the_numbers_it_is_refused_and_nothing_changes(contest, prepare, words):
    prepare(contest)
    before = state_of(contest)
    with pytest.raises(DrawRefused) as refusal:
        again(contest, more_tables=1)
    assert words in str(refusal.value)
    assert state_of(contest) == before


@pytest.mark.parametrize("status", ["late", "absent", "refused"])
def test_a_box_that_was_recorded_in_any_way_refuses_too(contest, status):
    record_turn_in(contest=contest, box=standing_boxes(contest).last(), status=status, by="desk", reason="why")
    with pytest.raises(DrawRefused, match="Ribs: 1 box is recorded"):
        again(contest)


def test_a_record_that_was_undone_does_not_refuse(contest):
    box = standing_boxes(contest).first()
    record_turn_in(contest=contest, box=box, status="accepted", by="desk")
    undo_turn_in(contest=contest, box=box, reason="pressed by mistake", by="desk")
    assert again(contest).number == 2


def test_before_the_first_draw_there_is_nothing_to_draw_again():
    with pytest.raises(DrawRefused, match="not drawn yet"):
        again(make_contest())


@pytest.mark.parametrize("reason", ["", "  ", "x" * 301])
def test_a_reason_is_needed_and_stays_short(contest, reason):
    before = state_of(contest)
    with pytest.raises(DrawRefused, match="reason"):
        redraw(contest=contest, reason=reason, by="organiser")
    assert state_of(contest) == before


@pytest.mark.parametrize(
    ("changes", "error", "words"),
    [
        (lambda contest: {"late": LateTeam("Team Aspen", 4, contest.categories.all())}, ValidationError, "number 4"),
        (
            lambda contest: {"withdrawn": contest.entries.all()},
            DrawRefused,
            "Chicken: no team has entered. Enter teams, or cancel the category.",
        ),
        (
            lambda contest: {"lost_tables": list(contest.tables.all())},
            DrawRefused,
            "There is no table yet.",
        ),
        (lambda contest: {"more_tables": 98}, ValidationError, "99"),
    ],
)
def test_what_cannot_be_done_changes_nothing_at_all(contest, changes, error, words):
    before = state_of(contest)
    with pytest.raises(error) as refusal:
        again(contest, **changes(contest))
    assert words in str(refusal.value)
    assert state_of(contest) == before


def test_too_few_places_are_refused_with_counts(contest):
    Contest.objects.update(most_boxes=4)
    contest.refresh_from_db()
    with pytest.raises(DrawRefused, match="Chicken: 8 boxes for 4 places at 1 table of 4"):
        again(contest, lost_tables=[contest.tables.get(number=2)])


def test_an_old_number_opens_nothing_any_more(contest):
    old = standing_boxes(contest).first()
    again(contest)
    with pytest.raises(Refused, match="belongs to an earlier draw"):
        record_turn_in(contest=contest, box=old, status="accepted", by="desk")
    assert not TurnIn.objects.exists()
    assert old.pk not in to_judge(contest)
    desk = client_for(contest, "desk")
    pages = [desk.get(reverse(f"contest:{name}", args=[contest.slug])) for name in ("desk_ledger", "desk_labels")]
    for page in pages:
        assert f">{old.number}<" not in page.content.decode()
    assert not Arrival.objects.exists()


def test_a_team_that_went_home_without_a_new_draw_leaves_a_gap_that_closes(contest):
    """Its box is recorded absent; captains and clerks then see the flight without it, in the drawn order."""
    entry = contest.entries.get(number=5)
    withdraw(entry=entry, category=None, reason="cooker broke", by="organiser")
    gone = Pairing.objects.get(entry=entry, box__category__key="ribs").box
    record_turn_in(contest=contest, box=gone, status="absent", by="desk")
    flight = [box for box in standing_boxes(contest).filter(category__key="ribs") if box.table_id == gone.table_id]
    left = [box.number for box in flight if box != gone]
    captain = client_for(contest, "captain", table=gone.table.number)
    url = reverse("judging:captain", args=[contest.slug, gone.table.number])
    page = captain.get(url, {"category": "ribs"}).content.decode()
    places = [page.index(f">{number}<") for number in left]
    assert places == sorted(places)
    seat = gone.table.seats.first()
    lines = sheet_lines(contest, gone.category, seat)
    assert [line.box.number for line in lines if not line.why_not] == left


# The page


def page_url(contest, name="draw_again"):
    return reverse(f"contest:{name}", args=[contest.slug])


def everything_as_it_is(contest):
    return {
        "reason": "one team came late",
        "tables": [table.pk for table in contest.tables.all()],
        "late_categories": [category.pk for category in contest.categories.all()],
    }


def test_one_form_does_all_of_it(contest):
    client = client_for(contest, "organiser")
    page = client.get(page_url(contest)).content.decode()
    assert "no number of draw 1 is used again" in page
    first, second = contest.tables.all()
    answer = client.post(
        page_url(contest),
        {
            **everything_as_it_is(contest),
            "late_name": "Team Aspen",
            "withdrawn": [contest.entries.get(number=2).pk],
            "tables": [first.pk],
            "more_tables": "1",
        },
        follow=True,
    )
    text = answer.content.decode()
    assert "Draw 2 is made and sealed" in text
    assert "Drawn again: one team came late" in text
    assert contest.entries.get(team__name="Team Aspen").number == 9
    assert sorted(contest.tables.values_list("number", flat=True)) == [1, 3]
    assert not contest.tables.filter(pk=second.pk).exists()
    for draw in Draw.objects.all():
        assert draw.fingerprint in text
        assert draw.secret_text.strip() not in text
        assert draw.seed not in text
    for entry in Entry.objects.all():
        assert entry.team.name not in text


def test_what_is_refused_keeps_what_was_typed(contest):
    client = client_for(contest, "organiser")
    typed = {**everything_as_it_is(contest), "late_name": "Team Aspen", "late_number": "4"}
    answer = client.post(page_url(contest), typed)
    text = answer.content.decode()
    assert answer.status_code == 422
    assert "has number 4. 9 is free." in text
    assert 'value="Team Aspen"' in text
    assert 'value="one team came late"' in text
    assert Draw.objects.count() == 1
    missing = client.post(page_url(contest), {**typed, "reason": ""})
    assert missing.status_code == 422
    assert "Say why: the reason stands on the result." in missing.content.decode()


def test_once_a_box_is_in_the_page_says_why_not_and_offers_nothing(contest):
    box_in(contest)
    client = client_for(contest, "organiser")
    page = client.get(page_url(contest)).content.decode()
    assert "Chicken: 1 box is recorded at the turn-in desk" in page
    assert "Draw all boxes again" not in page
    assert "Draw again" not in client.get(page_url(contest, "draw")).content.decode()
    assert client.post(page_url(contest), everything_as_it_is(contest)).status_code == 422
    assert Draw.objects.count() == 1


def test_ledger_and_labels_say_which_draw_they_belong_to(contest):
    desk = client_for(contest, "desk")
    assert "Labels of draw 1" in desk.get(page_url(contest, "desk_labels")).content.decode()
    again(contest)
    labels = desk.get(page_url(contest, "desk_labels")).content.decode()
    ledger = desk.get(page_url(contest, "desk_ledger")).content.decode()
    assert "Labels of draw 2" in labels
    assert "Labels of earlier draws are void" in labels
    assert "ledger of the turn-in desk, draw 2" in ledger
    assert short_form(Draw.objects.get(number=2).fingerprint) in ledger
    assert short_form(Draw.objects.get(number=1).fingerprint) not in ledger
