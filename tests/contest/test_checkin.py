"""Check-in and meat inspection."""

import pytest
from django.urls import reverse

from contest.services.people import check_in, inspect_meat
from tests.factories import client_for, make_contest

pytestmark = pytest.mark.django_db


def page(contest):
    return reverse("contest:check_in", args=[contest.slug])


def post(client, contest, number, data, **headers):
    prefixed = {
        f"{'initial-' if key.startswith('was_') else ''}team-{number}-{key.removeprefix('was_')}": value
        for key, value in data.items()
    }
    extra = {"in_order": "1"} if "in_order" in data else {}
    return client.post(reverse("contest:check_in_team", args=[contest.slug, number]), {**prefixed, **extra}, **headers)


def test_one_button_for_a_team_whose_meat_is_in_order():
    contest = make_contest()
    client = client_for(contest, "desk pass")
    answer = post(client, contest, 3, {"in_order": "1", "problem": ""})
    assert answer.url == f"{page(contest)}#team-3"
    entry = contest.entries.get(number=3)
    assert (entry.meat_in_order, entry.arrived_by, entry.inspected_by) == (True, "turn-in desk", "turn-in desk")
    assert entry.arrived_at is not None
    assert entry.inspected_at is not None


def test_two_tablets_do_not_undo_each_other():
    contest = make_contest()
    client = client_for(contest, "organiser")
    post(client, contest, 1, {"raw": "on", "was_raw": "False", "was_cold": "False"})
    # The other tablet showed the page from before and ticks another box.
    post(client, contest, 1, {"cold": "on", "was_raw": "False", "was_cold": "False"})
    entry = contest.entries.get(number=1)
    assert (entry.meat_raw, entry.meat_cold, entry.meat_unseasoned) == (True, True, False)


def test_a_problem_is_written_down_and_cleared():
    contest = make_contest()
    client = client_for(contest, "desk")
    post(client, contest, 2, {"in_order": "1"})
    post(
        client,
        contest,
        2,
        {
            "problem": "pork at 52 °F",
            "was_problem": "",
            "raw": "on",
            "was_raw": "True",
            "unseasoned": "on",
            "was_unseasoned": "True",
            "cold": "on",
            "was_cold": "True",
            "arrived": "on",
            "was_arrived": "True",
        },
    )
    entry = contest.entries.get(number=2)
    assert entry.problem == "pork at 52 °F"
    assert not entry.meat_in_order
    text = client.get(page(contest), {"show": "problem"}).content.decode()
    assert "pork at 52 °F" in text
    assert 'id="team-1"' not in text
    inspect_meat(entry=entry, by="desk", problem="")
    assert entry.meat_in_order


def test_a_text_too_long_is_refused_and_nothing_written():
    contest = make_contest()
    answer = post(client_for(contest, "desk"), contest, 2, {"problem": "x" * 301, "raw": "on"}, follow=True)
    assert "longer than 300 characters" in answer.content.decode()
    entry = contest.entries.get(number=2)
    assert (entry.problem, entry.meat_raw) == ("", False)
    row = post(client_for(contest, "desk"), contest, 2, {"problem": "x" * 301}, HTTP_HX_REQUEST="true")
    assert "at most 300 characters" in row.content.decode()


def test_ticking_again_keeps_the_first_time_and_unticking_forgets_it():
    contest = make_contest()
    entry = contest.entries.get(number=1)
    first = check_in(entry=entry, by="desk").arrived_at
    assert check_in(entry=entry, by="organiser").arrived_at == first
    assert entry.arrived_by == "desk"
    check_in(entry=entry, by="desk", arrived=False)
    entry.refresh_from_db()
    assert (entry.arrived_at, entry.arrived_by) == (None, "")


def test_with_htmx_what_is_typed_meanwhile_stays_and_another_tablet_is_not_undone():
    contest = make_contest()
    inspect_meat(entry=contest.entries.get(number=4), by="another tablet", cold=True)
    client = client_for(contest, "desk")
    data = {"arrived": "on", "was_arrived": "False", "was_cold": "False", "problem": "", "was_problem": ""}
    answer = post(client, contest, 4, data, HTTP_HX_REQUEST="true")
    assert answer.headers["HX-Retarget"] == "#team-4 .shown"
    assert answer.headers["HX-Reselect"] == ".shown"
    text = answer.content.decode()
    assert 'name="initial-team-4-arrived" value="True"' in text
    assert 'name="initial-team-4-cold" value="False"' in text  # as this tablet shows it
    entry = contest.entries.get(number=4)
    assert (entry.arrived_at is not None, entry.meat_cold) == (True, True)


def test_with_htmx_the_one_button_brings_the_whole_row():
    contest = make_contest()
    answer = post(client_for(contest, "desk"), contest, 4, {"in_order": "1"}, HTTP_HX_REQUEST="true")
    assert answer.content.decode().lstrip().startswith('<li class="team-in moved" id="team-4">')
    assert "HX-Retarget" not in answer.headers


def test_the_cautions_stand_beside_the_list_with_their_sources():
    """FDA Food Code 2022 §3-501.16 and the USDA FSIS chart; 40 °F and 140 °F are common practice, without a source."""
    contest = make_contest()
    text = " ".join(client_for(contest, "desk").get(page(contest)).content.decode().split())
    for words in (
        "40 °F (4 °C) or below",
        "41 °F (5 °C) or below",
        "140 °F (60 °C) or above",
        "135 °F (57 °C) or above",
        "Poultry 165 °F (74 °C)",
        "145 °F (63 °C), then three minutes of rest",
        "Ground meat 160 °F (71 °C)",
        "floors, never targets",
        "The local health authority decides.",
        "FDA Food Code 2022, §3-501.16",
        "USDA FSIS",
    ):
        assert words in text


def test_filters_count():
    contest = make_contest(teams=3)
    check_in(entry=contest.entries.get(number=1), by="desk")
    client = client_for(contest, "desk")
    shown = client.get(page(contest), {"show": "to-come"})
    assert [form.entry.number for form in shown.context["forms"]] == [2, 3]
    assert [number for *_, number in shown.context["filters"]] == [3, 2, 3, 0]
    assert len(client.get(page(contest), {"show": "nonsense"}).context["forms"]) == 3
