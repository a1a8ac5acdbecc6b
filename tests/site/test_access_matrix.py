"""Who may do what: every page × every method × every role, of this contest or another, × every state of a contest.

The table in `tests/site/pages.py` is written down apart from the marks on the views. A URL that is missing from it
fails the test, so that no page goes out without somebody having decided who may see it.

What a role meets where it may not enter: a visitor is asked to sign in (302), whoever does something else in the
contest is refused (403), and for everybody else the contest does not exist (404). A refused request writes nothing.
"""

import copy
import itertools
import re
from collections.abc import Callable
from typing import Any

import pytest
from django.apps import apps
from django.contrib import admin
from django.core.exceptions import ValidationError
from django.db import IntegrityError, connection, transaction
from django.http import HttpResponse
from django.test import Client

from contest.models import Account, Contest, ContestRole, TeamMember
from contest.services.passes import issue_pass, word_of
from contest.services.roles import give_role, make_helper, set_roles
from judging.services.tally import close_tally, sign_off
from reports.results.publishing import publish
from tests import factories
from tests.site import pages
from tests.site.belongings import give_belongings
from tests.site.pages import ACCOUNTS, ANY_ACCOUNT, EVERYBODY, MEMBERS, MOVED, PARTS, ROLES, STATES, TABLE, TO_SIGN_IN
from tests.site.samples import Sample

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("few_zones", "unrecorded")]
METHODS = ("GET", "POST")
REFUSED = (TO_SIGN_IN, 401, 403, 404, 405)
PRACTICE = {"preparing": "set up", "sealed": "served", "closed": "closed", "published": "closed"}

WRITES = re.compile(r'\s*(?:INSERT(?: OR \w+)? INTO|UPDATE|DELETE FROM) "(\w+)"')
KEPT_BY_REFUSALS = ("django_session", "contest_failedtries")

#: The method is looked at before the person: three roles are enough where it is not among the page's.
WRONG_METHOD = ("visitor", "stranger", "organiser")


def expected(page: pages.Page, method: str, role: str, state: str) -> int | None:
    """The status that `role` must meet; None for an allowed POST, whose answer is its form's business."""
    if method not in page.methods:
        return 405
    if role in pages.END_AT_CLOSING and state in ("closed", "published"):
        role = "visitor"
    exceptions = getattr(page, state)
    if role in exceptions or "all" in exceptions:
        return exceptions.get(role, exceptions.get("all"))
    if page.who == MEMBERS:
        let_in = role == "cook"
    else:
        part = "desk" if role == "desk pass" else role
        let_in = page.who == EVERYBODY or (page.who == ANY_ACCOUNT and role in ACCOUNTS) or part in page.who.split()
    if let_in:
        return 200 if method == "GET" else None
    if role == "visitor" or (page.who in (ANY_ACCOUNT, MEMBERS) and role not in ACCOUNTS):
        return TO_SIGN_IN
    return 403 if role in PARTS and page.who != MEMBERS else 404


def is_right(wanted: int | None, response: HttpResponse) -> bool:
    to_sign_in = response.status_code == 302 and response["Location"].startswith("/sign-in/?next=")
    if wanted is None:
        return response.status_code in (200, 204, 302, 422) and not to_sign_in
    if wanted == TO_SIGN_IN:
        return to_sign_in
    if wanted == MOVED:
        return response.status_code == 302 and not to_sign_in
    return bool(response.status_code == wanted)


def in_state(state: str) -> Contest:
    """A contest of six teams and two tables, as far on as `state`."""
    contest = factories.make_contest(teams=6, tables=2)
    if state != "preparing":
        factories.make_drawn(contest)
        factories.take_in(contest)
        factories.mark_everything(contest)
    if state in ("closed", "published"):
        tally = close_tally(contest=contest, by="clerk")
        if state == "published":
            sign_off(tally=tally, by="head judge")
            publish(contest=contest, by="organiser")
    contest.refresh_from_db()
    return contest


