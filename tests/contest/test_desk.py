"""The turn-in desk: taking boxes in, undoing, late and absent by decision, two devices at once."""

from datetime import UTC, datetime, timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from contest.models import Contest, LogRow, TurnIn
from contest.refusals import Refused
from contest.selectors.boxes import standing_boxes, statuses, to_judge
from contest.selectors.desk import desk_categories, last_recorded
from contest.selectors.pairing import boxes_of_teams
from contest.services.desk import AlreadyRecorded, record_turn_in, rest_in_time, undo_turn_in
from tests.factories import client_for, give_part, make_contest, make_drawn, mark_everything, take_in

pytestmark = pytest.mark.django_db


def url(contest, name="desk", *args):
    return reverse(f"contest:{name}", args=[contest.slug, *args])


def around_now(contest, minutes=0):
    """Move the first category's turn-in to `minutes` from now, the others half an hour apart after it."""
    for place, category in enumerate(contest.categories.all()):
        category.turn_in_at = timezone.now() + timedelta(minutes=minutes + 30 * place)
        category.save()
    return contest


def post_box(client, contest, team, status="accepted", key="chicken", **more):
    box = boxes_of_teams(contest.categories.get(key=key))[team]
    return client.post(
        url(contest, "desk_record"),
        {"category": key, "team": team, "box": box.number, "status": status, **more},
        follow=True,
    )


# the page


def test_the_team_number_brings_box_and_table_and_the_button_carries_the_label():
    contest = around_now(make_drawn(teams=6))
    page = client_for(contest, "desk").get(url(contest), {"team": "3"}).content.decode()
    box = boxes_of_teams(contest.categories.get(key="chicken"))[3]
    assert f"Take in {box.number}" in page
    assert f"table {box.table.number}" in page
    assert "Chicken" in page


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ("99", "There is no team 99 in this contest."),
        ("seven", "“seven” is not a team number. Type digits only."),
        ("203", "203 is a box number. Type the number of the team."),
        ("9" * 5000, "is not a team number."),
        ("5", "Team 5 has no box in Chicken, only in Ribs."),
    ],
)
def test_a_number_that_brings_no_box_says_why(typed, words):
    contest = around_now(make_contest(teams=5))
    contest.entries.get(number=5).entered.filter(category__key="chicken").delete()
    make_drawn(contest)
    answer = client_for(contest, "desk").get(url(contest), {"team": typed})
    assert answer.status_code == 422
    assert words in answer.content.decode()


def test_the_category_follows_the_clock_and_can_be_switched():
    contest = around_now(make_drawn(teams=4), minutes=-30)  # chicken has passed, ribs is open
    client = client_for(contest, "desk")
    assert "Turn-in desk: Ribs" in client.get(url(contest)).content.decode()
    chosen = client.get(url(contest), {"category": "chicken"}).content.decode()
    assert "Turn-in desk: Chicken" in chosen
    assert "<strong>Ribs is open now</strong>" in chosen


def test_just_after_a_window_its_category_stays():
    contest = around_now(make_drawn(teams=4), minutes=-7)
    page = client_for(contest, "desk").get(url(contest), {"team": "1"}).content.decode()
    assert "Turn-in desk: Chicken" in page
    assert "You decide." in page
    assert "In time: take in" in page


def test_counts_and_who_is_to_come():
    contest = around_now(make_drawn(teams=6))
    boxes = boxes_of_teams(contest.categories.get(key="chicken"))
    take_in(contest, boxes=[boxes[1], boxes[2]])
    take_in(contest, "late", boxes=[boxes[3]])
    take_in(contest, "absent", boxes=[boxes[4]])
    shown = desk_categories(contest)[0]
    assert (shown.taken_in, [row.entry.number for row in shown.to_come], shown.extras) == (
        3,
        [5, 6],
        "1 late · 1 absent",
    )
    page = client_for(contest, "desk").get(url(contest)).content.decode()
    assert "<strong>3 of 6 in</strong> · 2 to come · 1 late · 1 absent" in page


def test_the_desk_sees_no_marks():
    contest = around_now(make_drawn(teams=4))
    client = client_for(contest, "desk")
    names = ("desk", "desk_ledger", "desk_labels", "windows", "desk_rest")
    take_in(contest)
    without = [client.get(url(contest, name)).content.decode() for name in names]
    mark_everything(contest)
    with_marks = [client.get(url(contest, name)).content.decode() for name in names]
    for before, after in zip(without, with_marks, strict=True):
        assert plain(before) == plain(after)


def plain(page):
    """The page without what changes at each load: tokens and the clock."""
    import re

    page = re.sub(r'name="csrfmiddlewaretoken" value="[^"]+"', "", page)
    page = re.sub(r'class="now">[^<]*<', "", page)
    page = re.sub(r"it was [0-9:]+(?: on [^ ]+ [^ ]+)? when", "", page)
    return re.sub(r'data-now="\d+"', "", page)


