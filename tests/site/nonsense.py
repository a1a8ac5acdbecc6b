"""Requests that nobody means: forms with bent fields, addresses with any variables, bodies that are no forms."""

import io
import json
import re
import uuid
import zipfile
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import quote, urlsplit

from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import get_resolver
from hypothesis import strategies as st

from contest.checks import walk
from contest.services.seat_tokens import issue_token, text_of
from tests.site.crawling import Form, World

NASTY = (
    "", " ", "0", "-1", "-0", "1.5", "1,5", "NaN", "Infinity", "-inf", "1e309", "1e-400", "9" * 40, "0x10", "٣", "１２",
    "½", "None", "null", "true", "on", "[]", "{}", "\0", "a\0b", "\x1b[31m", "\x7f", "\r\n", "a\r\nSet-Cookie: x=y",
    "\ufeff", "\u202e123", "\u200f7", "é", "e\u0301", "ß", "İ", "漢字", "हिन्दी", "🍖" * 9, "\ud7ff\U0010ffff",
    "'; DROP TABLE contest_box; --", '"><script>alert(1)</script>', "{{ 7|add:7 }}", "{% debug %}", "%s%n%00", "%",
    "../../etc/passwd", "..\\..\\x", "file:///etc/passwd", "//elsewhere.example/", "=1+2", "@SUM(A1)", "2026-02-30",
    "0000-00-00", "99999-01-01", "2026-06-13T25:61", "24:00", "12:60", "9999-12-31T23:59:59", "Europe/Nowhere", "/",
    "x" * 300, "y" * 5000, "\n" * 200, "7 " * 2000, "00000000-0000-0000-0000-000000000000", "-2147483649", "2147483648",
    "9223372036854775808", "201", "202", "1A", "chicken", "ribs", "1", "2", "3",
)  # fmt: skip
#: Values for the variables of addresses, so that they still match their converters.
IN_ADDRESS = {
    "int": ("0", "1", "2", "7", "999999", "2147483648", "9223372036854775807", "9223372036854775808", "9" * 60),
    "slug": (
        "chicken",
        "ribs",
        "no-such",
        "-",
        "_",
        "A",
        "0",
        "x" * 300,
        "year-2026",
        "season-1",
        "year-99999",
        "cooks",
    ),
    "uuid": ("00000000-0000-0000-0000-000000000000",),
    "str": (
        "201",
        "202",
        "A",
        "Z",
        "1",
        "secret.txt",
        "draw.txt",
        "\0",
        "\ud7ff",
        "../x",
        "..",
        "é",
        "漢",
        "x" * 300,
        " ",
    ),
}
values = st.sampled_from(NASTY) | st.text(st.characters(exclude_categories=["Cs"]), max_size=40)


def zipped(**files: bytes) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in files.items():
            archive.writestr(name.replace("__", "/"), data)
    return out.getvalue()


