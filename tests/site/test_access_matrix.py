"""Who may open which page: every URL of the site × every role × a sealed and a published contest.

The table below is written down apart from the marks on the views. A URL that is missing from it fails the test, so
that no page goes out without somebody having decided who may see it.

What a role meets where it may not enter: a visitor is asked to sign in (302), whoever does something else in the
contest is refused (403), and for everybody else the contest does not exist (404).
"""

import copy
import re
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import pytest
from django.db import transaction
from django.test import Client
from django.urls import get_resolver

from contest.checks import walk
from contest.models import Contest, RuleSet, TeamMember
from judging.services.tally import close_tally, newest_tally, sign_off
from reports.services import publish
from tests import factories

pytestmark = pytest.mark.django_db

PARTS = ("organiser", "announcer", "head_judge", "tally", "desk", "desk pass", "captain", "judge")
STRANGERS = ("stranger", "cook", "other organiser")
ROLES = ("visitor", *STRANGERS, *PARTS)
ACCOUNTS = (*STRANGERS, "organiser", "announcer", "head_judge", "tally", "desk")

EVERYBODY = "anyone"
ANY_ACCOUNT = "accounts"
MEMBERS = "members of the team"


@dataclass(frozen=True)
class Row:
    """`who` may enter: parts of the contest, or EVERYBODY, or ANY_ACCOUNT. An allowed GET answers 200, an allowed
    POST anything that is no refusal; `sealed` and `published` name what differs in that state, by role or for "all".
    """

    who: str
    method: str = "GET"
    sealed: dict[str, int] = field(default_factory=dict)
    published: dict[str, int] = field(default_factory=dict)
    data: dict[str, str] = field(default_factory=dict)


def post(who: str, **more: Any) -> Row:
    return Row(who, "POST", **more)


