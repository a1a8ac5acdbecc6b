"""The teams of a contest: entering, changing, withdrawing, before and after the draw."""

from concurrent.futures import ThreadPoolExecutor

import pytest
from django.core.exceptions import ValidationError
from django.db import connection
from django.urls import reverse

from contest.models import Entered, LogRow, Team
from contest.services.people import add_entry, change_entry, take_back_withdrawal, withdraw
from tests.factories import client_for, give_part, make_contest, make_drawn

pytestmark = pytest.mark.django_db


def page(contest, name="teams", *args):
    return reverse(f"contest:{name}", args=[contest.slug, *args])


def test_a_team_enters_every_category_under_the_next_free_number():
    contest = make_contest(teams=3)
    entry = add_entry(contest=contest, number=None, team_name="  Team   Sorrel ")
    assert (entry.number, entry.team.name) == (4, "Team Sorrel")
    assert sorted(row.category.key for row in entry.entered.all()) == ["chicken", "ribs"]


def test_a_team_of_the_same_organiser_is_the_same_team_and_keeps_what_is_not_typed():
    before, contest = make_contest(teams=1), make_contest(teams=0)
    give_part(contest, "organiser", give_part(before, "organiser"))
    team = before.entries.get().team
    Team.objects.filter(pk=team.pk).update(head_cook="Cook Alder")
    entry = add_entry(contest=contest, number=1, team_name=team.name.upper(), home="Example Town")
    assert entry.team == team
    team.refresh_from_db()
    assert (team.name, team.head_cook, team.home) == (entry.team.name, "Cook Alder", "Example Town")
    assert team.name != team.name.upper()


def test_a_namesake_of_a_stranger_is_another_team():
    before, contest = make_contest(teams=1), make_contest(teams=0)
    assert (
        add_entry(contest=contest, number=1, team_name=before.entries.get().team.name).team != before.entries.get().team
    )


@pytest.mark.parametrize(
    ("number", "name", "field", "words"),
    [
        (1, "Team Sorrel", "number", "has number 1. 3 is free."),
        (0, "Team Sorrel", "number", "greater than or equal to 1"),
        (10000, "Team Sorrel", "number", "less than or equal to 9999"),
        (7, " ", "team_name", "Type the team's name"),
        (7, "x" * 121, "team_name", "at most 120 characters"),
    ],
)
def test_a_bad_entry_is_refused_at_its_field_and_leaves_nothing(number, name, field, words):
    contest = make_contest(teams=2)
    teams = Team.objects.count()
    with pytest.raises(ValidationError) as refused:
        add_entry(contest=contest, number=number, team_name=name)
    assert words in " ".join(refused.value.message_dict[field])
    assert (contest.entries.count(), Team.objects.count()) == (2, teams)


def test_the_form_keeps_what_was_typed_when_refused():
    contest = make_contest(teams=2)
    answer = client_for(contest, "organiser").post(page(contest), {"number": "2", "team_name": "Team Sorrel"})
    assert answer.status_code == 422
    assert 'value="Team Sorrel"' in answer.content.decode()
    assert "3 is free" in answer.content.decode()


def test_ticks_change_only_what_was_ticked_or_unticked():
    contest = make_contest(teams=2)
    chicken, ribs = contest.categories.all()
    one, two = contest.entries.all()
    # Meanwhile somebody else took team 2 out of ribs; the page still showed the tick, and it is not touched here.
    shown = [f"{entry.pk}-{category.pk}" for entry in (one, two) for category in (chicken, ribs)]
    Entered.objects.filter(entry=two, category=ribs).delete()
    ticked = [cell for cell in shown if cell != f"{one.pk}-{chicken.pk}"]
    client_for(contest, "organiser").post(page(contest, "team_ticks"), {"shown": shown, "in": ticked})
    left = {(row.entry.number, row.category.key) for row in Entered.objects.filter(entry__contest=contest)}
    assert left == {(1, "ribs"), (2, "chicken")}


def test_ticks_cannot_reach_into_another_contest():
    contest, other = make_contest(teams=1), make_contest(teams=1)
    stranger = other.entries.get()
    Entered.objects.filter(entry=stranger).delete()
    cells = [f"{stranger.pk}-{other.categories.first().pk}", "x", f"{contest.entries.get().pk}-999999", "-"]
    assert client_for(contest, "organiser").post(page(contest, "team_ticks"), {"in": cells}).status_code == 302
    assert not Entered.objects.filter(entry=stranger).exists()