# recording


def test_taking_in_records_the_time_and_says_where_the_box_goes():
    contest = around_now(make_drawn(teams=4, tables=2))
    before = timezone.now()
    answer = post_box(client_for(contest, "desk"), contest, 2)
    row = TurnIn.objects.get()
    assert (row.status, row.typed, row.standing) == ("accepted", False, True)
    assert before <= row.handed_in_at <= timezone.now()
    assert f"Box {row.box.number} taken in: Chicken, team 2, goes to table {row.box.table.number}." in (
        answer.content.decode()
    )
    log = LogRow.objects.get(what="box recorded")
    assert row.box.number in log.facts
    assert "team" not in log.facts


def test_after_the_window_the_person_decides():
    contest = around_now(make_drawn(teams=4), minutes=-10)
    client = client_for(contest, "desk")
    post_box(client, contest, 1, "accepted")
    post_box(client, contest, 2, "late")
    post_box(client, contest, 3, "absent")
    assert sorted(TurnIn.objects.values_list("status", flat=True)) == ["absent", "accepted", "late"]
    assert TurnIn.objects.get(status="absent").handed_in_at is None


def test_a_refusal_needs_its_reason_and_keeps_the_page():
    contest = around_now(make_drawn(teams=4))
    client = client_for(contest, "desk")
    answer = post_box(client, contest, 2, "refused")
    assert answer.status_code == 422
    assert "the team will ask" in answer.content.decode()
    assert not TurnIn.objects.exists()
    post_box(client, contest, 2, "refused", reason="no meat inside")
    assert TurnIn.objects.get().reason == "no meat inside"


def test_a_typed_time_is_the_contests_and_says_so():
    contest = make_drawn(teams=4, time_zone="Pacific/Honolulu")
    # 12:00 UTC on 13 June is 02:00 in Honolulu (UTC−10, no summer time: tz database).
    post_box(client_for(contest, "desk"), contest, 2, handed_in="01:58")
    row = TurnIn.objects.get()
    assert (row.handed_in_at, row.typed) == (datetime(2026, 6, 13, 11, 58, tzinfo=UTC), True)


def test_a_time_that_cannot_be_read_is_refused_and_nothing_lost():
    contest = around_now(make_drawn(teams=4))
    answer = post_box(client_for(contest, "desk"), contest, 2, handed_in="noonish")
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "for example 12:28" in page
    assert 'value="noonish"' in page
    assert not TurnIn.objects.exists()


def test_a_box_that_is_not_the_teams_is_not_taken_in():
    contest = around_now(make_drawn(teams=4))
    other = boxes_of_teams(contest.categories.get(key="chicken"))[1]
    client = client_for(contest, "desk")
    answer = client.post(
        url(contest, "desk_record"),
        {"category": "chicken", "team": 2, "box": other.number, "status": "accepted"},
        follow=True,
    )
    assert "no longer belong together" in answer.content.decode()
    assert not TurnIn.objects.exists()


def test_a_form_that_lost_its_box_records_nothing():
    contest = around_now(make_drawn(teams=4))
    answer = client_for(contest, "desk").post(
        url(contest, "desk_record"), {"category": "chicken", "status": "accepted"}, follow=True
    )
    assert "did not come through" in answer.content.decode()
    assert not TurnIn.objects.exists()


def test_a_second_press_changes_nothing_and_says_so():
    contest = around_now(make_drawn(teams=4))
    client = client_for(contest, "desk")
    post_box(client, contest, 2)
    answer = post_box(client, contest, 2, "late")
    assert "was taken in already" in answer.content.decode()
    assert TurnIn.objects.get().status == "accepted"


def test_undo_asks_for_a_reason_and_keeps_both_rows():
    contest = around_now(make_drawn(teams=4))
    client = client_for(contest, "desk")
    post_box(client, contest, 2)
    box = TurnIn.objects.get().box
    assert "What went wrong?" in client.get(url(contest, "desk_undo", box.number)).content.decode()
    assert client.post(url(contest, "desk_undo", box.number), {"reason": " "}).status_code == 422
    client.post(url(contest, "desk_undo", box.number), {"reason": "wrong button"})
    assert list(TurnIn.objects.values_list("status", "standing")) == [("accepted", False), ("undone", True)]
    assert statuses(contest) == {}
    post_box(client, contest, 2, "late")
    assert statuses(contest) == {box.pk: "late"}
    assert TurnIn.objects.count() == 3


def test_the_last_five_stand_newest_first():
    contest = around_now(make_drawn(teams=6, categories=("chicken",)))
    client = client_for(contest, "desk")
    for team in (4, 2, 6, 1, 3, 5):
        post_box(client, contest, team)
    assert [row.entry.number for row in last_recorded(contest)] == [5, 3, 1, 6, 2]


