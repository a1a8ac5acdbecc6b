"""How long everything for a large contest takes to print: 60 teams, 4 categories, 10 tables, 6 seats a table.

Run with: pytest tests/bench/bench_print.py -s. Each file is made as the background worker makes it, by a process of
its own; beside them, in the same run, a document of as many empty pages. Prints seconds by the clock, seconds of the
processor and the largest memory of each. A machine that does other work at the same time shows in the clock first: the
limits are held against the processor's seconds, of which two cores give thirty in fifteen seconds.
"""

import json
import os
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path

import pytest
from django.conf import settings
from django.db import connection

from judging.services.tally import close_tally, sign_off
from reports.paper import catalogue, jobs
from reports.paper.look import Options
from reports.services import publish
from tests.bench.bench_pages import fill
from tests.factories import make_contest, make_drawn

SECONDS, MEGABYTES, A_SCORE_SHEET = 15.0, 350, 0.025
CORES = 2
EMPTY = """
import sys
from reports.paper import pdf
pages = "<section class=paper>&#8203;</section>" * int(sys.argv[1])
html = "<!doctype html><html lang=en><title>empty</title><body>" + pages
import os
os.environ.setdefault("DJANGO_SETTINGS_MODULE", "contest.config.settings")
import django
django.setup()
print('{"pages": %d}' % pdf.write([pdf.Part(html, "@page { size: 210mm 297mm }")], sys.argv[2]))
"""


@dataclass
class Made:
    name: str
    pages: int
    clock: float
    processor: float
    megabytes: float


def run(name: str, arguments: list[str]) -> Made:
    """One process: what it printed last, and what it took."""
    began = time.perf_counter()
    environment = {
        **os.environ,
        "PYTHONPATH": str(settings.BASE_DIR),
        "FAIRBOX_PRINT_DATABASE": str(connection.settings_dict["NAME"]),
    }
    process = subprocess.Popen(
        [sys.executable, *arguments], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, env=environment
    )
    lines = process.stdout.readlines()
    _, status, used = os.wait4(process.pid, 0)
    process.stdout.close()
    process.stdin.close()
    process.returncode = os.waitstatus_to_exitcode(status)
    assert process.returncode == 0, lines
    clock = time.perf_counter() - began
    return Made(name, json.loads(lines[-1])["pages"], clock, used.ru_utime + used.ru_stime, used.ru_maxrss / 1024)


@pytest.mark.django_db(transaction=True)
def test_everything_for_sixty_teams(capsys, tmp_path: Path) -> None:
    contest = make_contest(teams=60, tables=10, seats=6, categories=("chicken", "ribs", "pork", "brisket"))
    contest = fill(make_drawn(contest))
    sign_off(tally=close_tally(contest=contest, by="clerk"), by="head judge")
    publish(contest=contest, by="organiser")
    contest.refresh_from_db()
    files = {packet.key: list(packet.papers) for packet in catalogue.PACKETS.values()}
    files |= {key: [key] for key in ("calls", "book", "teams", "certificates")}
    made = []
    for what, papers in files.items():
        options = Options(address="http://192.168.1.20:8000")
        job = jobs.start(contest=contest, what=what, papers=papers, options=options, by="bench")
        made.append(run(what, ["-m", "reports.paper.child", str(job.pk), str(tmp_path / f"{what}.pdf")]))
    job = jobs.start(contest=contest, what="score", papers=["score"], options=Options(), by="bench")
    score = run("score sheets alone", ["-m", "reports.paper.child", str(job.pk), str(tmp_path / "score.pdf")])
    pages = sum(each.pages for each in made)
    empty = run("empty pages", ["-c", EMPTY, str(pages), str(tmp_path / "empty.pdf")])
    clock, processor = sum(each.clock for each in made), sum(each.processor for each in made)
    with capsys.disabled():
        print(f"\n{'':24}{'pages':>7}{'clock s':>9}{'cpu s':>8}{'MB':>6}{'cpu ms a page':>15}")
        for each in (*made, Made("everything", pages, clock, processor, max(m.megabytes for m in made)), score, empty):
            print(
                f"{each.name:24}{each.pages:7}{each.clock:9.1f}{each.processor:8.1f}{each.megabytes:6.0f}"
                f"{1000 * each.processor / each.pages:15.1f}"
            )
    assert score.pages == 240
    assert max(each.megabytes for each in made) <= MEGABYTES
    assert processor <= CORES * SECONDS
    assert score.processor / score.pages <= A_SCORE_SHEET
