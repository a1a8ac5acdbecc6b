"""How long everything for a large contest takes to print: 60 teams, 4 categories, 10 tables, 6 seats a table.

Run with: pytest tests/bench/bench_print.py -s. Seven files are asked for: the three packets, then the call sheet, the
results book, the teams' score sheets, the certificates. Each is made alone, then all of them as the background worker
makes what waits; beside them, in the same run, a document of as many empty pages. Prints seconds by the clock, seconds
of the processors (children and worker), and the memory of all printing processes at once.

A machine that does other work at the same time shows in the clock first: the clock's limit is held where others took
less than a tenth of the time, else only the processors' seconds, of which two cores give thirty in fifteen seconds.
"""

import os
import resource
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest

from judging.services.tally import close_tally, sign_off
from reports.models import PrintJob
from reports.paper import catalogue, jobs, tasks
from reports.paper.look import Options
from reports.results.publishing import publish
from tests.bench.bench_pages import fill
from tests.factories import make_contest, make_drawn

SECONDS, MEGABYTES, A_SCORE_SHEET = 15.0, 350, 0.025
CORES = 2
OTHERS = 0.1
EMPTY = """
import sys
from reports.paper import pdf
html = "<!doctype html><html lang=en><title>empty</title><body>" + "<section class=paper>&#8203;</section>" * int(sys.argv[1])
pdf.write([pdf.Part(html, "@page { size: 210mm 297mm }")], sys.argv[2], style=".paper { break-after: page }")
"""  # noqa: E501


@dataclass
class Taken:
    """What some work took; `others`: the share of the cores' time that other processes had."""

    clock: float
    processor: float
    megabytes: float
    others: float


def children() -> list[int]:
    return [int(pid) for path in Path("/proc/self/task").glob("*/children") for pid in path.read_text().split()]


def held(pid: int) -> float:
    """Megabytes that a process holds now; 0 once it has ended."""
    try:
        lines = Path(f"/proc/{pid}/status").read_text().splitlines()
    except (FileNotFoundError, ProcessLookupError):
        return 0.0
    return next((int(line.split()[1]) / 1024 for line in lines if line.startswith("VmRSS:")), 0.0)


def used() -> float:
    """Seconds of the processor of this process and of its children that have ended."""
    return sum(sum(resource.getrusage(who)[:2]) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))


def busy() -> float:
    """Seconds that all cores were busy, whoever had them."""
    user, nice, system = (int(word) for word in Path("/proc/stat").read_text().split()[1:4])
    return (user + nice + system) / os.sysconf("SC_CLK_TCK")


def take(work: Callable[[], None]) -> Taken:
    most, over = [0.0], threading.Event()

    def watch() -> None:
        while not over.wait(0.05):
            most[0] = max(most[0], sum(map(held, children())))

    watcher = threading.Thread(target=watch)
    began, processor, cores = time.perf_counter(), used(), busy()
    watcher.start()
    try:
        work()
    finally:
        over.set()
        watcher.join()
    clock, processor, cores = time.perf_counter() - began, used() - processor, busy() - cores
    return Taken(clock, processor, most[0], max(0.0, cores - processor) / (clock * CORES))


def ask(contest, what: str, papers: list[str]) -> PrintJob:
    options = Options(address="http://192.168.1.20:8000")
    return jobs.start(contest=contest, what=what, papers=papers, options=options, by="bench")


def finished(asked: list[PrintJob]) -> int:
    """The pages of prints that are all done."""
    rows = PrintJob.objects.filter(pk__in=[job.pk for job in asked])
    assert {(job.state, job.message) for job in rows} == {("done", "")}
    return sum(job.pages for job in rows)


def say(name: str, pages: int, taken: Taken) -> None:
    print(
        f"{name:24}{pages:7}{taken.clock:9.1f}{taken.processor:8.1f}{taken.megabytes:6.0f}"
        f"{1000 * taken.processor / pages:15.1f}{100 * taken.others:10.0f} %"
    )


@pytest.mark.django_db(transaction=True)
def test_everything_for_sixty_teams(capsys, tmp_path: Path, settings) -> None:
    settings.DATA_DIR = tmp_path
    contest = make_contest(teams=60, tables=10, seats=6, categories=("chicken", "ribs", "pork", "brisket"))
    contest = fill(make_drawn(contest))
    sign_off(tally=close_tally(contest=contest, by="clerk"), by="head judge")
    publish(contest=contest, by="organiser")
    contest.refresh_from_db()
    files = {packet.key: list(packet.papers) for packet in catalogue.PACKETS.values()}
    files |= {key: [key] for key in ("calls", "book", "teams", "certificates")}
    with capsys.disabled():
        print(f"\n{'':24}{'pages':>7}{'clock s':>9}{'cpu s':>8}{'MB':>6}{'cpu ms a page':>15}{'others':>12}")
        for what, papers in {**files, "score": ["score"]}.items():
            job = ask(contest, what, papers)
            score = take(lambda job=job: tasks.make_print.call(job.pk))
            score_pages = finished([job])
            say(what, score_pages, score)
        asked = [ask(contest, what, papers) for what, papers in files.items()]
        everything = take(lambda: tasks.make_print.call(asked[0].pk))  # the first task makes all that waits
        pages = finished(asked)
        say("everything", pages, everything)
        command = [sys.executable, "-c", EMPTY, str(pages), str(tmp_path / "empty.pdf")]
        say("empty pages", pages, take(lambda: subprocess.run(command, check=True, cwd=settings.BASE_DIR)))
    assert score_pages == 240
    assert score.processor / score_pages <= A_SCORE_SHEET
    assert everything.megabytes <= MEGABYTES
    assert everything.processor <= CORES * SECONDS
    assert everything.clock <= SECONDS or everything.others > OTHERS
