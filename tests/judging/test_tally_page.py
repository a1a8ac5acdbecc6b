"""The tally page: one thing to do at a time, blind while sealed, exact when read."""

import pytest
from django.urls import reverse

from contest.day import in_the_way
from contest.models import Pairing, TurnIn
from judging.models import Mark, Reading, Ruling, Tally
from judging.templatetags.tally import place_word, points, tie_words
from tests.factories import client_for, give_part, make_contest, make_drawn, mark_everything, take_in, unguarded

pytestmark = pytest.mark.django_db
PARTS = ("organiser", "tally", "head_judge")


@pytest.fixture
def contest():
    contest = make_drawn(make_contest(teams=6, tables=2, seats=6))
    take_in(contest)
    mark_everything(contest)
    return contest


def address(contest, name="tally", **more):
    return reverse(f"judging:{name}", kwargs={"slug": contest.slug, **more})


def page(client, contest):
    answer = client.get(address(contest))
    assert answer.status_code == 200
    return answer.content.decode()


def close(client, contest):
    return client.post(address(contest, "close"), {"sure": "on"})


@pytest.mark.parametrize(
    ("total", "shown"),
    [
        ("184", "184"),
        ("33.7028", "33.7028"),
        ("33.70285", "33.7028…"),
        ("100/3", "33.3333…"),
        ("200/3", "66.6666…"),
        ("0.99999", "0.9999…"),
        ("5.00001", "5.0000…"),
        ("-1/3", "−0.3333…"),
        ("", ""),
        (None, ""),
    ],
)
def test_a_figure_never_looks_higher_than_it_is(total, shown):
    assert points(total) == shown


def test_a_tie_break_in_words():
    assert tie_words("counted_criterion:taste") == "tie broken by taste of the counted cards"
    assert tie_words("lot") == "tie broken by lot"
    assert tie_words(None) == ""
    assert place_word(3) == "third"


def test_nothing_stands_there_before_the_draw():
    contest = make_contest()
    assert "once the draw is made" in page(client_for(contest, "organiser"), contest)


def test_sealed_standings_by_box_number_and_no_team_anywhere(contest):
    text = page(client_for(contest, "organiser"), contest)
    assert "203" in text
    assert "184" in text
    for name in contest.entries.values_list("team__name", flat=True):
        assert name not in text


def test_marks_that_look_like_slips_are_listed_with_their_sheet(contest):
    card = Mark.objects.get(
        criterion="taste", reading__card__box__number="204", reading__card__seat__letter="B", reading__standing=True
    )
    card.value = 1
    with unguarded():
        card.save()
    client = client_for(contest, "tally")
    assert address(contest, "doubts") in page(client, contest)
    text = client.get(address(contest, "doubts")).content.decode()
    assert "204" in text
    sheet = {"category": "chicken", "table": 2, "seat": "B"}
    assert address(contest, "sheet", **sheet) in text
    part = client.get(address(contest, "doubts"), headers={"HX-Request": "true"}).content.decode()
    assert "<html" not in part
    assert address(contest, "sheet", **sheet) in part


@pytest.mark.parametrize("part", PARTS)
def test_nothing_changes_when_the_pairing_is_permuted(contest, part):
    box = contest.boxes.get(number="201")
    Ruling.objects.create(contest=contest, kind="disqualification", scope="team", box=box, reason="found", by="head")
    client = client_for(contest, part)
    addresses = [
        address(contest),
        address(contest, "doubts"),
        address(contest, "working", number="201"),
        address(contest, "working", number="207"),
    ]

    def shown():
        # The token of the form is new with every answer.
        import re

        return [
            re.sub(r'(name="csrfmiddlewaretoken" value=")[^"]+', r"\1", client.get(each).content.decode())
            for each in addresses
        ]

    before = shown()
    for category in contest.categories.all():
        pairings = list(Pairing.objects.filter(box__category=category).order_by("box__number"))
        entries = [pairing.entry for pairing in pairings]
        for pairing, entry in zip(pairings, [*entries[3:], *entries[:3]], strict=True):
            pairing.entry = entry
            pairing.save()
    assert shown() == before
    assert "disqualified" in before[0]


def test_a_box_that_is_not_judged_is_shown_without_a_reason(contest):
    box = contest.boxes.get(number="201")
    with unguarded():
        box.turn_ins.update(status="late", reason="twelve minutes late at the desk")
    text = page(client_for(contest, "tally"), contest)
    assert "not judged" in text
    assert "late" not in text.replace("related", "").replace("translate", "").split("<main")[1]
    assert (
        "The box is not judged."
        in client_for(contest, "tally").get(address(contest, "working", number="201")).content.decode()
    )


def test_the_working_is_a_page_and_the_inside_of_a_fold_out(contest):
    client = client_for(contest, "head_judge")
    whole = client.get(address(contest, "working", number="203")).content.decode()
    part = client.get(address(contest, "working", number="203"), headers={"HX-Request": "true"}).content.decode()
    assert "<html" in whole
    assert "<html" not in part
    assert "Total 184." in whole
    assert "Total 184." in part
    assert client.get(address(contest, "working", number="999")).status_code == 404


