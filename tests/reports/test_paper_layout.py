"""Page counts and what a page holds, read back from the PDF: nothing cut off, nothing on top of anything else.

The counts are of this project's own sheets, counted by hand where a formula gives them (two labels a box and thirty a
sheet, one score sheet a seat and flight), else read off the printed pages once and looked at.
"""

import itertools
import re

import pytest

from contest.models import Contest, Sitting
from judging.services.tally import close_tally, sign_off
from reports.paper.catalogue import PAPERS
from reports.results.publishing import publish
from tests import factories
from tests.reports.papers import MM, faults, letters_on, print_papers, text_of

pytestmark = pytest.mark.django_db

SIZES = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
NAMES = (
    "Команда Береза",
    "Ομάδα Πεύκο",
    "Team " + "Longwindedness " * 7,
    "W" * 120,
    "Équipe Ñandú Żółw",
)
# Whatever the number of teams: the rules on a page, two sheets to write in for the one category, a test of the labels.
FIXED = {"cooks": 1, "write-in": 2, "label-test": 1}
# teams: {paper: pages}, A4 then Letter where they differ
COUNTS = {
    6: {"check-in": 2, "judges": 2, "tents": 2, "score": 6, "captains": 1, "labels": 1, "ledger": 2, **FIXED},
    24: {"check-in": 3, "judges": 2, "tents": 7, "score": 24, "captains": 4, "labels": 2, "ledger": (2, 3), **FIXED},
    60: {"check-in": 6, "judges": 3, "tents": 18, "score": 60, "captains": 10, "labels": 4, "ledger": 4, **FIXED},
    100: {
        "check-in": 8,
        "judges": (3, 4),
        "tents": 30,
        "score": 102,
        "captains": 17,
        "labels": 7,
        "ledger": (5, 6),
        **FIXED,
    },
}
# One category: three places called and no champion, a call sheet of a page, a page for each team's one box.
RESULT_COUNTS = {
    6: {"calls": 1, "book": 3, "teams": 6, "certificates": 3},
    24: {"calls": 1, "book": 5, "teams": 24, "certificates": 3},
    60: {"calls": 1, "book": 10, "teams": 60, "certificates": 3},
    100: {"calls": 1, "book": (16, 17), "teams": 100, "certificates": 3},
}