class World:
    """A contest and another one, both in one state, with a client for every role. The cook's practice keeps step."""

    def __init__(self, state: str) -> None:
        self.contest, self.other = in_state(state), in_state(state)
        first = self.contest.entries.order_by("number")[0].team
        give_belongings(first, self.contest.rule_set, stage=PRACTICE[state])
        self.clients = {role: self._client(role) for role in ROLES}
        self.sample = Sample(self.contest)
        self.written: set[str] = set()

    def _client(self, role: str) -> Client:
        if role in ("cook", "other cook"):
            entry = self.contest.entries.order_by("number")[role == "other cook"]
            client = factories.client_for(self.contest, "stranger")
            TeamMember.objects.create(team=entry.team, account_id=client.session["_auth_user_id"])
        elif role == "administrator":
            client = factories.client_for(self.contest, "stranger")
            account = Account.objects.get(pk=client.session["_auth_user_id"])
            account.is_staff = account.is_superuser = True
            account.save()
        elif role.startswith("other "):
            client = factories.client_for(self.other, role.removeprefix("other "))
        else:
            client = factories.client_for(self.contest, role)
        client.raise_request_exception = False
        return client

    def send(self, role: str, method: str, url: str, data: Any) -> HttpResponse:
        """The answer; whatever the request did is undone, signing out included. `written` names the tables that it
        wrote to, those of sessions and of counted wrong tries left out.
        """
        client = self.clients[role]
        cookies = copy.deepcopy(client.cookies)
        self.written = set()
        with transaction.atomic(), connection.execute_wrapper(self._note_writes):
            response = client.get(url, data) if method == "GET" else client.post(url, data)
            transaction.set_rollback(True)
        client.cookies = cookies
        return response

    def _note_writes(
        self, execute: Callable[..., Any], sql: str, params: Any, many: bool, context: dict[str, Any]
    ) -> Any:
        changed = WRITES.match(sql)
        if changed and changed[1] not in KEPT_BY_REFUSALS:
            self.written.add(changed[1])
        return execute(sql, params, many, context)


def data_for(page: pages.Page, sample: Sample) -> dict[str, Any]:
    data = page.valid(sample) if page.valid else {}
    return data if isinstance(data, dict) else {}


def test_the_table_has_a_row_for_every_page_and_no_other() -> None:
    assert sorted(set(pages.routes()) - set(TABLE)) == []
    assert sorted(set(TABLE) - set(pages.routes())) == []


def test_every_argument_of_every_address_has_a_sample() -> None:
    sample = World("sealed").sample
    urls = {route: pages.url_of(route, sample) for route in TABLE}
    assert [route for route, url in urls.items() if "<" in url] == []


@pytest.mark.parametrize("state", STATES)
def test_every_role_meets_what_the_table_says(state: str) -> None:
    world = World(state)
    wrong, let_in_writes = [], 0
    for route, page in TABLE.items():
        url, data = pages.url_of(route, world.sample), data_for(page, world.sample)
        for method in METHODS:
            for role in ROLES if method in page.methods else WRONG_METHOD:
                wanted = expected(page, method, role, state)
                response = world.send(role, method, url, data)
                if not is_right(wanted, response):
                    found = f"{response.status_code} {response.get('Location', '')}"
                    wrong.append(f"{method} {url} as {role}: wanted {wanted or 'to be let in'}, met {found}")
                if wanted in REFUSED and world.written:
                    wrong.append(f"{method} {url} as {role}: refused, and wrote to {sorted(world.written)}")
                let_in_writes += wanted is None and bool(world.written)
    assert wrong == [], "\n" + "\n".join(wrong)
    assert let_in_writes > 20  # writing is noticed where it is allowed


def test_no_team_opens_anothers_things_under_an_address_of_its_own() -> None:
    world = World("sealed")
    first, other = (entry.team for entry in world.contest.entries.select_related("team").order_by("number")[:2])
    asked = 0
    for route, page in TABLE.items():
        if page.who != MEMBERS or not re.search(r"<uuid:(day|practice)>|<int:number>", route):
            continue
        own = pages.urls_of(route, world.sample)[-1]  # of the days the one typed in: those of contests are shared
        for method in page.methods:
            data = data_for(page, world.sample)
            answer = world.send("other cook", method, own.replace(str(first.uid), str(other.uid)), data)
            assert answer.status_code == 404, f"{method} {own}"
            asked += world.send("cook", method, own, data).status_code != 404
    assert asked > 20  # which are there


def test_the_contest_of_a_practice_opens_to_nobody_but_its_tasters() -> None:
    """No page of a contest knows it, whoever asks, its own team included, which has other pages for it. Tasters have
    their plates and the rules by which they mark.
    """
    world = World("sealed")
    practice = Contest.objects.get(uid=world.sample.practice)
    seat = practice.tables.get(number=1).seats.get()
    taster = Client()
    taster.post("/in/", {"word": word_of(issue_pass(opens="seat", contest=practice, seat=seat))})
    world.clients["taster"] = taster
    opened = set()
    for route, page in TABLE.items():
        if not route.startswith(("c/", "r/")):
            continue
        url = pages.url_of(route, world.sample).replace(f"/{world.contest.slug}/", f"/{practice.slug}/", 1)
        for method, role in itertools.product(page.methods, world.clients):
            response = world.send(role, method, url, data_for(page, world.sample))
            if response.status_code not in (403, 404) and not is_right(TO_SIGN_IN, response):
                opened.add((route, method, role))
    scripts = {("c/<slug:slug>/seat/worker.js", "GET", role) for role in world.clients}  # the same for every contest
    own = {(f"c/<slug:slug>/{path}/", method) for path in ("tasting", "seat") for method in METHODS}
    own.add(("c/<slug:slug>/rules/", "GET"))
    assert opened - scripts == {(*each, "taster") for each in own}


