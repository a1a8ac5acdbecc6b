"""Damaged documents for the open commands, the imports and the judges' phones: every refusal is in words.

Hypothesis bends documents that are in order: CSV, XLSX, TOML, JSON, results packages. `FAIRBOX_FUZZ=20000` reads more
than the usual 2,000; see DEVELOPERS.md.
"""

import contextlib
import io
import json
import os
import re
import signal
import subprocess
import time
import traceback
import zipfile
from collections.abc import Callable, Iterator, Mapping
from datetime import date
from pathlib import Path
from types import FrameType
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.db import connection
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from openpyxl import Workbook

import contest.draw_cli
import judging.tally_cli
import reports.severity_cli
import reports.verify_cli
from contest.models import Contest, Team
from contest.rules.ruleset import SHIPPED, shipped_text
from contest.services.imports import check_judges, check_teams
from contest.services.rulesets import read_text
from contest.tablefile import TableFileError, read_file, read_lines
from judging.forms.phone_card import read_card, read_object
from judging.services.phones import CardRefused
from reports.cook.packages import read_package
from reports.cook.past import check_results
from reports.models import Publication
from reports.rules.package.archive import pack, unpack
from tests import factories
from tests.running import close_and_publish, run_day
from tests.site.nonsense import NASTY
from tests.site.served import SITE, command, environment

pytestmark = [
    pytest.mark.django_db,
    pytest.mark.skipif(connection.vendor != "sqlite", reason="documents meet no database: once is enough"),
]

DOCUMENTS = int(os.environ.get("FAIRBOX_FUZZ", "2000"))
SLOWEST = 10  # seconds
EXAMPLE = Path(SITE) / "fixtures/example-cook-off"
OPEN = {
    "tally": judging.tally_cli.main,
    "draw": contest.draw_cli.main,
    "severity": reports.severity_cli.main,
    "verify": reports.verify_cli.main,
}
SCORES = "team,judge,contest,table,score\n" + "".join(
    f"{team},{judge},{1 + team % 2},{1 + judge % 2},{5 + (team * judge) % 4}\n"
    for team in range(6)
    for judge in range(4)
)
TEAMS = "number,team,head cook,home,categories\n1,Team Alder,Cook Alder,Example Town,chicken; ribs\n2,Team Birch\n"
JUDGES = "name,contests judged,conflicts\nJudge Larch,12,1\nJudge Maple,3,\n"
PAST = (
    "contest,date,category,place,field,total,possible,table,marks\n"
    "Example,2025-09-20,ribs,5,24,168.5,180,3,8 9 8 / 7 8 8\n"
)
CARD = json.dumps(
    {"key": "a" * 32, "seat": "1A", "box": "201", "marks": {"taste": "7"}, "number": 1, "time": "12:00", "anew": False}
)
anything = st.sampled_from(NASTY) | st.text(st.characters(exclude_categories=["Cs"]), max_size=20)
numbers = st.sampled_from(
    ["0", "-1", "1e9", "999999999", "9" * 30, "1e400", "0.0000001", "nan", "inf", "1_000", "٣", "-0.0"]
)


def workbook() -> bytes:
    book = Workbook()
    for row in TEAMS.splitlines():
        book.active.append(row.split(","))
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


@st.composite
def bent_text(draw: Any, text: str) -> bytes:
    """A text document with one to four things wrong."""
    for _ in range(draw(st.integers(1, 4))):
        lines = text.split("\n")
        place = draw(st.integers(0, len(lines) - 1))
        what = draw(
            st.sampled_from(["cell", "cell", "number", "number", "line", "drop", "twice", "put in", "cut", "swap"])
        )
        if what == "cell":
            parts = re.split("([,=:;\t\"'])", lines[place])
            parts[draw(st.integers(0, len(parts) - 1))] = draw(anything)
            lines[place] = "".join(parts)
        elif what == "number":
            lines[place] = re.sub(
                r"\d+(\.\d+)?", lambda found: draw(numbers), lines[place], count=draw(st.integers(1, 2))
            )
        elif what == "line":
            lines[place] = draw(anything)
        elif what == "drop":
            del lines[place]
        elif what == "twice":
            lines.insert(place, lines[place] * draw(st.sampled_from([1, 1, 2, 50])))
        elif what == "put in":
            at = draw(st.integers(0, len(lines[place])))
            lines[place] = lines[place][:at] + draw(anything) + lines[place][at:]
        elif what == "cut":
            lines = lines[: place + 1]
            lines[-1] = lines[-1][: draw(st.integers(0, len(lines[-1])))]
        else:
            lines = [line.replace(",", draw(st.sampled_from([";", "\t", ",,"]))) for line in lines]
        text = "\n".join(lines)
    return bent_bytes(draw, text.encode(draw(st.sampled_from(["utf-8"] * 8 + ["utf-16", "utf-8-sig", "utf-32"]))))


