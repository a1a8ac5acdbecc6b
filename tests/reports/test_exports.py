"""Results as files: exact, the same as the engine's, and harmless in a spreadsheet."""

import csv
import io
import json
import subprocess
import sys
from decimal import Decimal
from pathlib import Path

import pytest
from django.conf import settings
from django.urls import reverse
from openpyxl import load_workbook

from contest.exports import csv_text, harmless, xlsx_answer
from contest.rules.say import total_text
from judging.rules.tally import Box, Card
from judging.rules.tally import tally as tally_boxes
from judging.services.tally import close_tally, sign_off
from reports.results.publishing import publish
from tests.factories import make_contest, make_drawn, mark_everything, take_in, unguarded

# The signs that start a formula: OWASP, "CSV Injection", https://owasp.org/www-community/attacks/CSV_Injection
FORMULAS = ["=1+2", '=HYPERLINK("http://example.com")', "+1", "-1+1", "@SUM(A1)", "\t=1", "\r=1", " =1+2", "＝1+2"]


@pytest.mark.parametrize("text", FORMULAS)
def test_a_text_is_never_a_formula_in_csv(text):
    assert harmless(text) == f"'{text}"
    assert next(csv.reader(io.StringIO(csv_text([text], []))))[0].startswith("'")


@pytest.mark.parametrize("value", ["Team Alder", "Team - Alder", "", "12", None, 5, Decimal("-1.5")])
def test_what_is_harmless_stays_as_it_is(value):
    assert harmless(value) == value


def test_a_text_is_never_a_formula_in_xlsx():
    answer = xlsx_answer("x.xlsx", {"a": (["name"], [[text] for text in FORMULAS]), "A": (["n"], [[Decimal("1.5")]])})
    book = load_workbook(io.BytesIO(answer.content))
    assert book.sheetnames == ["a", "A 2"]
    cells = [row[0] for row in book["a"].iter_rows(min_row=2)]
    assert [cell.data_type for cell in cells] == ["s"] * len(FORMULAS)
    assert cells[0].value == "=1+2"
    assert all(cell.quotePrefix for cell in cells)
    assert (book["A 2"]["A2"].value, book["A 2"]["A2"].data_type) == (1.5, "n")


def test_a_sheet_title_with_forbidden_signs_does_not_break_the_file():
    answer = xlsx_answer("x.xlsx", {"Ribs [hot]/cold: a very long name of a category": (["n"], [])})
    (title,) = load_workbook(io.BytesIO(answer.content)).sheetnames
    assert title == "Ribs -hot--cold- a very long na"


@pytest.fixture
def contest(db):
    contest = make_drawn(make_contest(teams=6, tables=2, seats=6))
    team = contest.entries.get(number=1).team
    team.name = "=1+2"
    team.save()
    take_in(contest)
    with unguarded():
        contest.boxes.get(number="202").turn_ins.update(status="late", reason="twelve minutes")
    mark_everything(contest, missing=1)
    return contest


@pytest.fixture
def published(contest, monkeypatch):
    # The missing card is ruled lost by the head judge.
    box = contest.boxes.order_by("number").last()
    seat = box.table.seats.last()
    contest.rulings.create(kind="lost", scope="card", box=box, seat=seat, reason="blown away", by="head judge")
    sign_off(tally=close_tally(contest=contest, by="head judge"), by="head judge")
    publish(contest=contest, by="organiser")
    return contest


def rows_of(client, contest):
    answer = client.get(reverse("reports:results_csv", args=[contest.slug]))
    assert answer["Content-Type"] == "text/csv; charset=utf-8"
    assert f'filename="{contest.slug}-results.csv"' in answer["Content-Disposition"]
    return list(csv.DictReader(io.StringIO(answer.content.decode("utf-8-sig"))))