def test_a_captain_opens_only_the_own_table() -> None:
    contest = in_state("sealed")
    of_other_table = factories.client_for(contest, "captain", table=2)
    own = f"/c/{contest.slug}/table/2/"
    assert of_other_table.get(own).status_code == 200
    assert of_other_table.get(own.replace("/2/", "/1/")).status_code == 403


def test_the_administration_is_for_administrators_and_shows_nothing_sealed() -> None:
    world = World("sealed")
    for role, client in world.clients.items():
        for url in ("/site-admin/", "/site-admin/contest/account/", "/site-admin/contest/team/add/"):
            status = client.get(url).status_code
            assert status == (200 if role == "administrator" else 302), f"{url} as {role}"
    registered = {model._meta.label for model in admin.site._registry}
    own = {label for label in registered if label.split(".")[0] in ("contest", "judging", "reports")}
    assert own == {"contest.Account", "contest.Season", "contest.Team"}
    for model in apps.get_models():
        if model._meta.app_label in ("contest", "judging", "reports") and model._meta.label not in own:
            address = f"/site-admin/{model._meta.app_label}/{model._meta.model_name}/"
            assert world.clients["administrator"].get(address).status_code == 404, address


BESIDE = ("organiser", "announcer", "head_judge", "tally")


@pytest.mark.parametrize("part", BESIDE)
@pytest.mark.parametrize("first", ["desk", "the other"])
def test_no_service_gives_the_desk_beside_another_part(part: str, first: str) -> None:
    contest = factories.make_contest(teams=2)
    one, two = ("desk", part) if first == "desk" else (part, "desk")
    account = factories.give_part(contest, one)
    factories.give_part(contest, "organiser")
    with pytest.raises(ValidationError, match="turn-in desk"):
        give_role(contest=contest, account=account, part=two, by="organiser")
    with pytest.raises(ValidationError, match="turn-in desk"):
        set_roles(contest=contest, account=account, parts={one, two}, by="organiser")
    with pytest.raises(ValidationError, match="turn-in desk"):
        make_helper(contest=contest, name="Helper Hazel", parts={one, two}, by="organiser")
    assert ContestRole.objects.get(account=account).held == {one}
    assert not Account.objects.filter(first_name="Helper Hazel").exists()


@pytest.mark.parametrize("part", BESIDE)
@pytest.mark.parametrize("way", ["create", "save", "update", "bulk_create", "bulk_update", "sql", "flag", "flag later"])
def test_no_way_into_the_database_gives_the_desk_beside_another_part(part: str, way: str) -> None:
    contest = factories.make_contest(teams=2)
    account = factories.give_part(contest, "desk")
    row, rows = ContestRole.objects.get(account=account), ContestRole.objects.filter(account=account)
    new = {"contest": contest, "account": factories.make_account(), "desk": True, part: True}
    changed = copy.copy(row)
    setattr(changed, part, True)
    ways: dict[str, Callable[[], object]] = {
        "create": lambda: ContestRole.objects.create(**new),
        "save": changed.save,
        "update": lambda: rows.update(**{part: True}),
        "bulk_create": lambda: ContestRole.objects.bulk_create([ContestRole(**new)]),
        "bulk_update": lambda: ContestRole.objects.bulk_update([changed], [part]),
        "sql": lambda: connection.cursor().execute(f"UPDATE contest_contestrole SET {part} = TRUE"),
        # the flag of the row says what the contest does not
        "flag": lambda: ContestRole.objects.create(**new, one_person=True),
        "flag later": lambda: rows.update(**{part: True}, one_person=True),
    }
    with pytest.raises(IntegrityError), transaction.atomic():
        ways[way]()
    assert ContestRole.objects.get().held == {"desk"}


def test_the_flag_of_a_one_person_contest_is_never_cleared() -> None:
    contest = factories.make_contest(teams=2, one_person=True)
    factories.give_part(contest, "organiser")
    with pytest.raises(IntegrityError), transaction.atomic():
        Contest.objects.filter(pk=contest.pk).update(one_person=False)
    assert Contest.objects.get().one_person


def test_a_device_is_signed_in_by_account_or_by_pass_never_by_both() -> None:
    contest = in_state("sealed")
    client = factories.client_for(contest, "desk pass")
    assert client.get(f"/c/{contest.slug}/desk/").status_code == 200
    client.force_login(factories.give_part(contest, "tally"), backend="django.contrib.auth.backends.ModelBackend")
    assert client.get(f"/c/{contest.slug}/desk/").status_code == 403
    assert client.get(f"/c/{contest.slug}/marks/").status_code == 200
    word = word_of(issue_pass(opens="desk", contest=contest))
    assert client.post("/in/", {"word": word}).status_code == 302
    assert client.get(f"/c/{contest.slug}/desk/").status_code == 200
    assert client.get(f"/c/{contest.slug}/marks/").status_code == 403
