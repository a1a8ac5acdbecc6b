"""What each role meets on every page of the site at one moment, to be compared with what it meets on another day.

Every request is undone. Nothing in an answer is masked but the tokens against forged requests.
"""

import copy
import hashlib
import io
import json
import re
from collections.abc import Collection, Iterator
from dataclasses import dataclass
from typing import Any

from django.apps import apps
from django.contrib import admin
from django.core.serializers.json import DjangoJSONEncoder
from django.db import transaction
from django.http import HttpResponse
from django.urls import Resolver404, resolve

from contest.models import ContestRole, LogRow
from reports.paper import catalogue
from tests.reports.papers import print_papers, text_of
from tests.site import pages
from tests.site.forms import ShownForm, forms_on
from tests.site.samples import Sample
from tests.site.scripted_day import Chance, Day

#: Who is never to learn whose box is whose, before the tally is closed.
SEALED_ROLES = (
    "captain 1", "captain 2", "judge", "phone", "head_judge", "tally", "organiser", "announcer", "cook", "other cook",
    "visitor", "stranger", "other organiser", "administrator",
)  # fmt: skip
#: Who is never to learn a mark.
MARKLESS_ROLES = ("desk", "desk pass", "cook", "other cook", "visitor", "stranger", "other organiser", "administrator")
NONSENSE = {"nonsense": "nothing", "box": "999", "number": "x", "reason": "", "sure": "?"}
#: Forms alike on one page are sent so often: the boxes of a table, the teams of a list.
ALIKE = 2

#: What may differ between two days of another pairing: the pairing itself, what the desk wrote, and in which order.
OF_THE_PAIRING = {
    "contest.Pairing", "contest.TurnIn", "contest.LabelCorrection", "contest.LogRow", "contest.LogChain",
    "contest.LogPerson",
}  # fmt: skip


@dataclass(frozen=True)
class Answer:
    status: int
    headers: tuple[tuple[str, str], ...]
    cookies: str
    body: str


Probes = dict[tuple[str, ...], Answer]


class Prober:
    """Asks every page as every role. `covered` gathers what was asked: (route, method, role).

    Without `refused` only the pages are asked that the role may enter.
    """

    def __init__(
        self,
        day: Day,
        chance: Chance,
        roles: Collection[str],
        routes: Collection[str] = pages.TABLE,
        *,
        refused: bool = True,
    ) -> None:
        self.day, self.chance, self.roles, self.routes, self.refused = day, chance, roles, set(routes), refused
        self.alike: dict[tuple[object, ...], int] = {}
        self.sample = Sample(day.contest)
        self.found: Probes = {}
        self.covered: set[tuple[str, str, str]] = set()
        self.sent: set[tuple[str, str]] = set()  # (route, role): posted with something in it

    def probe(self) -> Probes:
        for role in self.roles:
            for route, page in pages.TABLE.items():
                if route in self.routes:
                    self._page(role, route, page)
            if role == "administrator" and self.routes == set(pages.TABLE):
                self._administration(role)
        return self.found

    def _page(self, role: str, route: str, page: pages.Page) -> None:
        data = page.valid(self.sample) if page.valid else {}
        if not may_enter(page, role):
            for method in page.methods if self.refused else ():
                self._ask(role, method, pages.url_of(route, self.sample), **_sent(data))
                self.covered.add((route, method, role))
            return
        for url in pages.urls_of(route, self.sample):
            if "GET" in page.methods:
                asked = "" if isinstance(data, str) or "POST" in page.methods else _query(data)
                for query in (asked, *(f"?{ask(self.sample)}" for ask in page.asks)):
                    self._get(role, route, url + query)
            if "POST" in page.methods:
                wrong = page.wrong(self.sample) if page.wrong else NONSENSE
                for name, given in (("empty", {}), ("valid", data), ("wrong", wrong)):
                    self._post(role, route, url, name, given)

    def _get(self, role: str, route: str, url: str) -> None:
        shown = self._ask(role, "GET", url)
        self.covered.add((route, "GET", role))
        if shown.status_code != 200 or not shown["Content-Type"].startswith("text/html"):
            return
        if route.startswith("c/"):
            self._ask(role, "GET", url, part="htmx", headers={"hx-request": "true"})
        for form in forms_on(shown.content.decode(), url):
            target = _route_of(form.action)
            alike = (role, target, *(re.sub(r"\d+", "", name) for name, _ in form.fields + form.buttons))
            self.alike[alike] = self.alike.get(alike, 0) + 1
            if target in self.routes and self.alike[alike] <= ALIKE:
                self._submit(role, target, form, f"from {url} {self.alike[alike]}")

    def _submit(self, role: str, route: str, form: ShownForm, name: str) -> None:
        fill = pages.TABLE[route].fill
        self._post(role, route, form.action, f"{name} as shown", form.as_shown())
        self._post(role, route, form.action, f"{name} filled in", form.filled(fill))
        self._post(role, route, form.action, f"{name} nonsense", form.nonsense())

    def _post(self, role: str, route: str, url: str, name: str, data: dict[str, Any] | str) -> None:
        self._ask(role, "POST", url, part=name, **_sent(data))
        self.covered.add((route, "POST", role))
        if data and name != "wrong":
            self.sent.add((route, role))

    def _ask(self, role: str, method: str, url: str, part: str = "", **more: Any) -> HttpResponse:
        client = self.day.clients[role]
        cookies = copy.deepcopy(client.cookies)
        key = (role, method, url, part)
        self.chance.again(" ".join(key))
        with transaction.atomic():
            shown = client.get(url, **more) if method == "GET" else client.post(url, **more)
            body = b"".join(shown.streaming_content) if shown.streaming else shown.content
            transaction.set_rollback(True)
        client.cookies = cookies
        headers = tuple(sorted(shown.headers.items()))
        self.found[key] = Answer(shown.status_code, headers, _masked(shown.cookies.output()), _masked(_text(body)))
        return shown

    def _administration(self, role: str) -> None:
        self._ask(role, "GET", "/site-admin/")
        for model in admin.site._registry:
            address = f"/site-admin/{model._meta.app_label}/{model._meta.model_name}/"
            self._ask(role, "GET", address)
            for key in model._default_manager.order_by("pk").values_list("pk", flat=True)[:2]:
                self._ask(role, "GET", f"{address}{key}/change/")

    def papers(self) -> None:
        """The text of everything that a role may print now."""
        for row in ContestRole.objects.filter(contest=self.day.contest).select_related("account").order_by("pk"):
            role = row.account.username
            if role not in self.roles:
                continue
            for paper in catalogue.printable(self.day.contest, row.held):
                key = ("everybody", "PRINT", paper.key, "")
                if key not in self.found:
                    text = text_of(print_papers(self.day.contest, paper.key, address="http://field.test:8000"))
                    self.found[key] = Answer(200, (), "", text)

    def rows(self) -> None:
        """The rows that sealed selectors read, keys included: what no page shows today may be shown tomorrow."""
        for model in apps.get_models():
            label = model._meta.label
            if model._meta.app_label in ("contest", "judging", "reports") and label not in OF_THE_PAIRING:
                rows = list(model._default_manager.order_by("pk").values())
                text = json.dumps(rows, cls=DjangoJSONEncoder, default=str, indent=0)
                self.found["nobody", "ROWS", label, ""] = Answer(200, (), "", text)
        of_cards = LogRow.objects.filter(chain__name="cards").order_by("pk").values()
        self.found["nobody", "ROWS", "log of the cards", ""] = Answer(200, (), "", "\n".join(map(str, of_cards)))