def test_csv_and_xlsx_hold_every_place(published, client):
    rows = rows_of(client, published)
    assert [sum(row["category"] == name for row in rows) for name in ("Chicken", "Ribs", "Overall")] == [6, 6, 6]
    best = rows[0]
    assert (best["category"], best["place"], best["total"]) == ("Chicken", "1", "184")
    assert "came late" in {row["remark"] for row in rows}
    assert "'=1+2" in {row["team"] for row in rows}
    answer = client.get(reverse("reports:results_xlsx", args=[published.slug]))
    book = load_workbook(io.BytesIO(answer.content))
    assert book.sheetnames == ["Chicken", "Ribs", "Overall"]
    first = [cell.value for cell in book["Chicken"][2]]
    assert first[0] == 1
    assert first[3:5] == ["184", 184]
    assert all(cell.data_type != "f" for sheet in book for row in sheet.iter_rows() for cell in row)


def exported_boxes(contest):
    """The contest's cards read with other queries than the site's own bridge."""
    for box in contest.boxes.select_related("category", "table").order_by("number"):
        cards = tuple(
            Card(
                card.seat.letter,
                tuple(
                    card.readings.get(standing=True).marks.get(criterion=key).value.normalize()
                    for key in ("appearance", "taste", "tenderness")
                ),
            )
            for card in box.cards.select_related("seat").order_by("seat__letter")
        )
        status = box.turn_ins.get(standing=True).status
        yield Box(box.category.key, box.number, str(box.table.number), status, cards, str(box.pairing.entry.number))


def test_the_sites_standings_are_the_engines_on_the_exported_cards(published):
    from contest.selectors.rules import contest_rules

    rules = contest_rules(published)
    seed = published.draws.get().seed
    result = tally_boxes(
        {"chicken": rules, "ribs": rules}, exported_boxes(published), overall=["chicken", "ribs"], seed=seed
    )
    outcome = published.tallies.get().outcome
    for group in outcome["categories"]:
        assert [
            (each.box, each.rank, each.total and total_text(each.total), each.status)
            for each in result.categories[group["key"]]
        ] == [(box["box"], box["rank"], box["total"], box["status"]) for box in group["boxes"]]
    assert [(each.team, each.rank, total_text(each.total)) for each in result.overall] == [
        (team["team"], team["rank"], team["total"]) for team in outcome["overall"]
    ]


def test_the_open_command_gives_the_same_ranks(published, tmp_path):
    cards, turnins = tmp_path / "cards.csv", tmp_path / "turnins.csv"
    (tmp_path / "rules.toml").write_text(published.rule_set.document)
    with cards.open("w", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(["category", "box", "table", "seat", "appearance", "taste", "tenderness", "team"])
        for box in exported_boxes(published):
            writer.writerows([box.category, box.box, box.table, card.seat, *card.marks, box.team] for card in box.cards)
    with turnins.open("w", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(["category", "box", "status", "team"])
        writer.writerows([box.category, box.box, box.status, box.team] for box in exported_boxes(published))
    arguments = [cards, "--rules", tmp_path / "rules.toml", "--turnins", turnins, "--overall", "chicken,ribs"]
    arguments += ["--seed", published.draws.get().seed]
    run = "import sys; from judging.tally_cli import main; sys.exit(main(sys.argv[1:]))"
    answer = subprocess.run(
        [sys.executable, "-c", run, *map(str, arguments)],
        cwd=Path(settings.BASE_DIR),
        capture_output=True,
        text=True,
        check=True,
    )
    printed = json.loads(answer.stdout)
    outcome = published.tallies.get().outcome
    for group in outcome["categories"]:
        assert [(box["box"], box["rank"], box["total"]) for box in printed["categories"][group["key"]]] == [
            (box["box"], box["rank"], box["total"]) for box in group["boxes"]
        ]
    assert [(team["team"], team["rank"], team["total"], team["eligible"]) for team in printed["overall"]] == [
        (team["team"], team["rank"], team["total"], team["eligible"]) for team in outcome["overall"]
    ]