TO_SIGN_IN = -302
MOVED = 302  # to another page of the site, not to the way in
TO_THEIR_ROOM = dict.fromkeys(["desk pass", "captain"], MOVED)
DRAWN = {"organiser": 404}  # nothing is added any more
NOT_OWN = dict.fromkeys(ACCOUNTS, 404)
NO_SECOND = dict.fromkeys(["organiser", "tally"], 404)
NONE_THERE = {"cook": 404}  # the team typed in no day and no result of its own
PRINTERS = "organiser announcer head_judge tally desk"
TO_PRINT = dict.fromkeys([*PRINTERS.split(), "desk pass"], MOVED)
NO_PRINT = dict.fromkeys([*PRINTERS.split(), "desk pass"], 404)  # nothing of that key was printed
NONE_YET = {"cook": 404}
NOT_YET = {"all": 404}  # to everybody as if there were no such page
NO_TOKEN = {"all": 401}
TABLE: dict[str, Row] = {
    # the ways in
    "": Row(EVERYBODY, sealed=TO_THEIR_ROOM, published={"desk pass": MOVED}),
    "start/": Row(EVERYBODY, sealed={"all": MOVED}, published={"all": MOVED}),  # there is an account already
    "sign-in/": Row(EVERYBODY),
    "sign-out/": post(EVERYBODY),
    "in/": Row(EVERYBODY),
    "password/": Row(ANY_ACCOUNT),
    # a contest's own pages
    "c/<slug:slug>/": Row("organiser head_judge tally announcer"),
    "c/<slug:slug>/live/": Row("organiser head_judge tally announcer"),
    "c/<slug:slug>/rules/": Row("organiser head_judge tally announcer desk captain judge"),
    # set-up
    "new/": Row(ANY_ACCOUNT),
    "new/small/": Row(ANY_ACCOUNT),
    "c/<slug:slug>/set-up/": Row("organiser"),
    "c/<slug:slug>/set-up/tables/": post("organiser"),
    "c/<slug:slug>/set-up/one-person/": post("organiser"),
    "c/<slug:slug>/set-up/phones/": post("organiser"),
    "c/<slug:slug>/set-up/delete/": post("organiser"),
    "c/<slug:slug>/set-up/category/": Row("organiser", sealed=DRAWN, published=DRAWN),
    "c/<slug:slug>/set-up/category/<slug:key>/": Row("organiser"),
    "c/<slug:slug>/set-up/category/<slug:key>/remove/": post("organiser"),
    # people
    "c/<slug:slug>/teams/": Row("organiser"),
    "c/<slug:slug>/teams/categories/": post("organiser"),
    "c/<slug:slug>/teams/import/": Row("organiser"),
    "c/<slug:slug>/teams/<int:number>/": Row("organiser"),
    "c/<slug:slug>/teams/<int:number>/withdraw/": post("organiser"),
    "c/<slug:slug>/teams/<int:number>/back-in/<slug:key>/": post("organiser"),
    "c/<slug:slug>/teams/<int:number>/remove/": post("organiser"),
    "c/<slug:slug>/judges/": Row("organiser"),
    "c/<slug:slug>/judges/absent/": post("organiser"),
    "c/<slug:slug>/judges/import/": Row("organiser"),
    "c/<slug:slug>/judges/<uuid:uid>/": Row("organiser"),
    "c/<slug:slug>/judges/<uuid:uid>/remove/": post("organiser"),
    "c/<slug:slug>/judges/<uuid:uid>/erase/": post("organiser"),
    "c/<slug:slug>/empty-<slug:kind>.<slug:ending>": Row("organiser"),
    "c/<slug:slug>/check-in/": Row("organiser desk"),
    "c/<slug:slug>/check-in/<int:number>/": post("organiser desk"),
    "c/<slug:slug>/seating/": Row("organiser head_judge tally"),
    "c/<slug:slug>/seating/at-random/": post("organiser"),
    "c/<slug:slug>/seating/seat/": post("organiser"),
    "c/<slug:slug>/seating/exchange/": post("organiser"),
    # helpers
    "c/<slug:slug>/helpers/": Row("organiser"),
    "c/<slug:slug>/helpers/known/": post("organiser"),
    "c/<slug:slug>/helpers/<int:account>/roles/": post("organiser"),
    "c/<slug:slug>/helpers/slips/": Row("organiser"),
    "c/<slug:slug>/helpers/new-pass/": post("organiser", data={"for": "desk"}),
    # rule sets: the shipped ones are everybody's to read, changing them is nobody's
    "rules/": Row(ANY_ACCOUNT),
    "rules/upload/": Row(ANY_ACCOUNT),
    "rules/<int:number>/": Row(ANY_ACCOUNT),
    "rules/<int:number>/edit/": Row(ANY_ACCOUNT, sealed=NOT_OWN, published=NOT_OWN),
    "rules/<int:number>/copy/": post(ANY_ACCOUNT),
    "rules/<int:number>/delete/": post(ANY_ACCOUNT, sealed=NOT_OWN, published=NOT_OWN),
    "rules/<int:number>/rule-set.toml": Row(ANY_ACCOUNT),
    # draw and desk: whoever knows whose box is whose sees no marks, and the other way round
    "c/<slug:slug>/draw/": Row("organiser"),
    "c/<slug:slug>/draw/make/": post("organiser"),
    "c/<slug:slug>/draw/ceremony/": post("organiser"),
    "c/<slug:slug>/draw/again/": Row("organiser"),
    "c/<slug:slug>/seal/": Row("organiser"),
    "c/<slug:slug>/boxes-in/": Row("organiser"),
    "c/<slug:slug>/desk/": Row("desk"),
    "c/<slug:slug>/desk/record/": post("desk"),
    "c/<slug:slug>/desk/undo/<str:number>/": Row("desk"),
    "c/<slug:slug>/desk/absent/": post("desk"),
    "c/<slug:slug>/desk/rest/": Row("desk"),
    "c/<slug:slug>/desk/ledger/": Row("desk"),
    "c/<slug:slug>/desk/labels/": Row("desk"),
    "c/<slug:slug>/windows/": Row("organiser desk"),
    "c/<slug:slug>/windows/delay/": Row("organiser desk", data={"minutes": "10"}),
    "c/<slug:slug>/windows/cancel/<slug:key>/": Row("organiser desk"),
    # marks and tally
    "c/<slug:slug>/marks/": Row("organiser tally"),
    "c/<slug:slug>/marks/<slug:category>/<int:table>/<str:seat>/": Row("organiser tally"),
    "c/<slug:slug>/marks/<slug:category>/<int:table>/<str:seat>/written/": Row("organiser tally"),
    # sheets are keyed once in this contest: there is no second keying
    "c/<slug:slug>/marks/<slug:category>/<int:table>/<str:seat>/again/": Row(
        "organiser tally", sealed=NO_SECOND, published=NO_SECOND
    ),
    "c/<slug:slug>/differences/": Row("organiser tally"),
    "c/<slug:slug>/table/<int:table>/": Row("organiser head_judge tally captain"),
    "c/<slug:slug>/table/<int:table>/news/": Row("organiser head_judge tally captain", data={"category": "chicken"}),
    "c/<slug:slug>/rulings/": Row("head_judge"),
    "c/<slug:slug>/rulings/calls/": Row("head_judge"),
    "c/<slug:slug>/tally/": Row("organiser head_judge tally"),
    "c/<slug:slug>/tally/doubts/": Row("organiser head_judge tally"),
    "c/<slug:slug>/tally/lock/": post("organiser head_judge tally"),
    "c/<slug:slug>/tally/unlock/": post("organiser head_judge"),
    "c/<slug:slug>/tally/close/": post("organiser head_judge tally"),
    "c/<slug:slug>/tally/sign/<int:revision>/": post("head_judge", sealed={"head_judge": 404}),  # nothing to sign yet
    "c/<slug:slug>/tally/revise/": post("organiser head_judge"),
    "c/<slug:slug>/tally/box/<str:number>/": Row("organiser head_judge tally"),
    "c/<slug:slug>/seat/": Row("judge"),
    "c/<slug:slug>/seat/worker.js": Row(EVERYBODY),
    # for phones: a seat's token opens, never a cookie
    "api/cards/": post("", sealed=NO_TOKEN, published=NO_TOKEN),
    "api/seat/": Row("", sealed=NO_TOKEN, published=NO_TOKEN),
    # print: every room's people; what each may print, and when, is tested with the papers
    "c/<slug:slug>/paper/": Row(PRINTERS),
    "c/<slug:slug>/paper/print/": post(PRINTERS, data={"what": "cooks"}),
    "c/<slug:slug>/paper/rules/<slug:what>.css": Row(PRINTERS),
    "c/<slug:slug>/paper/sheets/<slug:what>/": Row(PRINTERS),
    "c/<slug:slug>/paper/<uuid:key>/": Row(PRINTERS, sealed=TO_PRINT, published=TO_PRINT),
    "c/<slug:slug>/paper/<uuid:key>/<str:name>": Row(PRINTERS, sealed=NO_PRINT, published=NO_PRINT),
    # names and results
    "c/<slug:slug>/names/": Row("organiser announcer"),
    "c/<slug:slug>/names/publish/": post("organiser"),
    "c/<slug:slug>/backups/": Row("organiser"),
    "c/<slug:slug>/sheets/": Row("organiser"),
    "c/<slug:slug>/sheets/slips/": Row("organiser"),
    "c/<slug:slug>/sheets/slips/<int:number>/": Row("organiser"),
    "r/<slug:slug>/": Row(EVERYBODY, sealed=NOT_YET),
    "r/<slug:slug>/table/": Row(EVERYBODY, sealed=NOT_YET),
    "r/<slug:slug>/revision/<int:revision>/": Row(EVERYBODY, sealed=NOT_YET),
    "r/<slug:slug>/results.csv": Row(EVERYBODY, sealed=NOT_YET),
    "r/<slug:slug>/results.xlsx": Row(EVERYBODY, sealed=NOT_YET),
    "r/<slug:slug>/revision/<int:revision>/<int:number>/": Row(EVERYBODY, sealed=NOT_YET),
    "r/<slug:slug>/revision/<int:revision>/<slug:key>/<int:number>/": Row(EVERYBODY, sealed=NOT_YET),
    "r/<slug:slug>/package.zip": Row(EVERYBODY, sealed=NOT_YET),
    "r/<slug:slug>/revision/<int:revision>/package.zip": Row(EVERYBODY, sealed=NOT_YET),
    # the sums of the draw are everybody's from the draw on, its secret and its list with the result
    "r/<slug:slug>/draw/": Row(EVERYBODY),
    "r/<slug:slug>/draw/<str:name>": Row(EVERYBODY, sealed=NOT_YET),
    # a team's own sheet: whoever has the link
    "r/<slug:slug>/sheet/<uuid:key>/": Row(EVERYBODY, sealed=NOT_YET),
    "r/<slug:slug>/sheet/<uuid:key>/claim/": Row(EVERYBODY, sealed=NOT_YET),
    "teams/": Row(ANY_ACCOUNT),
    "teams/<uuid:team>/": Row(MEMBERS),
    # a team's season: nothing of it before the first result is published
    "teams/<uuid:team>/season/": Row(MEMBERS),
    "teams/<uuid:team>/season/<slug:group>/": Row(MEMBERS, sealed=NONE_YET),
    "teams/<uuid:team>/season/<slug:group>/boxes.csv": Row(MEMBERS, sealed=NONE_YET),
    "teams/<uuid:team>/season/<slug:group>/boxes.xlsx": Row(MEMBERS, sealed=NONE_YET),
    "teams/<uuid:team>/season/<slug:group>/tables/": Row(MEMBERS, sealed=NONE_YET),
    "teams/<uuid:team>/season/<slug:group>/trends/": Row(MEMBERS, sealed=NONE_YET),
    "teams/<uuid:team>/season/<slug:group>/fit/": post(MEMBERS, sealed=NONE_YET, published={"cook": MOVED}),
    "teams/<uuid:team>/box/<slug:slug>/<slug:key>/": Row(MEMBERS, sealed=NONE_YET),
    "c/<slug:slug>/agreement/": Row("organiser head_judge"),
    "c/<slug:slug>/agreement/places/": Row("organiser head_judge"),
    "c/<slug:slug>/agreement/fit/": post("organiser head_judge"),
    # a team's own plan, log and results from elsewhere: private to its accounts
    "teams/<uuid:team>/plan/": Row(MEMBERS),
    "teams/<uuid:team>/plan/<uuid:day>/": Row(MEMBERS),
    "teams/<uuid:team>/plan/<uuid:day>/lengths/<slug:key>/": Row(MEMBERS),
    "teams/<uuid:team>/plan/<uuid:day>/change/": Row(MEMBERS, sealed=NONE_THERE, published=NONE_THERE),
    "teams/<uuid:team>/plan/<uuid:day>/delete/": post(MEMBERS, sealed=NONE_THERE, published=NONE_THERE),
    "teams/<uuid:team>/log/": Row(MEMBERS),
    "teams/<uuid:team>/log/fields/": Row(MEMBERS),
    "teams/<uuid:team>/log/<uuid:day>/<slug:key>/": Row(MEMBERS),
    "teams/<uuid:team>/past/": Row(MEMBERS),
    "teams/<uuid:team>/past/<int:number>/": Row(MEMBERS, sealed=NONE_THERE, published=NONE_THERE),
    "teams/<uuid:team>/past/import/": Row(MEMBERS),
    "teams/<uuid:team>/past/past-results.<slug:ending>": Row(MEMBERS),
    "teams/<uuid:team>/past/package/": Row(MEMBERS),
    "teams/<uuid:team>/past/package/<int:number>/": Row(MEMBERS, sealed=NONE_THERE, published=NONE_THERE),
    "teams/<uuid:team>/past/package/<int:number>/delete/": post(MEMBERS, sealed=NONE_THERE, published=NONE_THERE),
}


