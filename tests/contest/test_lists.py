"""Long lists are shown a page at a time and searched by a form that needs no script."""

from datetime import date, timedelta
from html.parser import HTMLParser

import pytest
from django.test import Client, RequestFactory
from django.urls import reverse

from contest.lists import MOST_SEARCHED, PAGE_SIZE, list_page
from contest.models import Contest, RuleSet, Team, TeamMember
from tests.factories import give_part, make_account, make_rule_set

pytestmark = pytest.mark.django_db


def make_published(number: int, rules: RuleSet, **fields: object) -> Contest:
    return Contest.objects.create(
        **{
            "slug": f"cook-off-{number}",
            "name": f"Cook-off {number:03}",
            "date": date(2020, 1, 1) + timedelta(days=number),
            "rule_set": rules,
            "state": Contest.State.PUBLISHED,
            **fields,
        }
    )


@pytest.fixture
def years():
    """60 published contests, the newest Cook-off 059, one of them at Millpond."""
    make_account()
    rules = make_rule_set()
    return [make_published(number, rules, place="Millpond" if number == 7 else "") for number in range(60)]


def signed_in(account) -> Client:
    client = Client()
    client.force_login(account, backend="django.contrib.auth.backends.ModelBackend")
    return client


class Links(HTMLParser):
    """The links of a page: address → label for a screen reader."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.labels: dict[str, str] = {}
        self.current: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        values = dict(attrs)
        if tag == "a" and "aria-label" in values:
            self.labels[values["aria-label"]] = values["href"]
            if values.get("aria-current") == "page":
                self.current.append(values["aria-label"])


def shown(text: str) -> list[int]:
    return [number for number in range(60) if f"Cook-off {number:03}" in text]


def test_every_published_result_is_on_one_page_of_home(client, years):
    home = reverse("contest:home")
    pages = [shown(client.get(home, {"page": number}).text) for number in (1, 2, 3)]
    assert [len(page) for page in pages] == [PAGE_SIZE, PAGE_SIZE, 10]
    assert sorted(number for page in pages for number in page) == list(range(60))
    assert pages[0] == list(range(35, 60)), "the newest come first"


def test_page_links_are_labelled_and_lead_on(client, years):
    text = client.get(reverse("contest:home"), {"page": 2}).text
    links = Links(text)
    assert links.current == ["Page 2 of published results"]
    assert {"Previous page of published results", "Next page of published results"} <= set(links.labels)
    assert links.labels["Page 3 of published results"] == "?page=3#published"
    assert '<nav aria-label="Pages of published results">' in text
    assert shown(client.get("/" + links.labels["Next page of published results"].partition("#")[0]).text) == [
        *range(10)
    ]


@pytest.mark.parametrize(
    ("page", "first"), [("", 59), ("nonsense", 59), ("0", 59), ("-3", 59), ("9" * 5000, 59), ("99", 9), ("2²", 59)]
)
def test_page_that_is_not_there_shows_the_nearest(client, years, page, first):
    assert max(shown(client.get(reverse("contest:home"), {"page": page}).text)) == first


def test_search_finds_every_word_in_any_field(client, years):
    home = reverse("contest:home")
    assert shown(client.get(home, {"q": "millpond"}).text) == [7]
    assert shown(client.get(home, {"q": "  COOK-OFF   042 "}).text) == [42]
    assert shown(client.get(home, {"q": "042 millpond"}).text) == []
    assert shown(client.get(home, {"q": "2020-02-01"}).text) == [31]
    nothing = client.get(home, {"q": "<b>none"}).text
    assert "0 found for “&lt;b&gt;none”." in nothing
    assert "Show all" in nothing


@pytest.mark.parametrize("search", ["\0", "%", "a " * 500, "'; --", "_"])
def test_odd_search_is_answered(client, years, search):
    answer = client.get(reverse("contest:home"), {"q": search})
    assert answer.status_code == 200


def test_search_is_cut_to_its_most_signs(years):
    request = RequestFactory().get("/", {"q": "x" * 500})
    assert list_page(request, Contest.objects.all(), "Contests", fields=("name",)).search == "x" * MOST_SEARCHED


def test_short_list_has_neither_search_nor_pages(client):
    make_account()
    make_published(1, make_rule_set())
    text = client.get(reverse("contest:home")).text
    assert 'role="search"' not in text
    assert "Pages of" not in text


def test_search_and_other_choices_stay_in_page_links(years):
    request = RequestFactory().get("/", {"q": "cook", "sort": "-total", "page": "2"})
    found = list_page(request, Contest.objects.all(), "Contests", fields=("name",))
    assert found.next.query == "q=cook&sort=-total&page=3"
    assert found.kept == [("sort", "-total")]


def test_list_of_rows_is_searched_without_capitals():
    request = RequestFactory().get("/", {"q": "ÄLD oak"})
    found = list_page(request, ["Älder oak", "alder oak", "oak"], "Woods", text=str)
    assert (list(found), found.total, found.can_search) == (["Älder oak"], 1, True)


def test_an_organisers_past_contests_are_paged_by_themselves(years):
    account = make_account()
    for contest in years:
        give_part(contest, "organiser", account)
    coming = make_published(500, years[0].rule_set, state=Contest.State.PREPARING, date=date(2099, 1, 1))
    give_part(coming, "organiser", account)
    client = signed_in(account)
    text = client.get(reverse("contest:home"), {"own": 3}).text
    assert Links(text).current == ["Page 3 of your past contests", "Page 1 of published results"]
    assert shown(text.partition("Published results")[0]) == list(range(10))
    assert "Cook-off 500" in text, "what is to come is on every page"


def test_past_is_by_the_clock_of_the_contest(monkeypatch, years):
    """At 2026-06-13 03:00 UTC it is still the 12th in Honolulu and the 13th in Lisbon."""
    from datetime import UTC, datetime

    monkeypatch.setattr("django.utils.timezone.now", lambda: datetime(2026, 6, 13, 3, tzinfo=UTC))
    from contest.selectors.entrance import contests_of, split_by_time

    account = make_account()
    for number, zone in ((601, "Pacific/Honolulu"), (602, "Europe/Lisbon")):
        contest = make_published(
            number, years[0].rule_set, state=Contest.State.PREPARING, date=date(2026, 6, 12), time_zone=zone
        )
        give_part(contest, "organiser", account)
    current, past = split_by_time(contests_of(account))
    assert [contest.name for contest in current["Running now"]] == ["Cook-off 601"]
    assert [contest.name for contest in past] == ["Cook-off 602"]


def test_teams_and_rule_sets_of_an_account_are_paged():
    account = make_account()
    client = signed_in(account)
    for number in range(30):
        TeamMember.objects.create(team=Team.objects.create(name=f"Team {number:02}"), account=account)
        RuleSet.objects.create(name=f"set {number:02}", document="", owner=account)
    teams, rules = reverse("reports:teams"), reverse("contest:rule_sets")
    assert client.get(teams).text.count("Team ") == PAGE_SIZE
    assert "Team 29" in client.get(teams, {"page": 2}).text
    assert "Team 17" in client.get(teams, {"q": "17"}).text
    assert client.get(rules).text.count(">set ") == PAGE_SIZE
    assert client.get(rules, {"page": 2}).text.count(">set ") == 5
    assert client.get(rules, {"q": "set 03"}).text.count(">set ") == 1