FILES = (
    b"", b"\0", b"\xff\xfe", b"\xef\xbb\xbf", b"PK\x03\x04", b"\xd0\xcf\x11\xe0", b"%PDF-1.7", b"\x89PNG",
    b"number,team\n1,Team Alder\n", b"1;Team \xe9\n2;\xff", "number,team\n1,Ä\n".encode("utf-16"), b'"',
    b'a,"b\nc', b"\r" * 99,
    b"team\n" + b"Team X\n" * 1500, b"," * 5000, b"x" * 1_100_000, b"name = ", b'name = "x"\n[scale]\nlowest = nan\n',
    b"a" * 200 + b"=" * 200, b"[" * 3000, zipped(), zipped(a=b"b"), zipped(**{"[Content_Types].xml": b"<x/>"}),
    zipped(**{"contest.json": b"[" * 5000, "SHA256SUMS": b""}), zipped(big=b"\0" * 30_000_000),
    zipped(**{"..__..__evil": b"x"}), b"contest,date,category,place\nExample,2025-09-20,ribs,NaN\n",
)  # fmt: skip
files = st.sampled_from(FILES) | st.binary(max_size=200)
names = st.sampled_from(
    ["a.csv", "a.xlsx", "a.toml", "a.zip", "a", "..", "x" * 200 + ".csv", "ü\u202e.xlsx", "a\r\nb.csv"]
)
BODIES = (
    ("application/json", b"{}"), ("application/json", b"[" * 9000), ("text/plain", b"\xff\xfe"), ("", b"a=b"),
    ("application/x-www-form-urlencoded", b"%ff=%00&%zz&=&&a[]=%F0%9F"), ("multipart/form-data", b"x"),
    ("application/x-www-form-urlencoded; charset=utf-16", b"a\0=\0b\0"), ("multipart/form-data; boundary=", b"--"),
    ("application/x-www-form-urlencoded; charset=no-such", b"a=%e9"), ("multipart/form-data; boundary=é", b"--\r\n"),
    ("multipart/form-data; boundary=x", b'--x\r\nContent-Disposition: form-data; name="file"; filename="a"\r\n\r\n'),
    ("application/x-www-form-urlencoded", b"&".join(b"f%d=1" % n for n in range(3000))),
    ("application/x-www-form-urlencoded", b"word=" + b"x" * 2_200_000),
    ("multipart/form-data; boundary=x",
     b'--x\r\nContent-Disposition: form-data; name="a"\r\nContent-Transfer-Encoding: base64\r\n\r\n!!!\r\n--x--'),
)  # fmt: skip
HEADERS = (
    {"hx-request": "true"}, {"hx-request": "true", "hx-current-url": "http://[", "hx-target": "\xe9"}, {"host": "[::1"},
    {"host": "elsewhere.example"}, {"accept": "\xff"}, {"referer": "http://["}, {"authorization": "Bearer x"},
    {"authorization": "Bearer " + "a" * 32 + "." + "b" * 64}, {"cookie": "messages=x; sessionid=\xff; csrftoken=\xff"},
    {"if-modified-since": "no date"}, {"content-length": "-1"}, {"range": "bytes=9-1"}, {"x-forwarded-proto": "gopher"},
)  # fmt: skip


@dataclass
class Sent:
    """One request; `data` is a list of pairs, so that a name may come twice."""

    role: str
    method: str
    path: str
    data: list[tuple[str, Any]] = field(default_factory=list)
    body: tuple[str, bytes] | None = None
    headers: dict[str, str] = field(default_factory=dict)

    def by(self, client: Client) -> Any:
        if self.body is not None:
            kind, raw = self.body
            return client.generic(self.method, self.path, raw, kind, headers=self.headers)
        data: dict[str, list[Any]] = {}
        for name, value in self.data:
            data.setdefault(name, []).append(value)
        return (client.post if self.method == "POST" else client.get)(self.path, data, headers=self.headers)

    def __str__(self) -> str:
        said = [(name, str(value)[:60]) for name, value in self.data]
        return f"{self.method} {self.path[:200]} as {self.role} {said} {self.body and self.body[0]} {self.headers}"


class AsSent(SimpleUploadedFile):
    """A file under any name that a browser could send; the class above would tidy it up."""

    name = ""


def uploaded(draw: Any) -> SimpleUploadedFile:
    made = AsSent("a", draw(files), content_type=draw(st.sampled_from(["text/csv", "image/png", ""])))
    made.name = draw(names)
    return made