def expected(row: Row, role: str, state: str) -> int | None:
    """The status that `role` must meet; None for an allowed POST, whose answer is its form's business."""
    exceptions = getattr(row, state)
    if state == "published" and role in ("captain", "judge"):
        role = "visitor"  # passes of tables and seats end when the tally is closed
    if role in exceptions or "all" in exceptions:
        return exceptions.get(role, exceptions.get("all"))
    if row.who == MEMBERS:
        return 200 if role == "cook" else 404 if role in ACCOUNTS else TO_SIGN_IN
    part = "desk" if role == "desk pass" else role
    if row.who == EVERYBODY or (row.who == ANY_ACCOUNT and role in ACCOUNTS) or part in row.who.split():
        return 200 if row.method == "GET" else None
    if role == "visitor" or row.who == ANY_ACCOUNT:
        return TO_SIGN_IN
    return 403 if role in PARTS else 404


def is_right(wanted: int | None, response: Any) -> bool:
    to_sign_in = response.status_code == 302 and response["Location"].startswith("/sign-in/?next=")
    if wanted is None:
        return response.status_code in (200, 204, 302, 422) and not to_sign_in
    if wanted == TO_SIGN_IN:
        return to_sign_in
    if wanted == MOVED:
        return response.status_code == 302 and not to_sign_in
    return bool(response.status_code == wanted)


