"""Every page as people see it: on a phone and a laptop, light and dark.

Each role starts at its pass word and follows every link it is shown. The pictures are written to .shots/; the test
fails for a page that is wider than the screen, clips text, has targets too small for a thumb, or breaks a rule that
axe-core checks; and for a page of the site that nobody reached.
"""

import re
import shutil
import subprocess
import uuid
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from django.db import connection
from django.test import RequestFactory
from django.urls import Resolver404, URLPattern, get_resolver, resolve
from playwright.sync_api import Browser, Page

from contest.access import Viewer
from contest.checks import walk
from tests.site.looking import clear_shots, faults_of
from tests.site.served import Served, command, environment, rows

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(connection.vendor != "sqlite", reason="the demo has its own SQLite file on any server"),
]

#: What the demo does not have: a contest in preparation, a small one in the middle of its day, and one just drawn in
#: which sheets are keyed twice and judges may use phones.
MORE = """
from datetime import date, time
from contest.models import Account, Contest, RuleSet, Seat
from contest.rules.ruleset import shipped_text
from contest.services.draw import make_draw
from contest.services.passes import issue_pass, word_of
from contest.services.people import add_entry, add_judge
from contest.services.setup import switch_phones
from contest.services.rulesets import shipped_rule_set
from contest.services.seating import seat_at_random
from contest.services.setup import (
    add_category, change_details, create_contest, create_small_contest, local_moment, set_tables)

organiser = Account.objects.get(username="example-organiser")
own = shipped_text("plain-points").replace('name = "Plain points"', 'name = "Example house rules"')
RuleSet.objects.create(name="Example house rules", document=own, owner=organiser)
create_small_contest(
    organiser=organiser, name="Example Yard Cook-off", date=date(2030, 5, 4), time_zone="UTC",
    categories=[("Ribs", time(13))], team_names=[f"Team {n}" for n in range(1, 9)], judges=4)

def prepare(number, place):
    contest = create_contest(
        organiser=organiser, name=f"Example Cook-off {number}", slug=f"example-cook-off-{number.lower()}", place=place,
        date=date(2030, 6, 1), time_zone="UTC", rule_set=shipped_rule_set("taste-double"))
    for name, hour in (("Chicken", 12), ("Ribs", 13)):
        add_category(contest=contest, name=name, turn_in_at=local_moment(contest, time(hour)))
    set_tables(contest=contest, tables=2, seats=6)
    for n in range(1, 13):
        add_entry(contest=contest, number=n, team_name=f"Team Example {n}")
        add_judge(contest=contest, name=f"Judge Example {n}", contests_judged=n)
    return contest

prepare("Seven", "Example Quay")
drawn = prepare("Eight", "Example Ridge")
seat_at_random(contest=drawn, by="organiser")
change_details(contest=drawn, by="organiser", keying="all")
switch_phones(contest=Contest.objects.get(pk=drawn.pk), on=True, by="organiser")
make_draw(contest=drawn, by="organiser")
seat = Seat.objects.get(table__contest=drawn, table__number=1, letter="B")
print("judge", word_of(issue_pass(opens="seat", contest=drawn, seat=seat)))
waits = Contest.objects.filter(kind="practice", practice__served_at=None).get()
seat = Seat.objects.get(table__contest=waits, table__number=1)
print("taster", word_of(issue_pass(opens="seat", contest=waits, seat=seat)))
"""

#: Pages that no link leads to from where these roles stand, with the reason.
NOT_REACHED = {
    "contest:first_account": "only before the first account",
    "contest:desk_rest": "only once the marks are locked; test_browser_small.py goes there",
    "contest:live": "a part of the day's page, fetched by it",
    "contest:empty_table": "a file",
    "contest:rule_set_download": "a file",
    "reports:past_package_team": "only while a package waits; test_past.py goes there",
    "reports:paper_file": "a file; test_paper_worker.py opens one",
    "reports:paper_job": "a part of the print page, fetched by it",
    "reports:paper_rules": "a style sheet",
    "reports:practice_draw": "a file",
    "reports:practice_serving": "only while the key is open; test_practice_browser.py goes there",
    "reports:practice_file": "a file",
    "reports:practice_sheets": "only where no PDF can be made; test_practice_paper.py goes there",
    "reports:paper_sheets": "only where no PDF can be made; test_paper_page.py goes there",
    "judging:seat_news": "answers a judge's phone in JSON",
    "judging:seat_worker": "a script",
    "reports:revision_package": "a file",
    "judging:doubts": "a part of the tally page, fetched by it",
    "judging:calls": "a part of the rulings page, fetched by it",
    "judging:news": "a part of the captain's page, fetched by it",
}


