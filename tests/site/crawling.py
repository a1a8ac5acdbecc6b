"""A site to send nonsense to: contests in every state, somebody signed in for every role, and the forms they are shown.

What `crawl` finds is what a browser would offer: links, and forms with their fields as they stand. Nothing here looks
into the site's code.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time
from html.parser import HTMLParser
from urllib.parse import urljoin, urlsplit

from django.http import HttpResponse
from django.test import Client
from django.urls import Resolver404, resolve

from contest.models import Contest, Judge, RuleSet, Team, TeamMember
from contest.rules.ruleset import shipped_text
from contest.services.setup import create_small_contest
from judging.services.captain import call_head_judge
from judging.services.cards import hand_in_sheet
from judging.services.tally import close_tally
from reports.cook.cooklog import keep_own_day
from reports.cook.past import keep_result
from reports.practice.evening import serve
from reports.practice.setup import set_up
from tests import factories
from tests.running import close_and_publish, run_day

ACCOUNTS = ("organiser", "announcer", "head_judge", "tally", "desk")
#: What somebody may call a team, a judge or a place; nothing of it may become part of a page's structure.
HOSTILE = """"><script>alert(1)</script><img src=x onerror="alert(1)">{{7*7}}' onfocus='=1+2"""
PASSES = ("desk pass", "captain", "judge")


@dataclass
class Field:
    name: str
    kind: str
    values: list[str] = field(default_factory=list)


@dataclass
class Form:
    """A form as a page shows it: `fields` with the values it would send."""

    action: str
    method: str = "get"
    fields: list[Field] = field(default_factory=list)

    @property
    def has_file(self) -> bool:
        return any(each.kind == "file" for each in self.fields)


class Page(HTMLParser):
    """The links and forms of a page; parts that htmx fetches count as links, its posts as forms."""

    def __init__(self, url: str, text: str) -> None:
        super().__init__()
        self.url, self.links, self.forms = url, [], []
        self._by_id: dict[str, Form] = {}
        self._form: Form | None = None
        self._select: Field | None = None
        self._area: Field | None = None
        self._outside: list[tuple[str, Field]] = []
        self.feed(text)
        for owner, found in self._outside:
            if owner in self._by_id:
                self._by_id[owner].fields.append(found)

    def handle_starttag(self, tag: str, attributes: list[tuple[str, str | None]]) -> None:
        had = {name: value or "" for name, value in attributes}
        for name in ("href", "hx-get") if tag != "link" else ():
            if name in had:
                self.links.append(urljoin(self.url, had[name]))
        if tag == "form":
            action = urljoin(self.url, had.get("action", ""))
            self._form = Form(action, had.get("method", "get").lower())
            self.forms.append(self._form)
            self._by_id[had.get("id", "")] = self._form
        elif tag in ("input", "button", "select", "textarea") and had.get("name"):
            self._add(tag, had)
        elif tag == "option" and self._select is not None:
            self._select.values.append(had.get("value", ""))

    def _add(self, tag: str, had: dict[str, str]) -> None:
        kind = had.get("type", "text") if tag in ("input", "button") else tag
        made = Field(had["name"], kind, [] if tag in ("select", "textarea") else [had.get("value", "on")])
        self._select = made if tag == "select" else self._select
        self._area = made if tag == "textarea" else None
        if "form" in had:
            self._outside.append((had["form"], made))
        elif self._form is not None:
            self._form.fields.append(made)

    def handle_data(self, data: str) -> None:
        if self._area is not None:
            self._area.values.append(data.strip("\n"))

    def handle_endtag(self, tag: str) -> None:
        if tag == "form":
            self._form = None
        elif tag == "select":
            self._select = None
        elif tag == "textarea":
            self._area = None


def named_to_harm(contest: Contest) -> Contest:
    """The contest's place, one of its teams and one of its judges bear a name that is an attack."""
    Contest.objects.filter(pk=contest.pk).update(place=HOSTILE)
    entry = contest.entries.get(number=2)
    Team.objects.filter(pk=entry.team_id).update(name=HOSTILE, head_cook=HOSTILE, home=HOSTILE)
    Judge.objects.filter(pk=contest.attendances.first().judge_id).update(name=HOSTILE)
    contest.refresh_from_db()
    return contest