class World:
    """A contest in one state, with a client for every role."""

    def __init__(self, state: str) -> None:
        self.contest = factories.make_drawn(teams=6, tables=2)
        factories.take_in(self.contest)
        factories.mark_everything(self.contest)
        if state == "published":
            tally = close_tally(contest=self.contest, by="clerk")
            sign_off(tally=tally, by="head judge")
            publish(contest=self.contest, by="organiser")
        self.contest.refresh_from_db()
        other = factories.make_contest(teams=1)
        self.entry = self.contest.entries.first()
        self.clients = {role: self._client(role, other) for role in ROLES}
        self.rule_set = RuleSet.objects.filter(shipped_key="").exclude(owner=None).first()

    def _client(self, role: str, other: Contest) -> Client:
        if role == "other organiser":
            client = factories.client_for(other, "organiser")
        elif role == "cook":
            account = factories.make_account()
            TeamMember.objects.create(team=self.entry.team, account=account)
            client = Client()
            client.force_login(account, backend="django.contrib.auth.backends.ModelBackend")
        else:
            client = factories.client_for(self.contest, role)
        client.raise_request_exception = False
        return client

    def url(self, route: str) -> str:
        """The route with its variables filled in from this world."""
        box = self.contest.boxes.order_by("number").first()
        judge = self.contest.attendances.first().judge
        tally = newest_tally(self.contest)
        organiser = self.contest.roles.get(organiser=True).account
        values = {
            "slug": self.contest.slug,
            "key": self.entry.sheet_key if "sheet/" in route or "paper/" in route else box.category.key,
            "what": "cooks",
            "number": RuleSet.objects.first().pk if route.startswith("rules/") else self.entry.number,
            "uid": judge.uid,
            "account": organiser.pk,
            "table": 1,
            "seat": "A",
            "letter": "A",
            "category": box.category.key,
            "box": box.number,
            "revision": tally.revision if tally else 1,
            "team": self.entry.team.uid,
            "group": "year-2026",
            "day": self.contest.uid,
            "kind": "teams",
            "ending": "csv",
            "name": "secret.txt",
        }
        if "<str:number>" in route:
            values["number"] = box.number
        return "/" + re.sub(r"<(?:\w+:)?(\w+)>", lambda found: str(values[found.group(1)]), route)