def may_enter(page: pages.Page, role: str) -> bool:
    """Whether the table lets a role of the day in, in the contest's own pages or anywhere."""
    part = role.split(" ")[0] if role.startswith("captain") else "desk" if role == "desk pass" else role
    return (
        page.who == pages.EVERYBODY
        or (page.who == pages.ANY_ACCOUNT and part in pages.ACCOUNTS)
        or (page.who == pages.MEMBERS and role == "cook")
        or part in page.who.split()
    )


def _sent(data: dict[str, Any] | str) -> dict[str, Any]:
    return {"data": data, "content_type": "application/json"} if isinstance(data, str) else {"data": data}


def _query(data: dict[str, Any] | str) -> str:
    return f"?{'&'.join(f'{name}={value}' for name, value in data.items())}" if data else ""


def _route_of(path: str) -> str:
    try:
        return resolve(path).route
    except Resolver404:
        return ""


def _text(body: bytes) -> str:
    """Text as it is; of a PDF its text; of anything else its bytes."""
    if body.startswith(b"%PDF-"):
        import pdfplumber

        return text_of(pdfplumber.open(io.BytesIO(body)))
    try:
        return body.decode()
    except UnicodeDecodeError:
        return hashlib.sha256(body).hexdigest()


def _masked(text: str) -> str:
    text = re.sub(r'name="csrfmiddlewaretoken" value="[^"]*"', "", text)
    return re.sub(r"csrftoken=[^;]*", "", text)


def differences(one: Probes, other: Probes) -> Iterator[str]:
    """Where two days part, each with what stands around the first difference."""
    for key in sorted(set(one) | set(other)):
        a, b = one.get(key), other.get(key)
        if a == b:
            continue
        where = " ".join(filter(None, key))
        if a is None or b is None:
            yield f"{where}: asked on one day only"
            continue
        for name in ("status", "headers", "cookies"):
            if getattr(a, name) != getattr(b, name):
                yield f"{where}: {name} {getattr(a, name)} / {getattr(b, name)}"
        parted = (place for place, (x, y) in enumerate(zip(a.body, b.body, strict=False)) if x != y)
        here = next(parted, min(len(a.body), len(b.body)))
        yield f"{where}: {a.body[max(0, here - 60) : here + 160]} / {b.body[max(0, here - 60) : here + 160]}"
