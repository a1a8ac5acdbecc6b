"""One contest day that runs the same way every time: clock, secrets, uids and pass words included.

What may differ between two runs is given: whose box is whose, and the marks. The desk acts in the order of the
teams, tables and clerk in the order of the boxes. The day stands still at each of `STAGES`, so that somebody can look.
"""

import hashlib
import json
import os
import random
import time
import zipfile
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import replace
from datetime import UTC, date, datetime
from typing import Any
from unittest import mock

import time_machine
from django.apps import apps
from django.core.management.color import no_style
from django.db import connection
from django.http import HttpResponse
from django.test import Client

from contest.models import Account, Box, Contest, Pairing, Pass, RuleSet, TeamMember
from contest.rules import draw as draw_rules
from contest.rules.draw.request import DrawRequest, Placed
from contest.rules.ruleset import shipped_text
from contest.services.passes import issue_pass, word_of
from contest.services.people import add_entry, add_judge
from contest.services.roles import set_roles
from contest.services.seat_tokens import issue_token, text_of
from contest.services.seating import seat_at_random
from contest.services.setup import add_category, create_contest, set_tables, switch_phones
from tests.judging.pages import posted
from tests.site.belongings import give_belongings, packages_from_elsewhere
from tests.site.forms import forms_on

STAGES = ("drawn", "turn-in", "judging", "second turn-in", "locked")
CATEGORIES = ("chicken", "ribs")
TEAMS = tuple(range(1, 11))
SKIP_RIBS = (9, 10)
#: What becomes of a box where it is not taken in on time.
STATUS = {("chicken", 3): "absent", ("chicken", 7): "absent", ("ribs", 2): "late", ("ribs", 6): "refused"}
SWAPPED = (4, 5)  # their labels, in chicken

#: Category -> the teams in another order. Inside each class of teams that nobody sealed may tell apart, the boxes go
#: round in that order: the permutation σ.
Sigma = Mapping[str, Sequence[int]]
SAME: Sigma = {}


def status_of(category: str, team: int) -> str:
    return STATUS.get((category, team), "accepted")


def permuted(placed: Sequence[Placed], request: DrawRequest, sigma: Sigma) -> tuple[Placed, ...]:
    """P∘σ: boxes change teams within equal category, categories entered, turn-in status and forbidden tables."""
    classes: dict[object, list[int]] = {}
    for category, teams in request.entries.items():
        for team in sorted(teams):
            entered = tuple(key for key in request.categories if team in request.entries[key])
            forbidden = frozenset(table for number, table in request.forbidden if number == team)
            kind = (category, entered, status_of(category, team), forbidden)
            classes.setdefault(kind, []).append(team)
    moved: dict[tuple[str, int], int] = {}
    for (category, *_), teams in classes.items():
        order = list(sigma.get(category, TEAMS))
        moved |= {(category, old): new for old, new in zip(teams, sorted(teams, key=order.index), strict=True)}
    return tuple(replace(each, team=moved[each.category, each.team]) for each in placed)


class Chance:
    """What the system's source of chance gives, from a seed that can be set again."""

    def __init__(self) -> None:
        self.again("the day")

    def again(self, seed: str) -> None:
        self.seed, self.count = seed.encode(), 0

    def __call__(self, size: int) -> bytes:
        found = b""
        while len(found) < size:
            self.count += 1
            found += hashlib.sha256(b"%s %d" % (self.seed, self.count)).digest()
        return found[:size]

    # What the system's source of randomness is asked for, by `secrets` too.

    def randbytes(self, size: int) -> bytes:
        return self(size)

    def getrandbits(self, bits: int) -> int:
        size = (bits + 7) // 8
        return int.from_bytes(self(size), "big") >> (size * 8 - bits)

    def random(self) -> float:
        return self.getrandbits(53) / 2**53


_from_file = zipfile.ZipInfo.from_file


def _packed_now(*file: Any, **more: Any) -> zipfile.ZipInfo:
    """A file that goes into a workbook bears its time on the disk, which no frozen clock reaches."""
    found = _from_file(*file, **more)
    found.date_time = time.localtime()[:6]
    return found