def test_what_is_in_the_way_is_listed_and_closing_refused_with_it(contest):
    with unguarded():
        Reading.objects.filter(card__box__number="201", card__seat__letter="B").delete()
        contest.boxes.get(number="204").turn_ins.all().delete()
    sheet, record = in_the_way("closing", contest)[::-1]
    assert sheet.text == "Table 1 has one card missing for chicken (seat B)."
    assert record.part == "desk"
    client = client_for(contest, "organiser")
    text = page(client, contest)
    assert sheet.text in text
    assert f'href="{sheet.url}"' in text
    assert record.text in text
    assert "Close the tally" not in text
    answer = close(client, contest)
    assert answer.status_code == 422
    assert "cannot be closed yet" in answer.content.decode()
    assert not Tally.objects.exists()


def test_when_only_the_desk_is_due_the_marks_are_locked_first(contest):
    with unguarded():
        TurnIn.objects.all().delete()
    assert {todo.part for todo in in_the_way("closing", contest)} == {"desk"}
    to_record = f'href="{reverse("contest:boxes_in", args=[contest.slug])}">How to record them'
    client = client_for(contest, "organiser")
    assert "Lock the marks" in page(client, contest)
    assert client.post(address(contest, "lock")).status_code == 302
    text = page(client, contest)
    assert "The marks are locked." in text
    assert to_record in text
    assert to_record not in page(client_for(contest, "tally"), contest)
    assert client.post(address(contest, "unlock"), {"unlock-reason": ""}).status_code == 422
    assert client.post(address(contest, "unlock"), {"unlock-reason": "a sheet turned up"}).status_code == 302
    contest.refresh_from_db()
    assert contest.marks_locked_at is None


def test_closing_is_confirmed(contest):
    client = client_for(contest, "organiser")
    answer = client.post(address(contest, "close"))
    assert answer.status_code == 422
    assert "Tick this first" in answer.content.decode()
    assert not Tally.objects.exists()


def test_closed_then_signed_by_the_head_judge_then_names(contest):
    organiser, head = client_for(contest, "organiser"), client_for(contest, "head_judge")
    assert close(organiser, contest).status_code == 302
    assert "waits for the head judge" in page(organiser, contest)
    assert "Sign off the tally" not in page(organiser, contest)
    assert reverse("reports:names", args=[contest.slug]) not in page(head, contest)
    assert "Sign off the tally" in page(head, contest)
    assert head.post(address(contest, "sign", revision=1)).status_code == 302
    assert "See the names" in page(organiser, contest)
    assert "See the names" not in page(head, contest)
    assert Tally.objects.get().signed_by
    # The tally's own page goes on by box number.
    for name in contest.entries.values_list("team__name", flat=True):
        assert name not in page(head, contest)


def test_signing_an_older_revision_is_refused(contest):
    head = client_for(contest, "head_judge")
    close(head, contest)
    assert head.post(address(contest, "sign", revision=2)).status_code == 404
    head.post(address(contest, "sign", revision=1))
    answer = head.post(address(contest, "sign", revision=1))
    assert answer.status_code == 422
    assert "signed off already" in answer.content.decode()


def test_in_a_small_contest_one_button_closes_and_signs():
    contest = make_drawn(make_contest(teams=4, seats=3, rules="plain-points", small=True))
    take_in(contest)
    mark_everything(contest)
    client = client_for(contest, "organiser")
    from contest.models import ContestRole

    row = ContestRole.objects.get(contest=contest)
    row.head_judge = row.tally = row.announcer = True
    row.save()
    text = page(client, contest)
    assert text.count('class="go"') == 1
    assert "Close and sign" in text
    close(client, contest)
    assert Tally.objects.get().signed_at is not None
    text = page(client, contest)
    assert "See the names" in text
    assert text.count("button go") == 1


def test_revising_without_a_change_is_refused_and_the_reason_stays_typed(contest):
    head = client_for(contest, "head_judge")
    close(head, contest)
    answer = head.post(address(contest, "revise"), {"revise-reason": "the lowest card looks odd"})
    assert answer.status_code == 422
    text = answer.content.decode()
    assert "Nothing has changed" in text
    assert "the lowest card looks odd" in text
    assert Tally.objects.count() == 1


def test_a_box_with_too_few_cards_waits():
    contest = make_drawn(make_contest(teams=3, seats=6))
    take_in(contest)
    assert page(client_for(contest, "tally"), contest).count('<span class="state waiting">0 of 6 cards</span>') == 6


def test_the_page_takes_a_bounded_number_of_queries(django_assert_max_num_queries):
    contest = make_drawn(make_contest(teams=12, tables=2, seats=3, rules="plain-points"))
    take_in(contest)
    mark_everything(contest)
    client = client_for(contest, "organiser")
    give_part(contest, "announcer")
    page(client, contest)
    with django_assert_max_num_queries(60):
        page(client, contest)
