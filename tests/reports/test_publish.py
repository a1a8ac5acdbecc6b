"""From the signed tally to the public: names in calling order, publishing, revisions."""

import json
from decimal import Decimal
from hashlib import sha256

import pytest
from django.urls import reverse

from contest.models import Category, Contest, LogRow
from contest.refusals import Refused
from judging.models import Mark, Reading, Tally
from judging.services.tally import close_tally, revise, sign_off, unlock_marks
from reports.models import Publication
from reports.results.places import calls, results_of
from reports.results.publishing import publish
from reports.rules.package.archive import unpack
from tests.factories import client_for, make_contest, make_drawn, mark_everything, take_in, unguarded

pytestmark = pytest.mark.django_db


@pytest.fixture
def contest():
    contest = make_drawn(make_contest(teams=6, tables=2, seats=6))
    take_in(contest)
    mark_everything(contest)
    return contest


@pytest.fixture
def closed(contest):
    close_tally(contest=contest, by="head judge")
    contest.refresh_from_db()
    return contest


@pytest.fixture
def signed(closed):
    sign_off(tally=closed.tallies.get(), by="head judge")
    return closed


def address(contest, name):
    return reverse(f"reports:{name}", args=[contest.slug])


def team_of(contest, number):
    return contest.boxes.get(number=number).pairing.entry.team.name


@pytest.mark.parametrize("stage", ["sealed", "closed"])
def test_no_name_is_shown_before_the_head_judge_signed(contest, stage):
    if stage == "closed":
        close_tally(contest=contest, by="head judge")
    for part in ("organiser", "announcer"):
        text = client_for(contest, part).get(address(contest, "names")).content.decode()
        for name in contest.entries.values_list("team__name", flat=True):
            assert name not in text


def test_a_revision_that_is_not_signed_takes_the_names_back(signed):
    unlock_marks(contest=signed, reason="a misread card", by="head judge")
    correct(signed, "203", taste=Decimal(1))
    revise(contest=signed, reason="a misread card", by="head judge")
    text = client_for(signed, "announcer").get(address(signed, "names")).content.decode()
    assert team_of(signed, "203") not in text


def correct(contest, number, **marks):
    reading = Reading.objects.get(card__box__number=number, card__seat__letter="A", standing=True)
    Reading.objects.filter(pk=reading.pk).update(standing=False)
    made = Reading.objects.create(card=reading.card, kind="correction", reason="misread", by="clerk")
    Mark.objects.bulk_create(
        Mark(reading=made, criterion=mark.criterion, value=marks.get(mark.criterion, mark.value))
        for mark in reading.marks.all()
    )


def test_names_are_called_from_the_last_place_up_to_the_first(signed):
    Category.objects.filter(contest=signed, key="ribs").update(places_called=2)
    called, champions = calls(signed, signed.tallies.get())
    assert [(call.title, [place.rank for place in call.places]) for call in called] == [
        ("Chicken", [3, 2, 1]),
        ("Ribs", [2, 1]),
    ]
    assert called[0].places[-1].name == team_of(signed, "203")
    assert [call.title for call in champions] == ["Reserve grand champion", "Grand champion"]
    text = client_for(signed, "announcer").get(address(signed, "names")).content.decode()
    assert text.index("third") < text.index("first")
    assert text.index("Reserve grand champion") < text.index("Grand champion</span>")


def test_a_team_that_did_not_enter_all_is_skipped_for_champion():
    contest = make_contest(teams=4, tables=1, seats=6)
    # Team 3 enters chicken alone: its one box cannot make it champion.
    contest.entries.get(number=3).entered.get(category__key="ribs").delete()
    contest = make_drawn(contest)
    take_in(contest)
    mark_everything(contest)
    box = contest.boxes.get(category__key="chicken", pairing__entry__number=3)
    with unguarded():
        Mark.objects.filter(reading__card__box=box).update(value=9)
        # The others' ribs are worth next to nothing, so that one box outweighs two.
        Mark.objects.filter(reading__card__box__category__key="ribs").update(value=1)
        Mark.objects.filter(reading__card__box__category__key="chicken").exclude(reading__card__box=box).update(value=1)
    tally = close_tally(contest=contest, by="head judge")
    results = results_of(tally)
    assert results.overall[0].number == "3"
    assert results.overall[0].word.startswith("not eligible")
    assert [place.number for _, place in results.champions] == [place.number for place in results.overall[1:3]]