@contextmanager
def determined() -> Iterator[tuple[time_machine.Traveller, Chance]]:
    """Clock, chance and the keys of new rows as in every other run."""
    packages_from_elsewhere()  # made once, and not in one of the runs
    chance = Chance()
    with ExitStack() as stack:
        clock = stack.enter_context(time_machine.travel(datetime(2026, 6, 13, 6, tzinfo=UTC), tick=False))
        stack.enter_context(mock.patch.object(os, "urandom", chance))
        for name in ("random", "getrandbits", "randbytes"):
            stack.enter_context(mock.patch.object(random.SystemRandom, name, getattr(chance, name)))
        stack.enter_context(mock.patch.object(zipfile.ZipInfo, "from_file", _packed_now))
        with connection.cursor() as cursor:  # SQLite takes its counters back with the transaction
            for statement in connection.ops.sequence_reset_sql(no_style(), apps.get_models()):
                cursor.execute(statement)
        yield clock, chance


class Day:
    """Everybody of the day at a device of their own, and what they do."""

    def __init__(self, clock: time_machine.Traveller, *, sigma: Sigma = SAME, marks: int = 0) -> None:
        self.clock, self.sigma, self.marks = clock, sigma, marks
        self.clients: dict[str, Client] = {}
        self.contest = self._prepare()

    # Before

    def _prepare(self) -> Contest:
        organiser = self._account("organiser")
        rules = RuleSet.objects.create(name="Taste double", document=shipped_text("taste-double"))
        shared = {"organiser": organiser, "date": date(2026, 6, 13), "time_zone": "UTC", "rule_set": rules}
        contest = create_contest(name="Example Cook-off One", conflicts=Contest.Conflicts.KEPT_APART, **shared)
        create_contest(name="Example Cook-off Two", **{**shared, "organiser": self._account("other organiser")})
        for minutes, key in zip((0, 30), CATEGORIES, strict=True):
            at = datetime(2026, 6, 13, 12, minutes, tzinfo=UTC)
            add_category(contest=contest, name=key.capitalize(), key=key, turn_in_at=at)
        set_tables(contest=contest, tables=2, seats=4)
        ribs = contest.categories.get(key="ribs")
        for number in TEAMS:
            chosen = list(contest.categories.exclude(pk=ribs.pk) if number in SKIP_RIBS else contest.categories.all())
            add_entry(contest=contest, number=number, team_name=f"Team Tree {number}", categories=chosen)
        teams = [entry.team for entry in contest.entries.select_related("team")]
        for number in range(8):
            close_to = [teams[7]] if number == 0 else []
            add_judge(contest=contest, name=f"Judge {'ABCDEFGH'[number]}", contests_judged=number, conflicts=close_to)
        seat_at_random(contest=contest, by="organiser", seed="a seed")
        switch_phones(contest=contest, on=True, by="organiser")
        for part in ("announcer", "head_judge", "tally", "desk"):
            set_roles(contest=contest, account=self._account(part), parts={part}, by="organiser")
        for role, team in (("cook", teams[0]), ("other cook", teams[1])):
            TeamMember.objects.create(team=team, account=self._account(role))
        give_belongings(teams[0], rules, stage="served")
        self._account("stranger")
        administrator = self._account("administrator")
        administrator.is_staff = administrator.is_superuser = True
        administrator.save()
        self.clients["visitor"] = Client(raise_request_exception=False)
        return contest

    def _account(self, role: str) -> Account:
        account = Account.objects.create_user(role.replace(" ", "-"), password="a long password")
        self._client(role).force_login(account, backend="django.contrib.auth.backends.ModelBackend")
        return account

    def _client(self, role: str) -> Client:
        return self.clients.setdefault(role, Client(raise_request_exception=False))

    def _passes(self) -> None:
        tables = list(self.contest.tables.all())
        doors = {"desk pass": {"opens": "desk"}, "judge": {"opens": "seat", "seat": tables[0].seats.get(letter="A")}}
        doors |= {f"captain {table.number}": {"opens": "table", "table": table} for table in tables}
        for role, door in doors.items():
            held: Pass = issue_pass(contest=self.contest, **door)
            self.done(self._client(role).post("/in/", {"word": word_of(held)}))
            if role == "judge":
                token = f"Bearer {text_of(issue_token(held=held))}"
                self.clients["phone"] = Client(raise_request_exception=False, headers={"authorization": token})

    def _draw(self) -> None:
        drawn = draw_rules.make_draw

        def other(request: DrawRequest, **options: object) -> draw_rules.DrawResult:
            """Secret, seed, sums and figures of the design stay: without the secret they tell of no pairing."""
            result = drawn(request, **options)
            return replace(result, placed=permuted(result.placed, request, self.sigma))

        with mock.patch.object(draw_rules, "make_draw", other):
            self.post("organiser", "draw/make/")
        self.contest.refresh_from_db()

    # What people do

    def url(self, path: str) -> str:
        return f"/c/{self.contest.slug}/{path}"

    @staticmethod
    def done(answer: HttpResponse) -> None:
        assert answer.status_code in (201, 302), (answer.status_code, answer.content.decode()[:2000])

    def post(self, role: str, path: str, **data: object) -> None:
        self.done(self.clients[role].post(self.url(path), data))

    def at(self, hour: int, minute: int, second: int = 0) -> None:
        self.clock.move_to(datetime(2026, 6, 13, hour, minute, second, tzinfo=UTC))

    def boxes(self, category: str, table: int | None = None) -> list[Box]:
        found = self.contest.boxes.filter(category__key=category).select_related("table").order_by("number")
        return [box for box in found if table in (None, box.table.number)]

    def box_of(self, category: str, team: int) -> str:
        return Pairing.objects.get(box__category__key=category, entry__number=team).box.number

    def take_in(self, category: str, teams: Sequence[int], hour: int, minute: int) -> None:
        """In the order of the teams, half a minute each."""
        for place, team in enumerate(teams):
            self.at(hour, minute + place // 2, place % 2 * 30)
            status = status_of(category, team)
            if status != "absent":
                data = {"category": category, "team": team, "box": self.box_of(category, team), "status": status}
                self.post("desk pass", "desk/record/", reason="not in a box" if status == "refused" else "", **data)

    def mark_absent(self, category: str) -> None:
        """All at once when the window is closed: until then they are like those who are still to come."""
        absent = [
            self.box_of(key, team) for (key, team), status in STATUS.items() if (key, status) == (category, "absent")
        ]
        self.post("desk pass", "desk/absent/", category=category, absent=absent)

    def tick_in(self, category: str) -> None:
        for table in (1, 2):
            for box in self.boxes(category, table):
                data = {"do": "here", "box": box.number, "category": category}
                self.post(f"captain {table}", f"table/{table}/", **data)

    def judged(self, category: str, table: int) -> list[str]:
        """Numbers of the boxes that get cards. The table learns it from its page, never why."""
        kept_back = {self.box_of(key, team) for key, team in STATUS if key == category}
        return [box.number for box in self.boxes(category, table) if box.number not in kept_back]

    def mark(self, box: str, seat: str, criterion: int) -> int:
        return 5 + (int(box) + 3 * ord(seat) + 2 * criterion + self.marks) % 4

    def key_sheet(self, category: str, table: int, seat: str, leave: Sequence[str] = (), **more: str) -> None:
        numbers = [number for number in self.judged(category, table) if number not in leave]
        rows = {number: " ".join(str(self.mark(number, seat, each)) for each in range(3)) for number in numbers}
        self.post("tally", f"marks/{category}/{table}/{seat}/", **posted(rows, none=leave), **more)

    def send_card(self, box: str, number: int) -> None:
        names = ("appearance", "taste", "tenderness")
        marks = {name: str(self.mark(box, "A", place)) for place, name in enumerate(names)}
        card = {"key": f"{number:032x}", "number": number, "seat": "1A", "box": box, "marks": marks}
        self.done(self.clients["phone"].post("/api/cards/", json.dumps(card), content_type="application/json"))

    # The day

    def stages(self) -> Iterator[str]:
        """Runs on from one stage to the next."""
        acts: dict[str, Callable[[], None]] = {
            "drawn": self._until_drawn,
            "turn-in": self._until_turn_in,
            "judging": self._until_judging,
            "second turn-in": self._until_second,
            "locked": self._until_locked,
        }
        for stage in STAGES:
            acts[stage]()
            self.contest.refresh_from_db()
            yield stage

    def _until_drawn(self) -> None:
        self.at(9, 0)
        self._draw()
        self.at(9, 30)
        self._passes()

    def _until_turn_in(self) -> None:
        self.take_in("chicken", TEAMS[:6], 11, 56)
        self.at(12, 0)

    def _until_judging(self) -> None:
        self.take_in("chicken", TEAMS[6:], 12, 1)
        one, other = (self.box_of("chicken", team) for team in SWAPPED)
        self.at(12, 6)
        self.mark_absent("chicken")
        self.post("desk pass", "desk/labels/", one=one, other=other, reason="the cook saw it")
        self.at(12, 7)
        self.post("desk pass", f"desk/undo/{self.box_of('chicken', 1)}/", reason="pressed twice")
        first = {"category": "chicken", "team": 1, "box": self.box_of("chicken", 1), "status": "accepted"}
        self.post("desk pass", "desk/record/", handed_in="11:57", **first)
        self.at(12, 15)
        self.tick_in("chicken")
        for number, box in enumerate(self.judged("chicken", 1), start=1):
            self.send_card(box, number)
        late = self.judged("chicken", 1)[-1]
        self.key_sheet("chicken", 1, "B", leave=[late])
        self.key_sheet("chicken", 2, "A")
        call = {"do": "call", "about": "portions", "box": self.judged("chicken", 2)[0], "text": "three left"}
        self.post("captain 2", "table/2/", category="chicken", **call)
        self.post("captain 1", "table/1/", category="chicken", do="collected", seat="B")
        self.at(12, 20)

    def _until_second(self) -> None:
        boxes = self.judged("chicken", 2)
        ruled = {"do": "rule", "box": boxes[0], "reason": "three portions"}
        self.post("head_judge", "rulings/", what="portions", seats=["D"], **ruled)
        self.post("head_judge", "rulings/", do="rule", what="out-box", box=boxes[1], reason="a sauce cup inside")
        self.key_sheet("chicken", 1, "C")
        self.key_sheet("chicken", 2, "B")
        self.take_in("ribs", [team for team in TEAMS[:4] if team not in SKIP_RIBS], 12, 26)
        self.at(12, 29)

    def _until_locked(self) -> None:
        self.take_in("ribs", [team for team in TEAMS[4:] if team not in SKIP_RIBS], 12, 29)
        self.at(12, 45)
        self.tick_in("ribs")
        self.key_sheet("chicken", 1, "D")
        self.post("tally", "marks/chicken/1/B/", **self._last_of_b())
        self.key_sheet("chicken", 2, "C")
        self.key_sheet("chicken", 2, "D", leave=[self.judged("chicken", 2)[0]])
        for table in (1, 2):
            for seat in "ABCD":
                self.key_sheet("ribs", table, seat)
        self.at(13, 30)
        self.post("tally", "tally/lock/")

    def _last_of_b(self) -> dict[str, str]:
        """The box that was left out, with the others as they stand."""
        shown = self.clients["tally"].get(self.url("marks/chicken/1/B/")).content.decode()
        sheet = next(each for each in forms_on(shown, self.url("marks/chicken/1/B/")) if each.action.endswith("/B/"))
        last = self.judged("chicken", 1)[-1]
        data = {name: values[-1] for name, values in sheet.as_shown().items() if not name.endswith("-none")}
        names = ("appearance", "taste", "tenderness")
        return data | {f"{last}-{name}": str(self.mark(last, "B", place)) for place, name in enumerate(names)}