def drawn(teams: int, **fields: object) -> Contest:
    fields = {"tables": -(-teams // 6), "categories": ("chicken",), **fields}
    return factories.make_drawn(factories.make_contest(teams=teams, **fields))


def published(contest: Contest) -> Contest:
    factories.take_in(contest)
    factories.mark_everything(contest)
    sign_off(tally=close_tally(contest=contest, by="clerk"), by="head judge")
    publish(contest=contest, by="organiser")
    contest.refresh_from_db()
    return contest


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("teams", COUNTS)
def test_papers_take_as_many_pages_as_they_should(teams: int, size: str) -> None:
    contest = drawn(teams)
    for key, wanted in COUNTS[teams].items():
        found = print_papers(contest, key, size=size)
        wide, high = SIZES[size]
        assert {(round(page.width / MM, 1), round(page.height / MM, 1)) for page in found.pages} == {(wide, high)}
        pages = wanted if isinstance(wanted, int) else wanted[size == "letter"]
        assert len(found.pages) == pages, f"{key} for {teams} teams"


@pytest.mark.parametrize("teams", COUNTS)
def test_papers_of_the_result_take_as_many_pages_as_they_should(teams: int) -> None:
    contest = published(drawn(teams))
    for size in SIZES:
        for key, wanted in RESULT_COUNTS[teams].items():
            found = print_papers(contest, key, size=size)
            pages = wanted if isinstance(wanted, int) else wanted[size == "letter"]
            assert len(found.pages) == pages, f"{key} for {teams} teams on {size}"


@pytest.mark.parametrize("size", SIZES)
def test_long_and_foreign_names_are_whole_and_stay_in_their_place(size: str) -> None:
    contest = factories.make_contest(teams=24, tables=4, categories=("chicken", "ribs"))
    contest.name = "The Long and Winding Example Cook-off of the Year " * 2
    contest.save()
    for entry, name in zip(contest.entries.select_related("team"), NAMES, strict=False):
        entry.team.name = name.strip()
        entry.team.save()
    contest = published(factories.make_drawn(contest))
    for key in PAPERS:
        options = {"team": 4} if key == "teams" else {}
        found = print_papers(contest, key, size=size, address="http://192.168.1.20:8000", **options)
        pages = found.pages if len(found.pages) < 8 else [*found.pages[:3], *found.pages[-2:]]
        assert faults(pages) == [], key
        if key in ("check-in", "ledger", "book"):
            text = re.sub(r"\s", "", text_of(found))
            for name in ("Команда Береза", "Ομάδα Πεύκο", "Équipe Ñandú Żółw"):
                assert re.sub(r"\s", "", name) in text, f"{name} in {key}"
            # Lines of one cell may be read between those of its neighbours: every letter is there all the same.
            assert text.count("W") >= 120


@pytest.mark.parametrize("size", SIZES)
def test_no_row_stands_alone_on_a_page(size: str) -> None:
    for teams in range(24, 30):  # around the end of the first page
        contest = drawn(teams, tables=5)
        for key in ("check-in", "ledger"):
            for page in print_papers(contest, key, size=size).pages:
                rows = len(re.findall(r"^\d+ Team ", page.extract_text() or "", re.M))
                assert rows == 0 or rows >= 3, f"{teams} teams, {key}, page {page.page_number}"


@pytest.mark.parametrize("size", SIZES)
def test_no_standing_begins_or_ends_with_one_row_on_a_page(size: str) -> None:
    contest = published(drawn(23, tables=4, categories=("chicken", "ribs", "pork", "brisket")))
    rows = re.compile(r"^(?:\d+|–) Team .* [\d.]+$", re.M)
    names = re.compile(r"^(?:Place Team Number Points)$", re.M)
    begun = 0
    for page in print_papers(contest, "book", size=size).pages:
        found = [len(rows.findall(piece)) for piece in names.split(page.extract_text())[1:]]
        begun += len(found)
        assert all(count >= 3 for count in found), f"page {page.page_number}: {found}"
    assert begun > 5  # four categories and the overall, and at least one that goes on overleaf


@pytest.mark.parametrize("size", SIZES)
def test_a_tables_name_stands_over_its_seats(size: str) -> None:
    contest = drawn(60)
    named = 0
    for page in print_papers(contest, "judges", size=size).pages:
        words = page.extract_words()
        for word in words:
            if word["text"] != "Table":
                continue
            named += 1
            below = [
                other
                for other in words
                if other["text"] == "A" and abs(other["x0"] - word["x0"]) < 30 and 0 < other["top"] - word["top"] < 30
            ]
            assert below, f"page {page.page_number} at {word['top']:.0f}"
    assert named == 10


@pytest.mark.parametrize("size", SIZES)
def test_nothing_on_a_seats_card_lies_where_it_is_cut(size: str) -> None:
    contest = drawn(6)
    contest.name, contest.phones = "The Long and Winding Example Cook-off of the Year, Second Try", True
    contest.save()
    judge = Sitting.objects.filter(seat__table__contest=contest, seat__letter="A").first().judge
    judge.name = "Judge " + "Birch-Hornbeam " * 4
    judge.save()
    found = print_papers(contest, "tents", size=size, address="http://192.168.1.20:8000")
    page = found.pages[-1]
    for char in letters_on(page):
        top, bottom = char["top"] / MM, char["bottom"] / MM
        assert int((top - 1) // 69) == int((bottom + 1) // 69), f"{char['text']} at {top:.1f} mm"
    assert faults([page]) == []
    assert len(re.findall(r"[a-z2-9]{4}-[a-z2-9]{4}-[a-z2-9]{4}", text_of(found))) == 7  # six seats and the captain


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("boxes", [6, 7, 8, 10, 14, 15, 24])
def test_a_flight_of_any_length_fits_its_score_sheets(boxes: int, size: str) -> None:
    contest = drawn(boxes, tables=1, seats=3, rules="four-criteria")
    found = print_papers(contest, "score", "captains", size=size)
    a_seat = 1 if boxes <= 14 else 2
    a_captain = 1 if boxes <= 15 else 2
    assert len(found.pages) == 3 * a_seat + a_captain
    assert faults(found.pages) == []
    rows = [number for page in found.pages[:a_seat] for number in _numbers(page)]
    assert rows == list(contest.boxes.order_by("position").values_list("number", flat=True))
    for page in found.pages[:a_seat]:
        tops = [word["top"] for word in page.extract_words() if re.fullmatch(r"2\d\d", word["text"])]
        rooms = [(below - above) / MM for above, below in itertools.pairwise(tops)]
        assert min(rooms) >= 11.5, "too low for a figure written by hand"


def _numbers(page: object) -> list[str]:
    return re.findall(r"\b2\d\d\b", page.extract_text())  # type: ignore[attr-defined]


def test_each_seat_has_its_own_sheet_and_the_columns_are_as_the_clerk_keys_them() -> None:
    contest = drawn(6, rules="four-criteria")
    pages = print_papers(contest, "score").pages
    # The letters of all seats are laid out on one page, and each sheet shows its own alone.
    large = ["".join(char["text"] for char in page.chars if char["size"] > 23) for page in pages]
    assert large == ["1A", "1B", "1C", "1D", "1E", "1F"]
    columns = ["Box", "Appearance", "Taste", "Tenderness", "Overall", "Comment"]
    for page in pages:
        left = {word["text"]: word["x0"] for word in page.extract_words() if word["text"] in columns}
        assert sorted(left, key=left.__getitem__) == columns


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize(
    "options",
    [
        {"grid": "3x10"},
        {"grid": "2x7"},
        {"grid": "custom", "columns": 2, "rows": 4, "width": 100.0, "height": 60.0, "left": 4.0, "top": 8.0},
        {"grid": "3x10", "right": 1.5, "down": -1.0, "scale": 99.0},
    ],
)
def test_every_label_stays_inside_its_place_on_the_sheet(options: dict, size: str) -> None:
    contest = drawn(12, categories=("chicken", "a-category-of-a-long-name"))
    found = print_papers(contest, "labels", size=size, **options)
    from reports.paper.look import Options

    grid = Options(size=size, **options).label_grid
    assert len(found.pages) == -(-2 * 24 // grid.a_page)
    for page in found.pages:
        for char in letters_on(page):
            left, right, top, bottom = (char[side] / MM for side in ("x0", "x1", "top", "bottom"))
            column = [at for at in grid.lefts() if at <= left and right <= at + grid.width]
            row = [at for at in grid.tops() if at - 0.5 <= top and bottom <= at + grid.height + 0.5]
            assert column, f"{char['text']} at {left:.1f} mm"
            assert row, f"{char['text']} at {top:.1f} mm"
    assert faults(found.pages, margin=0) == []


def test_what_is_called_is_read_from_last_to_first() -> None:
    contest = published(drawn(12, categories=("chicken", "ribs")))
    text = text_of(print_papers(contest, "calls"))
    order = [
        text.index(word) for word in ("third place", "second place", "first place", "Reserve grand", "Grand champion")
    ]
    assert order == sorted(order)


def test_a_teams_sheet_shows_what_was_dropped_and_where_to_find_it_online() -> None:
    contest = published(drawn(12, categories=("chicken", "ribs")))
    entry = contest.entries.get(number=5)
    found = print_papers(contest, "teams", address="http://192.168.1.20:8000", team=5)
    text = text_of(found)
    assert len(found.pages) == 1
    assert "dropped: the lowest of six cards" in re.sub(r"\s+", " ", text)
    assert "mean of the field" in text
    assert str(entry.sheet_key) in re.sub(r"\s", "", text)
    everybody = print_papers(contest, "teams")
    assert len(everybody.pages) == 12
    for entry, page in zip(contest.entries.select_related("team"), everybody.pages, strict=True):
        assert str(entry.team) in page.extract_text()
        assert "page 1 of 1" in page.extract_text()
