"""How long the lists of a site take that has run for years: 2,000 published contests, 5,000 teams.

Run with: pytest tests/bench/bench_lists.py -s. Rows are written in bulk, so results are small; what is measured are the
lists: their first and a middle page, and a search. The organiser has all contests, the cook 100 of them with a log of
each, 200 results from elsewhere and 200 cooks at home.
"""

from datetime import date, timedelta

import pytest
from django.test import Client
from django.urls import reverse

from contest.models import Category, Contest, ContestRole, Entry, RuleSet, Season, Team, TeamMember
from contest.rules.ruleset import shipped_text
from contest.services.rulesets import ensure_shipped_rule_sets
from judging.models import Tally
from judging.rules.standings import BoxStanding, CategoryStandings, Outcome
from reports.models import CookDay, CookLog, CookStage, ImportedContest, PastResult, Publication
from reports.season.imported import ImportedBoxes
from tests.bench.bench_pages import MOST_SECONDS, median_seconds
from tests.factories import make_account, make_rule_set

CONTESTS, TEAMS, TEAMS_A_CONTEST = 2_000, 5_000, 20
RULE_SETS, SEASONS, OWN = 300, 200, 200
FIRST_DAY = date(2012, 4, 7)


def make_site():
    """The site's rows; returns its organiser, its cook and the cook's team."""
    ensure_shipped_rule_sets()
    organiser, cook = make_account(), make_account()
    rules = make_rule_set()
    RuleSet.objects.bulk_create(
        RuleSet(name=f"Own set {number}", document=shipped_text("taste-double"), owner=organiser)
        for number in range(RULE_SETS)
    )
    seasons = Season.objects.bulk_create(
        Season(name=f"Circuit {number % 20}", year=2012 + number // 20) for number in range(SEASONS)
    )
    teams = Team.objects.bulk_create(Team(name=f"Team {number:04}") for number in range(TEAMS))
    contests = Contest.objects.bulk_create(
        Contest(
            slug=f"cook-off-{number}",
            name=f"Cook-off {number}",
            place=f"Village {number % 90}",
            date=FIRST_DAY + timedelta(days=2 * number),
            time_zone="Europe/Lisbon",
            rule_set=rules,
            season=seasons[number * SEASONS // CONTESTS],
            state=Contest.State.PUBLISHED,
        )
        for number in range(CONTESTS)
    )
    Category.objects.bulk_create(
        Category(contest=contest, key=key, name=key.capitalize(), order=order, turn_in_at=f"{contest.date}T12:00Z")
        for contest in contests
        for order, key in enumerate(("chicken", "ribs"))
    )
    ContestRole.objects.bulk_create(
        ContestRole(contest=contest, account=organiser, organiser=True) for contest in contests
    )
    TeamMember.objects.bulk_create(TeamMember(team=team, account=cook) for team in teams)
    entries = [
        Entry(contest=contest, number=place + 1, team=teams[which(at, place)])
        for at, contest in enumerate(contests)
        for place in range(TEAMS_A_CONTEST)
    ]
    Entry.objects.bulk_create(entries)
    tallies = Tally.objects.bulk_create(
        Tally(contest=contest, inputs_hash="0" * 64, inputs={}, outcome=outcome(contest), closed_by="bench")
        for contest in contests
    )
    Publication.objects.bulk_create(
        Publication(contest=tally.contest, tally=tally, by="bench", package_sum="0" * 64) for tally in tallies
    )
    give_years(teams[0])
    return organiser, cook, teams[0]


def which(contest, place):
    """Team 0 is at every twentieth contest; the others take their turns."""
    return 0 if place == 0 and contest % 20 == 0 else 1 + (contest * 19 + place) % (TEAMS - 1)


def outcome(contest):
    """Two categories with a box of every team."""
    boxes = tuple(
        BoxStanding(
            box=str(201 + place), team=str(place + 1), table=str(1 + place % 4), rank=place + 1,
            total=str(180 - place), status="ranked", counted=tuple("ABCDE"), dropped=(), decided_by=None,
        )
        for place in range(TEAMS_A_CONTEST)
    )  # fmt: skip
    categories = tuple(CategoryStandings(key, key.capitalize(), True, boxes) for key in ("chicken", "ribs"))
    names = {str(place + 1): f"Team {place}" for place in range(TEAMS_A_CONTEST)}
    return Outcome(categories, (), "all_judged", (), names, ()).document()


def give_years(team):
    """Results, packages and logged days of the team's own."""
    PastResult.objects.bulk_create(
        PastResult(
            team=team, contest_name=f"Away {number}", date=FIRST_DAY + timedelta(days=9 * number), key="ribs",
            category="Ribs", place=3, field=20, total="150", possible="180",
        )
        for number in range(OWN)
    )  # fmt: skip
    ImportedContest.objects.bulk_create(
        ImportedContest(
            team=team, name=f"Packed {number}", date=FIRST_DAY + timedelta(days=50 * number), package_sum="0" * 64,
            uid=f"00000000-0000-4000-8000-{number:012}", boxes=ImportedBoxes(()).to_json(),
        )
        for number in range(80)
    )  # fmt: skip
    days = CookDay.objects.bulk_create(
        CookDay(team=team, name=f"Home {number}", date=FIRST_DAY + timedelta(days=9 * number)) for number in range(OWN)
    )
    days += CookDay.objects.bulk_create(
        CookDay(team=team, contest=contest, name=contest.name, date=contest.date)
        for contest in Contest.objects.filter(entries__team=team)
    )
    logs = CookLog.objects.bulk_create(
        CookLog(day=day, key="ribs", name="Ribs", turn_in_at=f"{day.date}T12:00Z") for day in days
    )
    CookStage.objects.bulk_create(CookStage(log=log, stage="pit", at=f"{log.day.date}T07:00Z") for log in logs)


def client_of(account):
    client = Client()
    client.force_login(account, backend="django.contrib.auth.backends.ModelBackend")
    return client


@pytest.mark.django_db
def test_lists_of_a_site_of_years_answer_in_time(capsys):
    organiser, cook, team = make_site()
    assert (Contest.objects.count(), Team.objects.count()) == (CONTESTS, TEAMS)
    home, own = reverse("contest:home"), client_of(cook)
    newest = Contest.objects.order_by("-date")[0]
    last = Contest.objects.filter(entries__team=team).order_by("-date")[0]
    season = reverse("reports:season_of", args=[team.uid, f"season-{last.season_id}"])
    pages = {
        "home, visitor": (Client(), home),
        "home, visitor, page 40": (Client(), f"{home}?page=40"),
        "home, visitor, search": (Client(), f"{home}?q=village+77"),
        "home, organiser": (client_of(organiser), home),
        "home, organiser, page 40": (client_of(organiser), f"{home}?own=40"),
        "home, cook": (own, home),
        "rule sets": (client_of(organiser), reverse("contest:rule_sets")),
        "a rule set": (client_of(organiser), reverse("contest:rule_set", args=[newest.rule_set_id])),
        "my teams": (own, reverse("reports:teams")),
        "my teams, page 100": (own, reverse("reports:teams") + "?page=100"),
        "my teams, search": (own, reverse("reports:teams") + "?q=4711"),
        "a team": (own, reverse("reports:team", args=[team.uid])),
        "season": (own, season),
        "past results": (own, reverse("reports:past", args=[team.uid])),
        "cook log": (own, reverse("reports:cook_log", args=[team.uid])),
        "plan": (own, reverse("reports:plan", args=[team.uid])),
        "set-up": (client_of(organiser), reverse("contest:setup", args=[newest.slug])),
        "results": (Client(), reverse("reports:results", args=[newest.slug])),
    }
    with capsys.disabled():
        print()
        slow = {}
        for name, (client, address) in pages.items():
            seconds, processor, queries, size = median_seconds(client, address)
            print(
                f"{name:26} {seconds * 1000:6.0f} ms, {processor * 1000:4.0f} ms of them its own,"
                f" {queries:3} queries, {size / 1024:4.0f} KiB"
            )
            if processor > MOST_SECONDS:
                slow[name] = processor
    assert not slow, slow