class Requests:
    """What may be sent: the forms each role met, and every address of the site with any variables."""

    def __init__(self, world: World, forms: dict[str, list[Form]]) -> None:
        self.forms = [(role, form) for role, found in forms.items() for form in found]
        self.roles = list(world.clients)
        self.routes = [route for route, _ in walk(get_resolver())]
        self.slugs = [contest.slug for contest in [*world.contests, world.practice.contest]]
        self.uuids = [
            str(each)
            for each in (
                world.team.uid, world.published.uid, world.published.entries.first().sheet_key,
                world.published.attendances.first().judge.uid, world.team.cook_days.first().uid,
                world.practice.contest.uid,
            )
        ]  # fmt: skip
        self.token = text_of(
            issue_token(
                held=world.sealed.passes.filter(opens="seat").order_by("seat__table__number", "seat__letter").first()
            )
        )

    def form(self, draw: Any) -> Sent:
        """A form as its page showed it, with up to four of its fields bent, left out or sent twice."""
        role, form = draw(st.sampled_from(self.forms))
        data: list[tuple[str, Any]] = []
        for each in form.fields:
            if each.kind in ("submit", "button") and draw(st.booleans()):
                continue
            if each.kind == "file":
                continue
            data += [(each.name, value) for value in each.values[-1:]]
        for _ in range(draw(st.integers(0, 4))):
            if data:
                place = draw(st.integers(0, len(data) - 1))
                name = data[place][0]
                what = draw(st.sampled_from(["bend", "bend", "bend", "leave out", "twice"]))
                data[place : place + (what != "twice")] = [] if what == "leave out" else [(name, draw(values))]
        for each in form.fields:
            if each.kind == "file" and draw(st.booleans()):
                data.append((each.name, uploaded(draw)))
        if draw(st.integers(0, 9)) == 0:
            role = draw(st.sampled_from(self.roles))
        return Sent(role, form.method.upper(), urlsplit(form.action).path or "/", data, headers=self.headers(draw))

    def address(self, draw: Any) -> Sent:
        """Any address with any variables, asked for or posted to with fields that nobody offered."""
        route = draw(st.sampled_from(self.routes))

        def filled(found: re.Match[str]) -> str:
            kind = found.group(1) or "str"
            if found.group(2) == "slug" and draw(st.integers(0, 4)):
                return draw(st.sampled_from(self.slugs))
            if kind == "uuid" and draw(st.integers(0, 3)):
                return draw(st.sampled_from(self.uuids))
            return quote(draw(st.sampled_from(IN_ADDRESS[kind])), safe="")

        path = "/" + re.sub(r"<(?:(\w+):)?(\w+)>", filled, route)
        field_names = st.sampled_from(
            ["box", "category", "find", "seen", "version", "minutes", "as", "next", "number", "table", "seat",
             "what", "do", "for", "shown", "key", "sort", "page", "text", "word", "draw", "in", "group", "team", "size"]
        )  # fmt: skip
        data = draw(st.lists(st.tuples(field_names, values), max_size=4))
        role = draw(st.sampled_from(self.roles))
        return Sent(role, draw(st.sampled_from(["GET", "POST"])), path, data, headers=self.headers(draw))

    def raw(self, draw: Any) -> Sent:
        """A body that is no form at all, to an address that takes one."""
        role, form = draw(st.sampled_from(self.forms))
        path = urlsplit(form.action).path or "/"
        return Sent(role, "POST", path, body=draw(st.sampled_from(BODIES)), headers=self.headers(draw))

    def card(self, draw: Any) -> Sent:
        """A judge's phone that sends a card, or what once was one."""
        card: dict[str, Any] = {
            "key": uuid.UUID(int=draw(st.integers(0, 9))).hex, "seat": "1A",
            "box": draw(st.sampled_from(["201", "203"])),
            "marks": {"appearance": "7", "taste": "7", "tenderness": "7"}, "number": 1, "time": "12:00", "anew": False,
        }  # fmt: skip
        anything = values | st.none() | st.integers() | st.lists(values, max_size=2)
        for _ in range(draw(st.integers(0, 2))):
            card[draw(st.sampled_from(sorted(card)))] = draw(anything)
        if isinstance(card["marks"], dict) and draw(st.booleans()):
            card["marks"][draw(st.sampled_from(["taste", "x", "\0"]))] = draw(anything)
        body = json.dumps(card).encode()
        body = body[: draw(st.integers(0, len(body)))] if draw(st.integers(0, 4)) == 0 else body
        token = self.token if draw(st.integers(0, 4)) else draw(st.sampled_from(["", self.token[:-1] + "x", "é", "."]))
        headers = {"authorization": f"Bearer {token}"}
        return Sent("visitor", "POST", "/api/cards/", body=("application/json", body), headers=headers)

    @staticmethod
    def headers(draw: Any) -> dict[str, str]:
        return draw(st.sampled_from(HEADERS)) if draw(st.integers(0, 9)) == 0 else {}


@st.composite
def requests_of(draw: Any, what: Requests) -> Sent:
    kind = draw(st.sampled_from(["form"] * 6 + ["address"] * 4 + ["raw", "card"]))
    return getattr(what, kind)(draw)