@pytest.fixture(scope="module")
def site(demo_folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    folder = tmp_path_factory.mktemp("screens")
    shutil.copytree(demo_folder / "demo", folder / "demo")
    made = subprocess.run(
        command("shell", "-v", "0", "-c", MORE), env=environment(folder / "demo"), capture_output=True, text=True
    )
    assert made.returncode == 0, made.stderr
    served = Served(folder, start="demo")
    served.seat_words = dict(line.split() for line in made.stdout.strip().splitlines())
    yield served
    served.close()


@pytest.fixture(scope="module")
def words(site: Served) -> dict[str, str]:
    """Who -> the address with the pass word, as the demo prints them."""
    printed = dict(re.findall(r"^  (\w[^:]*):\s+(http://\S+/in/#\S+)$", site.output(), re.M))
    return {**printed, **{who: f"{site.address}/in/#{word}" for who, word in site.seat_words.items()}}


@pytest.fixture(scope="module")
def states(site: Served) -> dict[str, str]:
    """The contest's slug -> the state in which its pages look alike."""
    found = rows(Path(site.output_file).parent / "demo", "select slug, state, small from contest_contest")
    return {slug: f"{'small ' if small else ''}{state}" for slug, state, small in found}


def kind_of(url: str, states: dict[str, str]) -> tuple[str, str] | None:
    """The view's name and the state of its contest: pages that are alike count once."""
    try:
        match = resolve(urlsplit(url).path)
    except Resolver404:
        return None
    return match.view_name, states.get(match.kwargs.get("slug", ""), "")


def links_on(page: Page, address: str) -> list[str]:
    found = page.eval_on_selector_all("a[href]:not([download])", "links => links.map(link => link.href)")
    return [link.partition("#")[0] for link in found if link.startswith(address)]


def look_up(page: Page, url: str) -> tuple[int, bool]:
    """The status, and whether it is a page: files to download are not shown by a browser."""
    answer = page.request.get(url)
    return answer.status, answer.headers.get("content-type", "").startswith("text/html")


ROLES = (
    "visitor", "organiser", "head judge", "tally clerk", "turn-in desk", "captain of table 1", "announcer",
    "judge", "taster", "a cook (Team Hazel)",
)  # fmt: skip


class Tour:
    """Walks each role through the site once, whichever test asks first."""

    def __init__(self, site: Served, words: dict[str, str], states: dict[str, str], browser: Browser) -> None:
        self.site, self.words, self.states, self.browser = site, words, states, browser
        self.faults: dict[str, list[str]] = {}
        self.reached: dict[str, set[str]] = {}
        self.pictured: set[tuple[str, str]] = set()  # a page looks the same to whoever may open it
        clear_shots()

    def also(self, role: str) -> list[str]:
        """Addresses that are typed, sent by the organiser, or reached by a form."""
        data = Path(self.site.output_file).parent / "demo"
        if role == "visitor":
            ((slug, key),) = rows(
                data,
                "select contest.slug, entry.sheet_key from contest_entry entry "
                "join contest_contest contest on contest.id = entry.contest_id "
                "where contest.slug = 'example-cook-off-five' and entry.number = 1",
            )
            return ["/in/", f"/r/{slug}/sheet/{uuid.UUID(key)}/"]
        if role == "organiser":
            ((own,),) = rows(data, "select id from contest_ruleset where name = 'Example house rules'")
            drawn = "/c/example-cook-off-eight"
            return [
                f"/rules/{own}/edit/",
                "/c/example-cook-off-six/windows/delay/?minutes=10",
                f"{drawn}/draw/again/",
                f"{drawn}/marks/chicken/1/A/again/",
                f"{drawn}/differences/",
            ]
        return []

    def walk(self, role: str) -> list[str]:
        if role not in self.faults:
            context = self.browser.new_context(reduced_motion="reduce")
            self.faults[role], self.reached[role] = self._walk(role, context.new_page())
            context.close()
        return self.faults[role]

    def _walk(self, role: str, page: Page) -> tuple[list[str], set[str]]:
        page.goto(self.words.get(role, f"{self.site.address}/in/" if role == "visitor" else "no pass word"))
        if role != "visitor":
            page.wait_for_url(lambda url: "/in/" not in url)
            page.get_by_role("button", name="Sign out").wait_for()
        more = [f"{self.site.address}{path}" for path in ("/", *self.also(role))]
        waiting, seen, faults = [page.url, *more], set(), []
        while waiting:
            url = waiting.pop(0)
            kind = kind_of(url, self.states)
            if kind is None or kind in seen:
                continue
            seen.add(kind)
            status, is_page = look_up(page, url)
            if status != 200:
                faults.append(f"{role} is led to {url}, which answers {status}")
            if status != 200 or not is_page:
                continue
            page.goto(url)
            if kind not in self.pictured:
                self.pictured.add(kind)
                faults += faults_of(page, "-".join([*kind[0].split(":"), kind[1]]).rstrip("-").replace(" ", "-"))
            waiting += links_on(page, self.site.address)
        return faults, {view for view, _ in seen}


@pytest.fixture(scope="module")
def tour(site: Served, words: dict[str, str], states: dict[str, str], browser: Browser) -> Tour:
    return Tour(site, words, states, browser)


@pytest.mark.parametrize("role", ROLES)
def test_every_page_that_a_role_reaches(role: str, tour: Tour) -> None:
    faults = tour.walk(role)
    assert faults == [], "\n" + "\n".join(faults)


def test_no_page_was_left_out(tour: Tour) -> None:
    for role in ROLES:
        tour.walk(role)
    reached = set().union(*tour.reached.values())
    shown = {view_name(route) for route, pattern in walk(get_resolver()) if answers_get(pattern)}
    left_out = sorted(shown - reached - set(NOT_REACHED))
    assert left_out == [], ", ".join(left_out)


def answers_get(pattern: URLPattern) -> bool:
    """Whether the view is a page: those that only take a form's answer refuse a GET before anything else."""
    request = RequestFactory().get("/")
    request.viewer = Viewer()
    with suppress(Exception):
        return pattern.callback(request).status_code != 405
    return True


def view_name(route: str) -> str:
    filled = re.sub(r"<uuid:\w+>", "00000000-0000-0000-0000-000000000000", route)
    filled = re.sub(r"<int:\w+>", "1", filled)
    filled = re.sub(r"<(\w+:)?\w+>", "a", filled)
    match = resolve("/" + filled)
    return match.view_name