def bent_bytes(draw: Any, data: bytes) -> bytes:
    what = draw(st.integers(0, 9))
    if what == 0 and data:
        at = draw(st.integers(0, len(data) - 1))
        return data[:at] + draw(st.binary(max_size=4)) + data[at + draw(st.integers(0, 3)) :]
    if what == 1:
        return data[: draw(st.integers(0, len(data)))]
    return data


def members(data: bytes) -> dict[str, bytes]:
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def zipped(files: Mapping[str, bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in files.items():
            archive.writestr(name, data)
    return out.getvalue()


@st.composite
def bent_zip(draw: Any, data: bytes, again: Callable[[Mapping[str, bytes]], bytes]) -> bytes:
    """An archive with one to three members bent, dropped or added; `again` packs them."""
    found = members(data)
    for _ in range(draw(st.integers(1, 3))):
        name = draw(st.sampled_from(sorted(found)))
        what = draw(st.sampled_from(["bend"] * 6 + ["drop", "empty", "add", "rename"]))
        if what == "bend":
            found[name] = draw(bent_text(found[name].decode(errors="replace")))
        elif what == "drop" and len(found) > 1:
            del found[name]
        elif what == "empty":
            found[name] = b""
        elif what == "add":
            found[draw(st.sampled_from(["../x", "/etc/x", "a\\b", "public-2.txt", "rules/x.toml", "x" * 300]))] = b"x"
        else:
            found[draw(st.sampled_from(sorted(found)))] = found.pop(name)
        found = found or {"x": b""}
    return bent_bytes(draw, again(found))


class Fault(AssertionError):
    """A document was not refused as it should be."""


@contextlib.contextmanager
def in_time() -> Iterator[None]:
    def late(number: int, frame: FrameType | None) -> None:
        raise TimeoutError(f"took longer than {SLOWEST} s")

    before = signal.signal(signal.SIGALRM, late)
    signal.setitimer(signal.ITIMER_REAL, SLOWEST)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)
        signal.signal(signal.SIGALRM, before)


class Reader:
    """Every way a document comes in. Each takes its bytes and raises only what it promises."""

    def __init__(self, folder: Path, package: bytes) -> None:
        self.folder, self.package = folder, package
        self.contest: Contest = factories.make_contest(teams=3)
        self.team = Team.objects.create(name="Team Sorrel")

    def file(self, name: str, data: bytes) -> str:
        path = self.folder / name
        path.write_bytes(data)
        return str(path)

    def run(self, name: str, *arguments: str) -> int:
        """An open command in this process: status, and what it may print with it."""
        out, err = io.StringIO(), io.StringIO()
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            status = OPEN[name](arguments)
        self.judge(name, status, out.getvalue(), err.getvalue())
        return status

    @staticmethod
    def judge(name: str, status: int, out: str, err: str) -> None:
        if status not in ((0, 1, 2) if name == "verify" else (0, 2)):
            raise Fault(f"{name} ended with {status}")
        if status == 2 and (out or err.count("\n") != 1 or not err.strip()):
            raise Fault(f"{name} refused in other words than one line: {out[:200]!r} {err[:600]!r}")
        if status == 1 and "FAILS" not in out:
            raise Fault(f"{name} says no reason: {out[:200]!r}")
        if "Traceback" in out + err:
            raise Fault(f"{name} shows a traceback: {err[:600]}")

    rules = str(Path(SITE) / "contest/rules/ruleset/sets/taste-double.toml")

    def cards(self, data: bytes) -> int:
        return self.run("tally", self.file("cards.csv", data), "--rules", self.rules, "--seed", "x")

    def turnins(self, data: bytes) -> int:
        given = ["--turnins", self.file("turnins.csv", data), "--format", "csv", "--seed", "x"]
        return self.run("tally", str(EXAMPLE / "cards.csv"), "--rules", self.rules, *given)

    def tally_rules(self, data: bytes) -> int:
        return self.run("tally", str(EXAMPLE / "cards.csv"), "--rules", self.file("rules.toml", data), "--seed", "x")

    def scores(self, data: bytes) -> int:
        return self.run(
            "severity", self.file("scores.csv", data), "--score", "score", "--random", "team,judge,contest:table"
        )

    def skips(self, data: bytes) -> int:
        small = ["--teams", "6", "--tables", "2", "--categories", "2", "--seed", "x"]
        return self.run("draw", *small, "--skips", self.file("skips.csv", data))

    def conflicts(self, data: bytes) -> int:
        small = ["--teams", "6", "--tables", "2", "--categories", "2", "--seed", "x"]
        return self.run("draw", *small, "--conflicts", self.file("conflicts.csv", data))

    def packed(self, data: bytes) -> int:
        return self.run("verify", self.file("package.zip", data))

    def arguments(self, data: bytes) -> int:
        """Nonsense in place of the arguments, as a shell would hand it on."""
        given = [os.fsdecode(each) for each in data.split(b"\n")]
        with contextlib.suppress(SystemExit):  # --help
            self.run(*given) if given[0] in OPEN else None
        return 0

    def web_package(self, data: bytes) -> object:
        return read_package(data)

    def teams(self, data: bytes) -> object:
        return check_teams(self.contest, read_file("teams.csv", data))

    def judges(self, data: bytes) -> object:
        return check_judges(self.contest, read_file("judges.csv", data))

    def past(self, data: bytes) -> object:
        return check_results(self.team, read_file("past.csv", data), date(2026, 1, 1))

    def book(self, data: bytes) -> object:
        return check_teams(self.contest, read_file("teams.xlsx", data))

    def lines(self, data: bytes) -> object:
        return check_teams(self.contest, read_lines(data.decode(errors="replace")))

    def rule_text(self, data: bytes) -> object:
        return read_text(data.decode(errors="replace"))

    def card(self, data: bytes) -> object:
        return read_card(read_object(data), seat="1A", device="phone")


def documents(package: bytes) -> st.SearchStrategy[tuple[str, bytes]]:
    """(reader's name, document): which way it comes in, and what comes."""
    cards, turnins = ((EXAMPLE / name).read_text() for name in ("cards.csv", "turnins.csv"))
    texts = st.one_of(*(bent_text(shipped_text(key)) for key in SHIPPED))

    def resummed(files: Mapping[str, bytes]) -> bytes:
        return pack({name: data for name, data in files.items() if name != "SHA256SUMS"})

    packages = bent_zip(package, resummed) | bent_zip(package, zipped)
    tidy = "\n".join(["tally", "x.csv", "--rules", "y.toml", "--turnins", "z.csv", "--overall", "a,b", "--seed", "s"])
    more = "\n".join(["severity", "x.csv", "--score", "a", "--random", "b,c:d", "--fixed", "e"])
    third = "\n".join(["draw", "--teams", "6", "--tables", "2", "--categories", "2", "--seed", "s"])
    kinds: dict[str, st.SearchStrategy[bytes]] = {
        "cards": bent_text(cards),
        "turnins": bent_text(turnins),
        "tally_rules": texts,
        "rule_text": texts,
        "scores": bent_text(SCORES),
        "skips": bent_text("team,category\n1,1\n2,2\n"),
        "conflicts": bent_text("team,table\n1,1\n2,2\n"),
        "packed": packages,
        "web_package": packages,
        "arguments": bent_text(tidy) | bent_text(more) | bent_text(third) | bent_text("verify\nx.zip\n--draw\nab"),
        "teams": bent_text(TEAMS),
        "judges": bent_text(JUDGES),
        "past": bent_text(PAST),
        "book": bent_zip(workbook(), zipped),
        "lines": bent_text("1, Team Alder\nTeam Birch\n"),
        "card": bent_text(CARD),
    }
    return st.one_of(*(st.tuples(st.just(name), kind) for name, kind in kinds.items()))


@pytest.fixture
def package() -> bytes:
    close_and_publish(run_day())
    return bytes(Publication.objects.get().package)


def test_no_document_breaks_what_reads_it(package: bytes, tmp_path: Path) -> None:
    reader = Reader(tmp_path, package)
    found: dict[str, str] = {}
    came: dict[str, int] = {}
    refused = 0
    slowest = (0.0, "")

    @settings(
        max_examples=DOCUMENTS, derandomize=True, database=None, deadline=None, suppress_health_check=list(HealthCheck)
    )
    @given(documents(package))
    def read(document: tuple[str, bytes]) -> None:
        nonlocal refused, slowest
        name, data = document
        came[name] = came.get(name, 0) + 1
        started = time.monotonic()
        try:
            with in_time():
                refused += getattr(reader, name)(data) == 2
        except (TableFileError, ValidationError, CardRefused) as error:
            refused += 1
            if not " ".join(getattr(error, "messages", [str(error)])).strip():
                found.setdefault(f"{name}: refused without a word", repr(data[:300]))
        except Exception:
            told = traceback.format_exc()
            where = (name, *re.findall(r'File ".*/(\w+\.py)", line (\d+)', told)[-1])
            found.setdefault(f"{' '.join(where)}: {told[-1500:]}", repr(data[:1000]))
        slowest = max(slowest, (time.monotonic() - started, name))

    read()
    assert sum(came.values()) >= DOCUMENTS
    assert len(came) == 16
    assert DOCUMENTS / 5 < refused < DOCUMENTS  # neither is all of it refused, nor nothing
    report = [f"{kind}\n    document: {data}" for kind, data in found.items()]
    assert report == [], "\n\n".join([f"{len(report)} faults", *report])
    assert slowest[0] < SLOWEST, slowest


def test_as_processes_the_open_commands_refuse_in_one_line(package: bytes, tmp_path: Path) -> None:
    """The same through the shell, for a few: a status, one line on standard error, nothing else anywhere."""
    broken = tmp_path / "broken"
    broken.write_bytes(b"category,box\n\xff\0\n")
    cut = tmp_path / "cut.zip"
    cut.write_bytes(package[: len(package) // 2])
    other = tmp_path / "other.zip"
    other.write_bytes(pack({**unpack(package), "results.csv": b"x"}))
    bomb = tmp_path / "bomb.zip"
    bomb.write_bytes(zipped({"zeros": b"\0" * 70_000_000}))
    rules, cards = Reader.rules, str(EXAMPLE / "cards.csv")
    nothing = str(tmp_path / "nothing")
    cases: list[tuple[int, list[str]]] = [
        (2, ["tally", str(broken), "--rules", rules]),
        (2, ["tally", nothing, "--rules", rules]),
        (2, ["tally", str(tmp_path), "--rules", rules]),
        (2, ["tally", cards, "--rules", str(broken)]),
        (2, ["tally", cards, "--rules", "/dev/null"]),
        (2, ["tally", cards]),
        (2, ["tally", cards, "--rules", rules, "--format", "xml"]),
        (2, ["severity", str(broken), "--score", "a", "--random", "b"]),
        (2, ["severity", nothing, "--score", "a", "--random", "b"]),
        (2, ["severity", cards, "--score", "box", "--random", "seat,seat"]),
        (2, ["draw", "--teams", "0", "--tables", "1", "--categories", "1"]),
        (2, ["draw", "--teams", "9" * 5000, "--tables", "1", "--categories", "1"]),
        (2, ["draw", "--teams", "6", "--tables", "2", "--categories", "2", "--skips", str(broken)]),
        (2, ["verify", nothing]),
        (1, ["verify", str(broken)]),
        (1, ["verify", str(cut)]),
        (1, ["verify", str(other)]),
        (1, ["verify", str(bomb)]),
        (1, ["verify", str(tmp_path)]),
        (2, ["verify", str(cut), "--draw", "xyz"]),
    ]
    for wanted, arguments in cases:
        answer = subprocess.run(
            command(*arguments), env=environment(tmp_path), capture_output=True, text=True, timeout=SLOWEST * 3
        )
        assert answer.returncode == wanted, (arguments, answer)
        Reader.judge(arguments[0], answer.returncode, answer.stdout, answer.stderr)