def test_a_shared_place_is_said():
    contest = make_contest(teams=4, tables=1, seats=6)
    rules = contest.rule_set
    rules.document = rules.document.replace('[[tie_break]]\nby = "lot"\n', "")
    rules.save()
    assert 'by = "lot"' not in rules.document
    contest = make_drawn(contest)
    take_in(contest)
    mark_everything(contest)
    with unguarded():
        Mark.objects.filter(reading__card__box__category__key="chicken").update(value=5)
    tally = sign_off(tally=close_tally(contest=contest, by="head judge"), by="head judge")
    chicken = results_of(tally).categories[0]
    assert [(place.rank, place.shared) for place in chicken.places] == [(1, True)] * 4
    assert "shared first" in client_for(contest, "announcer").get(address(contest, "names")).content.decode()


def test_with_one_counting_category_there_is_no_champion_beside_its_first():
    contest = make_drawn(make_contest(teams=4, categories=("ribs",)))
    take_in(contest)
    mark_everything(contest)
    results = results_of(close_tally(contest=contest, by="head judge"))
    assert (results.overall, results.champions) == ([], [])


def test_publishing_is_refused_until_signed_and_logged_when_done(closed):
    with pytest.raises(Refused, match="has not signed off"):
        publish(contest=closed, by="organiser")
    assert not Publication.objects.exists()
    sign_off(tally=closed.tallies.get(), by="head judge")
    made = publish(contest=closed, by="organiser")
    closed.refresh_from_db()
    assert closed.state == Contest.State.PUBLISHED
    row = LogRow.objects.get(what="result published")
    assert row.chain.name == "day"
    facts = json.loads(row.facts)
    files = unpack(bytes(made.package))
    assert (facts.pop("revision"), facts.pop("inputs")) == (1, made.tally.inputs_hash)
    # Sums by hashlib, of every file but the log that holds the row and the list of all sums.
    assert facts == {
        "files": {
            name: sha256(data).hexdigest() for name, data in files.items() if name not in ("log-day.csv", "SHA256SUMS")
        }
    }
    with pytest.raises(Refused, match="published already"):
        publish(contest=closed, by="organiser")


def test_publishing_is_refused_while_sealed(contest):
    with pytest.raises(Refused, match="before the tally is closed"):
        publish(contest=contest, by="organiser")


def test_publishing_is_confirmed(signed):
    answer = client_for(signed, "organiser").post(address(signed, "publish"))
    assert answer.status_code == 422
    assert "Tick this first" in answer.content.decode()
    assert not Publication.objects.exists()
    assert client_for(signed, "organiser").post(address(signed, "publish"), {"sure": "on"}).status_code == 302
    assert Publication.objects.exists()


def test_publishing_again_by_hand_is_refused_with_the_reason(signed):
    publish(contest=signed, by="organiser")
    for sent in ({}, {"sure": "on"}):
        answer = client_for(signed, "organiser").post(address(signed, "publish"), sent)
        assert answer.status_code == 422
        assert "has already been published" in answer.content.decode()
    assert Publication.objects.count() == 1


def test_publishing_too_early_by_hand_is_refused_with_the_reason(closed):
    answer = client_for(closed, "organiser").post(address(closed, "publish"), {"sure": "on"})
    assert answer.status_code == 422
    assert "has not signed off" in answer.content.decode()


def test_a_revision_goes_out_beside_the_first_which_stays(signed, client):
    publish(contest=signed, by="organiser")
    unlock_marks(contest=signed, reason="seat A misread", by="head judge")
    correct(signed, "203", taste=Decimal(1))
    second = revise(contest=signed, reason="seat A misread", by="head judge")
    # Until the revision is signed and published, the first result stands for the public.
    assert ">184<" in client.get(address(signed, "results")).content.decode()
    with pytest.raises(Refused, match="has not signed off"):
        publish(contest=signed, by="organiser")
    sign_off(tally=second, by="head judge")
    publish(contest=signed, by="organiser")
    text = client.get(address(signed, "results")).content.decode()
    assert ">182<" in text
    assert "revision 2" in text
    assert "seat A misread" in text
    first = client.get(reverse("reports:revision", args=[signed.slug, 1])).content.decode()
    assert ">184<" in first
    assert "This is an earlier result" in first
    assert Tally.objects.count() == Publication.objects.count() == 2


def test_an_unpublished_revision_is_not_reachable(signed, client):
    publish(contest=signed, by="organiser")
    unlock_marks(contest=signed, reason="seat A misread", by="head judge")
    correct(signed, "203", taste=Decimal(1))
    revise(contest=signed, reason="seat A misread", by="head judge")
    assert client.get(reverse("reports:revision", args=[signed.slug, 2])).status_code == 404


def test_the_day_says_what_is_next(signed):
    organiser = client_for(signed, "organiser")
    day = reverse("contest:day", args=[signed.slug])
    assert "Call the names, then publish the result." in organiser.get(day).content.decode()
    publish(contest=signed, by="organiser")
    assert "Call the names" not in organiser.get(day).content.decode()