def test_ticked_teams_are_marked_absent_together():
    contest = around_now(make_drawn(teams=4), minutes=-10)
    boxes = boxes_of_teams(contest.categories.get(key="chicken"))
    client = client_for(contest, "desk")
    answer = client.post(
        url(contest, "desk_absent"),
        {"category": "chicken", "absent": [boxes[1].number, boxes[4].number]},
        follow=True,
    )
    assert "2 boxes marked absent." in answer.content.decode()
    assert statuses(contest) == {boxes[1].pk: "absent", boxes[4].pk: "absent"}
    assert not to_judge(contest) & {boxes[1].pk, boxes[4].pk}


def test_a_cancelled_categorys_boxes_are_not_taken_in():
    contest = make_drawn(teams=4)
    box = standing_boxes(contest).filter(category__key="ribs").first()
    contest.categories.filter(key="ribs").update(cancelled_at=timezone.now(), cancelled_why="rain")
    with pytest.raises(Refused, match="Ribs is cancelled"):
        record_turn_in(contest=contest, box=box, status="accepted", by="desk")
    assert "Ribs" not in client_for(contest, "desk").get(url(contest)).content.decode()


def test_nothing_unknown_is_recorded():
    contest = make_drawn(teams=4)
    with pytest.raises(Refused, match="nothing a box can be"):
        record_turn_in(contest=contest, box=standing_boxes(contest)[0], status="undone", by="desk")
    with pytest.raises(AlreadyRecorded, match="nothing to undo"):
        undo_turn_in(contest=contest, box=standing_boxes(contest)[0], reason="mistake", by="desk")


# the paper desk


def test_the_rest_came_in_on_time_only_once_the_marks_are_locked():
    contest = make_drawn(teams=4)
    boxes = list(standing_boxes(contest))
    take_in(contest, "late", boxes=boxes[:1])
    client = client_for(contest, "desk")
    client.post(url(contest, "desk_rest"))
    assert TurnIn.objects.count() == 1
    with pytest.raises(Refused, match="not locked yet"):
        rest_in_time(contest=contest, by="desk")
    Contest.objects.update(marks_locked_at=timezone.now())
    assert "Record 7 boxes as in on time" in client.get(url(contest, "desk_rest")).content.decode()
    client.post(url(contest, "desk_rest"))
    assert sorted(statuses(contest).values()) == ["accepted"] * 7 + ["late"]
    assert set(TurnIn.objects.filter(status="accepted").values_list("handed_in_at", flat=True)) == {None}
    answer = client.post(url(contest, "desk_rest"), follow=True)
    assert "Every box is recorded already" in answer.content.decode()


def test_from_paper_a_time_that_was_not_typed_stays_unknown():
    contest = make_drawn(teams=4)
    Contest.objects.update(marks_locked_at=timezone.now())
    client = client_for(contest, "desk")
    post_box(client, contest, 1, "late")
    post_box(client, contest, 2, "late", handed_in="12:07")
    assert list(TurnIn.objects.order_by("pk").values_list("handed_in_at", "typed")) == [
        (None, False),
        (datetime(2026, 6, 13, 12, 7, tzinfo=UTC), True),
    ]


# who may open it


def test_before_the_draw_the_desk_says_what_will_stand_here():
    contest = make_contest()
    page = client_for(contest, "desk").get(url(contest)).content.decode()
    assert "has not drawn the boxes yet" in page


def test_holding_stands_there_with_its_source():
    page = client_for(around_now(make_drawn(teams=2)), "desk").get(url(Contest.objects.get())).content.decode()
    assert "FDA Food Code 2022, §3-501.16" in page


def test_after_closing_the_desk_is_told_that_a_revision_is_needed():
    contest = around_now(make_drawn(teams=2))
    client = client_for(contest, "desk")
    assert "makes a revision" not in client.get(url(contest)).content.decode()
    Contest.objects.update(state="closed")
    assert "counts only once the organiser makes a revision" in client.get(url(contest)).content.decode()


def test_every_sign_in_of_the_desks_account_is_logged(client):
    contest = make_drawn(teams=2)
    for part in ("desk", "organiser"):
        account = give_part(contest, part)
        client.post(reverse("contest:sign_in"), {"username": account.username, "password": "a long password"})
        assert client.session["_auth_user_id"] == str(account.pk)
    row = LogRow.objects.get(what="desk signed in")
    assert (row.chain.contest, row.chain.name, row.person.address) == (contest, "day", "127.0.0.1")


def test_methods():
    contest = make_drawn(teams=2)
    client = client_for(contest, "desk")
    assert client.get(url(contest, "desk_record")).status_code == 405
    assert client.get(url(contest, "desk_absent")).status_code == 405
    assert client.post(url(contest, "desk")).status_code == 405