def test_a_withdrawal_needs_its_reason_and_stands_in_the_days_log():
    contest = make_drawn()
    entry, chicken = contest.entries.get(number=3), contest.categories.get(key="chicken")
    with pytest.raises(ValidationError, match="Say why"):
        withdraw(entry=entry, category=chicken, reason="  ", by="organiser")
    withdraw(entry=entry, category=chicken, reason="cooker broke", by="organiser")
    row = LogRow.objects.get(what="team withdrawn")
    assert (row.chain.name, row.person.name) == ("day", "organiser")
    assert row.facts == '{"category":"chicken","reason":"cooker broke","team":3}'
    with pytest.raises(ValidationError, match="withdrawn already"):
        withdraw(entry=entry, category=chicken, reason="again", by="organiser")
    take_back_withdrawal(entry=entry, category=chicken, by="organiser")
    assert not entry.entered.filter(withdrawn_at__isnull=False).exists()
    assert LogRow.objects.filter(what="withdrawal taken back").count() == 1


def test_withdrawing_from_all_that_are_left():
    contest = make_contest()
    entry = contest.entries.get(number=2)
    withdraw(entry=entry, category=None, reason="ill", by="organiser")
    assert [row.withdrawn_why for row in entry.entered.all()] == ["ill", "ill"]


def test_after_the_closing_nobody_withdraws():
    contest = make_drawn()
    contest.state = "closed"
    contest.save()
    with pytest.raises(ValidationError, match="tally is closed"):
        withdraw(entry=contest.entries.first(), category=None, reason="ill", by="organiser")


def test_after_the_draw_the_list_is_read_only():
    contest = make_drawn()
    entry = contest.entries.get(number=1)
    client = client_for(contest, "organiser")
    text = client.get(page(contest)).content.decode()
    assert "The boxes are drawn" in text
    assert 'type="checkbox"' not in text
    with pytest.raises(ValidationError, match="a late team would need a new draw"):
        add_entry(contest=contest, number=99, team_name="Team Late")
    with pytest.raises(ValidationError, match="another team number"):
        change_entry(entry=entry, number=50, team_name="Team X", head_cook="", home="", by="organiser")
    answer = client.post(page(contest, "team", 1), {"number": "50", "team_name": "Team Sorrel"})
    assert answer.status_code == 302
    entry.refresh_from_db()
    assert (entry.number, entry.team.name) == (1, "Team Sorrel")
    client.post(page(contest, "team_remove", 1))
    client.post(page(contest, "team_ticks"), {"shown": [f"{entry.pk}-{contest.categories.first().pk}"]})
    assert contest.entries.count() == 6
    assert entry.entered.count() == 2


def test_a_number_is_changed_before_the_draw_and_refused_when_taken():
    contest = make_contest(teams=2)
    client = client_for(contest, "organiser")
    taken = client.post(page(contest, "team", 1), {"number": "2", "team_name": "Team Sorrel"})
    assert taken.status_code == 422
    assert "has number 2" in taken.content.decode()
    assert contest.entries.filter(number=1).exists()
    client.post(page(contest, "team", 1), {"number": "12", "team_name": "Team Sorrel", "home": "Town"})
    assert contest.entries.get(number=12).team.home == "Town"


def test_a_removed_team_goes_unless_it_is_known_elsewhere():
    before, contest = make_contest(teams=1), make_contest(teams=1)
    give_part(contest, "organiser", give_part(before, "organiser"))
    shared = add_entry(contest=contest, number=8, team_name=before.entries.get().team.name).team
    only = contest.entries.get(number=1).team
    client = client_for(contest, "organiser")
    for number in (1, 8):
        assert client.post(page(contest, "team_remove", number)).status_code == 302
    assert contest.entries.count() == 0
    assert list(Team.objects.filter(pk__in=[shared.pk, only.pk])) == [shared]


def test_withdraw_form_on_the_page():
    contest = make_contest()
    client = client_for(contest, "organiser")
    answer = client.post(page(contest, "team_withdraw", 2), {"category": "", "reason": ""})
    assert answer.status_code == 422
    client.post(page(contest, "team_withdraw", 2), {"category": "", "reason": "ill"})
    assert "withdrew" in client.get(page(contest)).content.decode()
    client.post(page(contest, "team_back_in", 2, "ribs"))
    assert contest.entries.get(number=2).entered.get(category__key="ribs").withdrawn_at is None


def test_an_empty_list_says_what_to_do():
    contest = make_contest(teams=0, categories=())
    text = client_for(contest, "organiser").get(page(contest)).content.decode()
    assert "No team yet" in text


@pytest.mark.django_db(transaction=True)
def test_teams_entered_at_the_same_moment_get_different_numbers():
    contest = make_contest(teams=0)

    def enter(letter):
        try:
            return add_entry(contest=contest, number=None, team_name=f"Team {letter}").number
        finally:
            connection.close()

    with ThreadPoolExecutor(8) as pool:
        numbers = list(pool.map(enter, "ABCDEFGHIJKL"))
    assert sorted(numbers) == list(range(1, 13))
