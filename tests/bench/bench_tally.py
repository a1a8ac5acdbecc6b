"""How fast the tally is: ``python tests/bench/bench_tally.py``.

A contest of 100 teams in four categories, six judges a box and three criteria, by the set *Taste double*:

- the tally in process, with the rows kept and dropped of every box and the reason of every drop as a code, against a
  bare loop of the standard library that only sums the same integers, weighted, by card and by box: at most 6 times;
- ten times the cards: at most 12 times the time, in process and by the whole command. Ties grow faster than cards:
  with ten times the boxes nearly all tie, and most need several tie-breaks;
- the whole open command, from the files to the JSON, against LibreOffice recalculating the same contest from formulas.

Prints the figures; exit status 1 where a limit is missed.
"""

import csv
import json
import random
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from operator import mul
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from contest.rules.ruleset import shipped, shipped_text  # noqa: E402
from judging.rules.tally import Box, Card, Tally, box_ties, tally, team_ties, to_json  # noqa: E402

CATEGORIES = ("chicken", "ribs", "pork", "brisket")
WEIGHTS = (2, 4, 3)  # Taste double's 1, 2 and 1.5 in halves
RULES = shipped()["taste-double"]
MOST, MOST_TENFOLD = 6.0, 12.0


def contest(teams: int) -> list[Box]:
    """Marks near 7 of 9 with a spread of 1.2: ties are as common as at a real table."""
    draw = random.Random(f"{teams} teams")
    boxes = []
    for category in CATEGORIES:
        for team in range(teams):
            cards = tuple(
                Card(str(seat), tuple(min(9, max(1, round(draw.gauss(7, 1.2)))) for _ in WEIGHTS))
                for seat in range(1, 7)
            )
            boxes.append(Box(category, str(1000 + team), str(team // 6 + 1), "accepted", cards, f"Team {team}"))
    return boxes


def bare(boxes: Sequence[Box]) -> dict[tuple[str, str], int]:
    """No drops, no ranks, no reasons: weighted sums by card and by box."""
    totals = {}
    for box in boxes:
        total = 0
        for card in box.cards:
            weighted = 0
            for weight, mark in zip(WEIGHTS, card.marks):  # noqa: B905 - bare
                weighted += weight * mark  # type: ignore[assignment, operator]
            total += weighted
        totals[box.category, box.box] = total
    return totals


def mapped(boxes: Sequence[Box]) -> dict[tuple[str, str], int]:
    """The same by ``sum`` and ``map``, the quickest way that takes any number of criteria; for comparison."""
    totals = {}
    for box in boxes:
        total = 0
        for card in box.cards:
            total += sum(map(mul, WEIGHTS, card.marks))  # type: ignore[arg-type]
        totals[box.category, box.box] = total
    return totals


def unrolled(boxes: Sequence[Box]) -> dict[tuple[str, str], int]:
    """The same with the three criteria written out: no rule set could vary, for comparison only."""
    a, b, c = WEIGHTS
    totals = {}
    for box in boxes:
        total = 0
        for card in box.cards:
            x, y, z = card.marks
            total += a * x + b * y + c * z  # type: ignore[assignment, operator]
        totals[box.category, box.box] = total
    return totals


def whole(boxes: Sequence[Box]) -> Tally:
    return tally(dict.fromkeys(CATEGORIES, RULES), boxes, overall=CATEGORIES, seed="bench")


def traces(boxes: Sequence[Box]) -> object:
    """The tally with the values of every tie-break, which are made when they are asked for."""
    result = whole(boxes)
    return [box_ties(result, category) for category in CATEGORIES], team_ties(result)


def medians(*works: Callable[[], object], runs: int, clock: Callable[[], float] = time.process_time) -> list[float]:
    """Median seconds of each, of this process's own time by default, so that a busy machine does not count."""
    times: list[list[float]] = [[] for _ in works]
    for _ in range(runs):
        for work, taken in zip(works, times, strict=True):
            start = clock()
            work()
            taken.append(clock() - start)
    return [statistics.median(taken) for taken in times]


def write_cards(boxes: Sequence[Box], path: Path) -> None:
    with open(path, "w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(("category", "box", "table", "seat", *(each.key for each in RULES.criteria), "team"))
        writer.writerows((b.category, b.box, b.table, c.seat, *c.marks, b.team) for b in boxes for c in b.cards)


def command(folder: Path) -> dict[str, object]:
    arguments = ["tally", "cards.csv", "--rules", "rules.toml", "--seed", "bench"]
    done = subprocess.run(
        [sys.executable, str(ROOT / "manage.py"), *arguments], cwd=folder, check=True, capture_output=True
    )
    return dict(json.loads(done.stdout))


def write_workbook(boxes: Sequence[Box], path: Path) -> None:
    """The contest as a spreadsheet has it: a card's weighted mark, a box's sum less its smallest, ranks, team sums."""
    from openpyxl import Workbook

    book = Workbook()
    cards, totals, teams = book.active, book.create_sheet("boxes"), book.create_sheet("teams")
    row = 0
    for number, box in enumerate(boxes, 1):
        first = row + 1
        for card in box.cards:
            row += 1
            cards.append((box.category, box.box, *card.marks, f"=C{row}+2*D{row}+1.5*E{row}"))
        span = f"Sheet.F{first}:F{row}".replace("Sheet.", f"{cards.title}!")
        rank = f'=COUNTIFS(A$1:A${len(boxes)},A{number},D$1:D${len(boxes)},">"&D{number})+1'
        totals.append((box.category, box.box, box.team, f"=SUM({span})-MIN({span})", rank))
    for number, team in enumerate(dict.fromkeys(box.team for box in boxes), 1):
        n = len(boxes)
        teams.append((team, f"=SUMIF(boxes!C$1:C${n},A{number},boxes!D$1:D${n})", f"=RANK(B{number},B$1:B$100)"))
    book.active = 2
    book.save(path)


def recalculate(program: str, folder: Path) -> None:
    subprocess.run(
        [program, f"-env:UserInstallation=file://{folder}/office", "--headless", "--convert-to", "csv", "contest.xlsx"],
        cwd=folder,
        check=True,
        capture_output=True,
        timeout=600,
    )


def main() -> int:
    boxes, tenfold = contest(100), contest(1000)
    result = whole(boxes)
    reasons = sum(len(box.dropped) for listed in result.categories.values() for box in listed)
    tied = sum(len(box_ties(result, category)) for category in CATEGORIES)
    print(f"{len(boxes)} boxes, {sum(len(box.cards) for box in boxes)} cards, {reasons} reasons, {tied} boxes in ties")

    loop, quick, three, engine, printed = medians(
        lambda: bare(boxes),
        lambda: mapped(boxes),
        lambda: unrolled(boxes),
        lambda: whole(boxes),
        lambda: to_json(whole(boxes)),
        runs=101,
    )
    print(f"bare loop {loop * 1e3:.2f} ms, tally {engine * 1e3:.2f} ms: {engine / loop:.2f} times (at most {MOST:g})")
    print(f"  for comparison: by sum and map {quick * 1e3:.2f} ms, {engine / quick:.2f} times;")
    print(f"  three criteria written out {three * 1e3:.2f} ms, {engine / three:.2f} times;")
    print(f"  tally and its JSON values {printed * 1e3:.2f} ms, {printed / loop:.2f} times the bare loop")

    (more,) = medians(lambda: whole(tenfold), runs=15)
    again, traced = medians(lambda: whole(boxes), lambda: traces(boxes), runs=51)
    tentimes = more / again
    print(f"ten times the cards: {more * 1e3:.1f} ms, {tentimes:.2f} times (at most {MOST_TENFOLD:g})")
    (bare_more,) = medians(lambda: bare(tenfold), runs=15)
    print(f"  the bare loop itself, for comparison: {bare_more / loop:.2f} times")
    print(f"  with what was compared in every tie: {traced * 1e3:.2f} ms, {traced / again:.2f} times without")

    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "rules.toml").write_text(shipped_text("taste-double"), encoding="utf-8")
        write_cards(boxes, folder / "cards.csv")
        (taken,) = medians(lambda: command(folder), runs=7, clock=time.perf_counter)
        print(f"whole command, {len(boxes) * 6} cards: {taken:.3f} s")
        write_cards(tenfold, folder / "cards.csv")
        (tentaken,) = medians(lambda: command(folder), runs=3, clock=time.perf_counter)
        times = tentaken / taken
        print(f"whole command, ten times the cards: {tentaken:.3f} s, {times:.2f} times (at most {MOST_TENFOLD:g})")
        office = shutil.which("soffice") or shutil.which("libreoffice")
        if office is None:
            print("LibreOffice is not installed: comparison skipped")
        else:
            write_workbook(boxes, folder / "contest.xlsx")
            recalculate(office, folder)  # the first start makes its profile
            (recalculated,) = medians(lambda: recalculate(office, folder), runs=3, clock=time.perf_counter)
            print(f"LibreOffice headless, the same contest: {recalculated:.2f} s, {recalculated / taken:.0f} times")
    return int(engine / loop > MOST or tentimes > MOST_TENFOLD or times > MOST_TENFOLD)


if __name__ == "__main__":
    sys.exit(main())