class World:
    """Contests in every state, with one account for each role in all of them, and a stranger's contest."""

    def __init__(self) -> None:
        self.people = {part: factories.make_account() for part in ACCOUNTS}
        self.contests = [self._preparing(), self._sealed(), self._small(), self._closed(), self._published()]
        for contest in self.contests:
            for part, account in self.people.items():
                factories.give_part(contest, part, account)
        self.sealed, self.published = self.contests[1], self.contests[-1]
        other = factories.make_drawn(teams=3)
        admin = factories.make_account()
        admin.is_staff = admin.is_superuser = True
        admin.save()
        own = shipped_text("plain-points").replace('name = "Plain points"', 'name = "Example house rules"')
        RuleSet.objects.create(name="Example house rules", document=own, owner=self.people["organiser"])
        self.clients = {
            "visitor": Client(),
            "administrator": self._signed_in(admin),
            "cook": self._signed_in(self._cook()),
            "other organiser": self._signed_in(factories.give_part(other, "organiser")),
            **{part: self._signed_in(account) for part, account in self.people.items()},
            **{part: factories.client_for(self.sealed, part) for part in PASSES},
            "taster": factories.client_for(self.practice.contest, "judge"),
        }
        for client in self.clients.values():
            client.raise_request_exception = False

    @staticmethod
    def _signed_in(account: object) -> Client:
        client = Client()
        client.force_login(account, backend="django.contrib.auth.backends.ModelBackend")
        return client

    @staticmethod
    def _preparing() -> Contest:
        return named_to_harm(factories.make_contest(teams=4, tables=2))

    @staticmethod
    def _sealed() -> Contest:
        made = named_to_harm(factories.make_drawn(teams=6, tables=2, phones=True, keying="all"))
        chicken = made.categories.get(key="chicken")
        factories.take_in(made, boxes=list(made.boxes.filter(category=chicken)))
        seat = made.tables.get(number=1).seats.get(letter="A")
        marks = dict.fromkeys(["appearance", "taste", "tenderness"], "7")
        boxes = made.boxes.filter(category=chicken, table__number=1)
        hand_in_sheet(contest=made, category=chicken, seat=seat, by="clerk", marks={box.number: marks for box in boxes})
        call_head_judge(contest=made, table=seat.table, category=chicken, about="number", text="2?1", by="captain")
        return made

    def _small(self) -> Contest:
        return create_small_contest(
            organiser=self.people["organiser"], name="Example Yard Cook-off", date=date(2026, 7, 4), time_zone="UTC",
            categories=[("Ribs", time(13))], team_names=["Team Ash", "Team Elder", "Team Plum"], judges=4,
        )  # fmt: skip

    @staticmethod
    def _closed() -> Contest:
        made = factories.make_drawn(teams=4)
        factories.take_in(made)
        factories.mark_everything(made)
        close_tally(contest=made, by="clerk")
        made.refresh_from_db()
        return made

    @staticmethod
    def _published() -> Contest:
        return close_and_publish(run_day(before=named_to_harm))

    def _cook(self) -> object:
        account = factories.make_account()
        for contest in (self.contests[1], self.published):
            team = contest.entries.get(number=1).team
            TeamMember.objects.create(team=team, account=account)
            self.team = team
        turn_in = datetime(2026, 8, 1, 12, tzinfo=UTC)
        keep_own_day(
            team=team, row=None, name="Example Yard", date=date(2026, 8, 1), time_zone="UTC",
            dishes=[("ribs", "Ribs", turn_in)],
        )  # fmt: skip
        keep_result(
            team=team, contest_name="Example Cook-off Zero", date=date(2025, 9, 20), category="Ribs", place=3, field=9
        )
        self.practice = set_up(
            team=team, dish="Ribs", question="triangle", versions=[HOSTILE[:40], "hickory"],
            tasters=["Hazel", "Linden"], rule_set=self.published.rule_set, time_zone="UTC", by="cook",
        )  # fmt: skip
        serve(practice=self.practice, by="cook")
        return account

    def starts(self, role: str) -> Iterator[str]:
        """Where a role begins, beside the front page: what is typed, printed or sent to somebody."""
        yield "/"
        for contest in self.contests:
            yield f"/c/{contest.slug}/"
            yield f"/r/{contest.slug}/"
        sealed = f"/c/{self.sealed.slug}"
        yield from (f"{sealed}/seat/", f"{sealed}/table/1/", f"{sealed}/desk/", "/in/", "/sign-in/", "/teams/")
        yield from (f"{sealed}/draw/again/", f"{sealed}/marks/chicken/1/A/again/", f"{sealed}/rulings/?box=201")
        yield from (f"/c/{self.practice.contest.slug}/tasting/", f"{sealed}/seal/", f"{sealed}/backups/", "/password/")
        yield from (f"{sealed}/desk/?find=201", f"{sealed}/windows/delay/?minutes=10")
        yield f"/r/{self.published.slug}/sheet/{self.published.entries.get(number=2).sheet_key}/claim/"
        if role == "administrator":
            yield "/site-admin/"


@dataclass
class Tour:
    """What a role met: the answer of every address, and each form once."""

    answers: dict[str, HttpResponse] = field(default_factory=dict)
    forms: list[Form] = field(default_factory=list)


def crawl(client: Client, starts: Iterator[str]) -> Tour:
    """Follow every link once for each kind of page and contest."""
    answers: dict[str, HttpResponse] = {}
    forms: dict[tuple[str, ...], Form] = {}
    waiting, seen = list(starts), set()
    while waiting:
        url = waiting.pop(0)
        parts = urlsplit(url)
        try:
            found = resolve(parts.path)
        except Resolver404:
            continue
        kind = (found.view_name, found.kwargs.get("slug"), str(found.args), parts.query.partition("=")[0])
        if parts.netloc or kind in seen or found.view_name == "admin:jsi18n":
            continue
        seen.add(kind)
        answer = client.get(url)
        answers[url] = answer
        if answer.status_code == 302:
            waiting.append(answer["Location"])
        if answer.status_code != 200 or not answer["Content-Type"].startswith("text/html"):
            continue
        page = Page(url, answer.content.decode())
        waiting += page.links
        for form in page.forms:
            path = urlsplit(form.action).path
            forms.setdefault((path, form.method, *sorted({each.name for each in form.fields})), form)
    return Tour(answers, list(forms.values()))
