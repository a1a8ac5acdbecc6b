"""Names corrected after the draw: each way in which a name can change writes its row, and none before the draw."""

import json
from hashlib import sha256

import pytest
from django.urls import reverse

from contest.models import Account, Contest, Draw, LogRow, Team
from contest.services.draw import make_draw
from contest.services.names import log_corrected_names
from contest.services.people import change_entry
from contest.services.redraw import Changes, LateTeam, redraw
from contest.services.setup import change_category
from tests.factories import client_for, make_contest, make_drawn

pytestmark = pytest.mark.django_db


@pytest.fixture
def contest():
    contest = make_contest(teams=4, tables=2)
    make_draw(contest=contest, by="organiser")
    contest.refresh_from_db()
    return contest


def rows(contest):
    found = LogRow.objects.filter(chain__contest=contest, chain__name="day", what="name corrected").order_by("number")
    return [json.loads(facts) for facts in found.values_list("facts", flat=True)]


def rename(entry, name):
    return change_entry(entry=entry, number=entry.number, team_name=name, head_cook="", home="", by="organiser")


def entries_sum(contest):
    """The sum of the list, made here from the description of the format."""
    entries = contest.entries.select_related("team").order_by("number")
    text = "".join(f"{entry.number}\t{entry.team.uid}\t{entry.team.name}\n" for entry in entries)
    return sha256(text.encode()).hexdigest()


def test_draw_binds_the_sums_of_both_lists(contest):
    draw = Draw.objects.get(contest=contest)
    categories = "".join(f"{category.key}\t{category.name}\n" for category in contest.categories.all())
    lines = draw.draw_text.splitlines()
    assert f"entries\t{entries_sum(contest)}" in lines
    assert f"categories\t{sha256(categories.encode()).hexdigest()}" in lines


def test_draw_binds_a_withdrawn_team_and_a_cancelled_category():
    contest = make_contest(teams=4, tables=2)
    contest.categories.filter(key="ribs").update(cancelled_at="2026-06-01T00:00Z", cancelled_why="no ribs")
    contest.entries.get(number=2).entered.update(withdrawn_at="2026-06-01T00:00Z", withdrawn_why="ill")
    draw = make_draw(contest=contest, by="organiser")
    assert f"entries\t{entries_sum(contest)}" in draw.draw_text
    assert sha256(b"chicken\tChicken\nribs\tRibs\n").hexdigest() in draw.draw_text


def test_corrected_team_name_is_a_row_with_the_new_sum(contest):
    entry = contest.entries.get(number=3)
    before = entry.team.name
    rename(entry, "  Team   Larch ")
    assert rows(contest) == [{"entry": 3, "from": before, "to": "Team Larch", "entries": entries_sum(contest)}]
    rename(entry, "Team Larch")
    assert len(rows(contest)) == 1, "saved without a change"


def test_corrected_team_name_is_a_row_when_sent_by_the_form(contest):
    address = reverse("contest:team", args=[contest.slug, 3])
    client_for(contest, "organiser").post(address, {"number": "3", "team_name": "Team Larch"})
    assert [facts["to"] for facts in rows(contest)] == ["Team Larch"]


def test_corrected_category_name_is_a_row_with_the_new_sum(contest):
    change_category(category=contest.categories.get(key="ribs"), by="organiser", name="Spare  ribs")
    new = sha256(b"chicken\tChicken\nribs\tSpare ribs\n").hexdigest()
    assert rows(contest) == [{"category": "ribs", "from": "Ribs", "to": "Spare ribs", "categories": new}]


def test_corrected_category_name_is_a_row_when_sent_by_the_form(contest):
    address = reverse("contest:category", args=[contest.slug, "ribs"])
    client_for(contest, "organiser").post(address, {"name": "Spare ribs", "places_called": "3"})
    assert [facts["to"] for facts in rows(contest)] == ["Spare ribs"]


def test_name_changed_on_the_admin_site_is_a_row(contest, client):
    client.force_login(Account.objects.create_superuser("owner", password="a long password"))
    team = contest.entries.get(number=1).team
    form = {"name": "Team Larch", "head_cook": "", "home": ""}
    form |= {f"members-{part}_FORMS": "0" for part in ("TOTAL", "INITIAL", "MIN_NUM", "MAX_NUM")}
    answer = client.post(reverse("admin:contest_team_change", args=[team.pk]), form)
    assert answer.status_code == 302
    assert [facts["to"] for facts in rows(contest)] == ["Team Larch"]


def test_name_changed_in_another_contest_is_a_row_until_publishing(contest):
    team = contest.entries.get(number=1).team
    other = make_contest(teams=0)
    entry = other.entries.create(team=team, number=7)
    rename(entry, "Team Larch")
    assert [facts["to"] for facts in rows(contest)] == ["Team Larch"]
    assert rows(other) == [], "it is not drawn yet"
    Contest.objects.filter(pk=contest.pk).update(state=Contest.State.PUBLISHED)
    rename(entry, "Team Yew")
    assert [facts["to"] for facts in rows(contest)] == ["Team Larch"], "what is published keeps its names"
    log_corrected_names(contest=contest, by="organiser")  # as a revision does
    assert [(facts["from"], facts["to"]) for facts in rows(contest)][1:] == [("Team Larch", "Team Yew")]


def test_name_changed_past_the_services_is_found(contest):
    Team.objects.filter(entries__contest=contest, entries__number=2).update(name="Team Larch")
    assert log_corrected_names(contest=contest, by="organiser") == 1
    assert [facts["entry"] for facts in rows(contest)] == [2]
    assert log_corrected_names(contest=contest, by="organiser") == 0


def test_names_before_the_draw_are_no_rows():
    contest = make_contest(teams=4, tables=2)
    rename(contest.entries.get(number=1), "Team Larch")
    change_category(category=contest.categories.get(key="ribs"), by="organiser", name="Spare ribs")
    assert rows(contest) == []


def test_redraw_binds_the_names_of_its_moment(contest):
    rename(contest.entries.get(number=1), "Team Larch")
    late = LateTeam("Team Aspen", categories=tuple(contest.categories.all()))
    draw = redraw(contest=contest, reason="a team came late", by="organiser", changes=Changes(late=late))
    assert f"entries\t{entries_sum(contest)}" in draw.draw_text
    assert log_corrected_names(contest=contest, by="organiser") == 0
    rename(contest.entries.get(number=5), "Team Ash")
    assert [facts["to"] for facts in rows(contest)] == ["Team Larch", "Team Ash"]


def test_contest_whose_draw_binds_no_names_has_no_rows():
    contest = make_drawn(make_contest(teams=4))
    rename(contest.entries.get(number=1), "Team Larch")
    assert rows(contest) == []
