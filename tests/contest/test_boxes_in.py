"""The organiser's screen of the turn-in, and what the desk adds to the day."""

import re
from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone
from django.utils.html import strip_tags

from contest.day import in_the_way, steps
from contest.models import Contest, Pass
from contest.navigation import links_for
from contest.services.passes import find_pass, word_of
from tests.factories import client_for, give_part, make_account, make_contest, make_drawn, take_in, unguarded

pytestmark = pytest.mark.django_db


def url(contest, name="boxes_in"):
    return reverse(f"contest:{name}", args=[contest.slug])


def test_it_counts_and_never_tells_which():
    contest = make_drawn(teams=6, small=True)
    take_in(contest, "late", boxes=list(contest.boxes.all())[:3])
    page = client_for(contest, "organiser").get(url(contest)).content.decode()
    assert "<strong>3</strong> of 12 boxes recorded" in page
    assert "late</span>" not in page
    assert not set(re.findall(r"\b\d{3}\b", strip_tags(page))) & {box.number for box in contest.boxes.all()}
    assert not any(entry.team.name in page for entry in contest.entries.all())


def test_the_count_does_not_depend_on_which_boxes_came():
    contest = make_drawn(teams=6, categories=("chicken",))
    client = client_for(contest, "organiser")
    pages = []
    for box in list(contest.boxes.all())[:3]:
        take_in(contest, boxes=[box])
        pages.append(client.get(url(contest)).content.decode())
        with unguarded():
            box.turn_ins.all().delete()
    without_tokens = {page.split("<main", 1)[1].split("</main>")[0] for page in pages}
    assert len(without_tokens) == 1


def test_the_desks_pass_stands_there_as_word_and_code():
    contest = make_drawn()
    page = client_for(contest, "organiser").get(url(contest)).content.decode()
    word = word_of(Pass.objects.get(opens="desk"))
    assert word in page
    assert find_pass(word).opens == "desk"
    assert '<svg viewBox="' in page
    assert "http://testserver/in/" in page
    assert "style=" not in page


def test_after_the_marks_are_locked_it_says_what_the_desk_does_next():
    contest = make_drawn()
    client = client_for(contest, "organiser")
    assert "The marks are locked." not in client.get(url(contest)).content.decode()
    Contest.objects.update(marks_locked_at=timezone.now())
    assert "The marks are locked." in client.get(url(contest)).content.decode()
    take_in(contest)
    page = client.get(url(contest)).content.decode()
    assert "The marks are locked." not in page
    assert "12</strong> of 12" in page


def test_a_one_person_contest_goes_straight_to_the_desk():
    contest = make_drawn(make_contest(small=True, one_person=True))
    account = give_part(contest, "organiser")
    give_part(contest, "desk", account)
    client = client_for(contest, "visitor")
    client.force_login(account, backend="django.contrib.auth.backends.ModelBackend")
    page = client.get(url(contest)).content.decode()
    assert f'href="{url(contest, "desk")}"' in page
    assert client.get(url(contest, "desk")).status_code == 200


def test_before_the_draw_it_says_so():
    contest = make_contest(small=True)
    assert "not drawn yet" in client_for(contest, "organiser").get(url(contest)).content.decode()


# the day


def test_the_day_counts_boxes_and_names_the_next_window():
    contest = make_drawn(teams=4)
    for place, category in enumerate(contest.categories.all()):
        category.turn_in_at = timezone.now() + timedelta(minutes=60 + 30 * place)
        category.save()
    take_in(contest, boxes=list(contest.boxes.all())[:3])
    step = steps(contest)[1]
    assert step.state == "now"
    assert step.lines[0] == "3 of 8 boxes recorded"
    assert step.lines[1].startswith("Chicken next, ")
    assert step.todos == []


def test_a_window_that_passed_with_boxes_missing_is_something_to_do():
    contest = make_drawn(teams=4)
    contest.categories.filter(key="chicken").update(turn_in_at=timezone.now() - timedelta(minutes=10))
    contest.categories.filter(key="ribs").update(turn_in_at=timezone.now() + timedelta(minutes=10))
    take_in(contest, boxes=list(contest.boxes.filter(category__key="chicken"))[:3])
    assert [todo.text for todo in steps(contest)[1].todos] == ["Chicken: 1 box is not recorded at the turn-in desk."]


def test_boxes_not_recorded_hinder_closing():
    contest = make_drawn(teams=4)
    take_in(contest, boxes=list(contest.boxes.filter(category__key="chicken")))
    texts = [todo.text for todo in in_the_way("closing", contest)]
    assert "Ribs: 4 boxes are not recorded at the turn-in desk." in texts
    contest.categories.filter(key="ribs").update(cancelled_at=timezone.now(), cancelled_why="rain")
    assert not any("turn-in desk" in todo.text for todo in in_the_way("closing", contest))
    assert steps(contest)[1].state == "done"


def rooms(contest, part):
    from contest.access import Viewer

    return [link.name for link in links_for(contest, Viewer(account=give_part(contest, part, make_account())))]


def test_rooms_follow_the_day_across_the_apps():
    names = rooms(make_drawn(teams=2), "organiser")
    assert names == [
        *("Day", "Set-up", "Teams", "Check-in", "Judges", "Seating", "Helpers", "Draw"),
        *("Windows", "Print", "Marks", "Tally"),
    ]


def test_rooms_of_organiser_and_desk():
    full, small = make_drawn(teams=2), make_drawn(make_contest(teams=2, small=True))
    assert [name for name in rooms(full, "organiser") if name in ("Draw", "Boxes in", "Windows")] == ["Draw", "Windows"]
    assert rooms(small, "organiser")[0] == "Boxes in"
    assert "Draw" not in rooms(small, "organiser")
    assert [name for name in rooms(full, "desk") if name != "Check-in"] == [
        "Boxes in",
        "Ledger",
        "Labels",
        "Windows",
        "Print",
    ]
    assert rooms(small, "desk") == ["Boxes in", "Ledger", "Labels", "Print"]


def test_a_one_person_small_contest_keeps_one_boxes_in_room():
    contest = make_drawn(make_contest(teams=2, small=True, one_person=True))
    account = give_part(contest, "organiser")
    give_part(contest, "desk", account)
    from contest.access import Viewer

    names = [link.name for link in links_for(contest, Viewer(account=account))]
    assert names.count("Boxes in") == 1
    assert "Ledger" not in names