def routes() -> list[str]:
    return [route for route, _ in walk(get_resolver())]


def test_the_table_has_a_row_for_every_page_and_no_other() -> None:
    assert sorted(set(routes()) - set(TABLE)) == []
    assert sorted(set(TABLE) - set(routes())) == []


@pytest.mark.parametrize("state", ["sealed", "published"])
def test_every_role_meets_what_the_table_says(state: str) -> None:
    world = World(state)
    wrong = []
    for route, row in TABLE.items():
        url = world.url(route)
        for role in ROLES:
            wanted = expected(row, role, state)
            client = world.clients[role]
            send: Callable[..., Any] = client.get if row.method == "GET" else client.post
            cookies = copy.deepcopy(client.cookies)
            with transaction.atomic():
                response = send(url, row.data)
                transaction.set_rollback(True)
            client.cookies = cookies  # who signed out is signed in again
            if not is_right(wanted, response):
                found = f"{response.status_code} {response.get('Location', '')}"
                wrong.append(f"{row.method} {url} as {role}: wanted {wanted or 'to be let in'}, met {found}")
    assert wrong == [], "\n" + "\n".join(wrong)


def test_a_captain_opens_only_the_own_table() -> None:
    world = World("sealed")
    of_other_table = factories.client_for(world.contest, "captain", table=2)
    own = f"/c/{world.contest.slug}/table/2/"
    assert of_other_table.get(own).status_code == 200
    assert of_other_table.get(own.replace("/2/", "/1/")).status_code == 403
