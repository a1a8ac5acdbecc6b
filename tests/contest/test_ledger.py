"""The desk's papers: ledger, labels, the correction of swapped labels."""

import json
import re

import pytest
from django.urls import reverse
from django.utils import timezone

from contest.models import Contest, LabelCorrection, LogRow, TurnIn
from contest.refusals import Refused
from contest.selectors.boxes import standing_boxes, statuses
from contest.selectors.pairing import boxes_of_teams, entry_of_boxes
from contest.services.desk import correct_labels
from tests.factories import client_for, make_contest, make_drawn, take_in

pytestmark = pytest.mark.django_db


def url(contest, name="desk_ledger"):
    return reverse(f"contest:{name}", args=[contest.slug])


def test_the_ledger_lists_each_category_by_team_number():
    contest = make_drawn(teams=6, tables=2)
    page = client_for(contest, "desk").get(url(contest)).content.decode()
    rows = re.findall(
        r'<th scope="row" class="fig">(\d+)</th><td>[^<]+</td><td class="box-number">(\d+)</td><td class="fig">(\d+)',
        page,
    )
    expected = [
        (str(team), box.number, str(box.table.number))
        for category in contest.categories.all()
        for team, box in boxes_of_teams(category).items()
    ]
    assert rows == expected
    assert [team for team, _, _ in rows] == ["1", "2", "3", "4", "5", "6"] * 2
    assert "Open only at the turn-in desk" in page
    assert "ffff ffff ffff ffff ffff" in page  # the draw's fingerprint, on the cover


def test_every_opening_is_logged():
    contest = make_drawn()
    client = client_for(contest, "desk")
    client.get(url(contest))
    client.get(url(contest))
    rows = LogRow.objects.filter(what="ledger opened")
    assert rows.count() == 2
    assert rows[0].person.address == "127.0.0.1"
    assert rows[0].facts == "{}"


def test_before_the_draw_there_is_nothing_to_log():
    contest = make_contest()
    assert "the ledger stands here" in client_for(contest, "desk").get(url(contest)).content.decode()
    assert not LogRow.objects.exists()


def test_labels_stand_by_number_two_each_and_name_no_team():
    contest = make_drawn(teams=4)
    page = client_for(contest, "desk").get(url(contest, "desk_labels")).content.decode()
    numbers = re.findall(r"<strong>(\d{3})</strong>", page)
    assert numbers == sorted(numbers)
    assert len(numbers) == 16
    assert not any(entry.team.name in page for entry in contest.entries.all())


def swap(contest, one, other, reason="the lid of 201 had the other sign on it"):
    return client_for(contest, "desk").post(
        url(contest, "desk_labels"), {"one": one, "other": other, "reason": reason}, follow=True
    )


def test_swapped_labels_change_owners_and_what_was_recorded_goes_along():
    contest = make_drawn(teams=4, categories=("chicken",))
    one, other, third, _ = standing_boxes(contest)
    before = entry_of_boxes(contest)
    take_in(contest, "late", boxes=[one])
    answer = swap(contest, one.number, other.number)
    assert "each belongs to the other team" in answer.content.decode()
    after = entry_of_boxes(contest)
    assert (after[one.pk], after[other.pk], after[third.pk]) == (
        before[other.pk],
        before[one.pk],
        before[third.pk],
    )
    assert statuses(contest) == {other.pk: "late"}
    assert TurnIn.objects.filter(box=one).count() == 2  # nothing is overwritten
    log = json.loads(LogRow.objects.get(what="labels corrected").facts)
    assert (log["boxes"], log["category"]) == ([one.number, other.number], "chicken")


def test_a_correction_without_boxes_is_refused_in_words():
    answer = swap(make_contest(), "201", "202")
    assert answer.status_code == 200
    assert "no label to correct" in answer.content.decode()


def test_labels_swapped_back_are_as_before():
    contest = make_drawn(teams=4, categories=("chicken",))
    one, other, *_ = standing_boxes(contest)
    before = entry_of_boxes(contest)
    take_in(contest, boxes=[one])
    take_in(contest, "absent", boxes=[other])
    for _ in range(2):
        correct_labels(contest=contest, one=one, other=other, reason="looked again", by="desk")
    assert entry_of_boxes(contest) == before
    assert statuses(contest) == {one.pk: "accepted", other.pk: "absent"}
    assert LabelCorrection.objects.count() == 2


@pytest.mark.parametrize(
    ("one", "other", "reason", "words"),
    [
        ("201", "999", "seen", "There is no box 999 in this contest."),
        ("201", "201", "seen", "Both numbers are 201."),
        ("201", "205", "seen", "201 is Chicken and 205 is Ribs"),
        ("201", "2o2", "seen", "A box number has three digits."),
        ("201", "202", "", "Give the reason in a few words."),
    ],
)
def test_a_correction_that_cannot_be_is_refused_and_kept(one, other, reason, words):
    contest = make_drawn(teams=4)
    answer = swap(contest, one, other, reason)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert words in page
    assert f'value="{other}"' in page
    assert not LabelCorrection.objects.exists()


def test_after_closing_the_desk_learns_that_a_revision_is_needed():
    contest = make_drawn(teams=4)
    Contest.objects.update(state="closed")
    assert "ask the organiser to make a revision" in swap(contest, "201", "202").content.decode()
    assert LabelCorrection.objects.count() == 1


def test_labels_of_a_cancelled_category_are_left_alone():
    contest = make_drawn(teams=4)
    one, other, *_ = standing_boxes(contest)
    contest.categories.update(cancelled_at=timezone.now(), cancelled_why="rain")
    with pytest.raises(Refused, match="is cancelled"):
        correct_labels(contest=contest, one=one, other=other, reason="seen", by="desk")
    assert not LabelCorrection.objects.exists()
