"""Papers for the judges' tables: tents and seat cards, score sheets, the captain's flight sheets.

All of it is of the sealed side: boxes by number, table and serving position. No team, pairing or turn-in is loaded;
of a box that the desk kept back it says "not judged" and no more.
"""

from dataclasses import dataclass

from django.urls import reverse

from contest.models import Contest, Pass, Seat, Table
from contest.selectors.categories import held_categories
from contest.selectors.draw import standing_draw
from contest.selectors.rules import category_rules
from contest.selectors.seating import seats, sittings
from contest.services.passes import issue_pass, word_of
from judging.selectors.flights import Flight, flights
from reports.paper.before import scale_of, seat_rows
from reports.paper.look import Options
from reports.paper.sheet import Sheet, qr_picture

#: The most boxes on a page of score sheets: below that a row is too low to write in.
MOST_ROWS = 14
SEAT_CARDS = 8


@dataclass(frozen=True)
class SheetRow:
    """A line of a score sheet; `place` in serving order counts the judged boxes, as the captain's page does."""

    place: int | None
    number: str
    judged: bool


def sheet_rows(flight: Flight) -> list[SheetRow]:
    rows, place = [], 0
    for box in flight.boxes:
        judged = box.pk in flight.judged
        place += judged
        rows.append(SheetRow(place if judged else None, box.number, judged))
    return rows


def pages_of(rows: list[SheetRow]) -> list[list[SheetRow]]:
    """Rows in pages of about equal length, MOST_ROWS at most."""
    count = max(1, -(-len(rows) // MOST_ROWS))
    size = -(-len(rows) // count)
    return [rows[start : start + size] for start in range(0, len(rows), size)]


def row_height(rows: int) -> str:
    """The class that gives rows the height the page has room for."""
    return "tallest" if rows <= 6 else "tall" if rows <= 8 else "middle" if rows <= 10 else "low"


def score_sheets(contest: Contest, options: Options) -> list[Sheet]:
    """One for each seat and flight, vacant seats left out; criteria in sheet order, as the clerk keys them."""
    found = []
    for flight in flights(contest):
        pages = pages_of(sheet_rows(flight))
        context = {
            "contest": contest,
            "category": flight.category,
            "table": flight.table,
            "pages": pages,
            "height": row_height(max(map(len, pages))),
            "rules": category_rules(flight.category),
            "scale": scale_of(category_rules(flight.category)),
        }
        seated = tuple(each.seat.letter for each in flight.sheets if not each.vacant)
        if seated:
            found.append(Sheet("score_sheet", context, seats=seated))
    return found


def write_ins(contest: Contest, options: Options) -> list[Sheet]:
    """Score sheets with nothing filled in, for the one that gets lost or wet."""
    per_table = max((len(flight.boxes) for flight in flights(contest)), default=6)
    rows = [SheetRow(number, "", True) for number in range(1, min(max(per_table, 6), MOST_ROWS) + 1)]
    return [
        Sheet(
            "score_sheet",
            {
                "contest": contest,
                "category": category,
                "pages": [rows],
                "height": row_height(len(rows)),
                "rules": category_rules(category),
                "scale": scale_of(category_rules(category)),
                "blank": True,
            },
            seats=("",) * options.write_ins,
        )
        for category in held_categories(contest)
    ]


def captains(contest: Contest, options: Options) -> list[Sheet]:
    """A sheet for each flight: boxes to tick in, score sheets to tick complete, the draw's fingerprint to compare."""
    draw = standing_draw(contest)
    return [
        Sheet("captain", {"contest": contest, "flight": flight, "rows": sheet_rows(flight), "draw": draw})
        for flight in flights(contest)
    ]


def tents(contest: Contest, options: Options) -> list[Sheet]:
    """A tent for each table with the captain's sign-in, and a card for each seat.

    A seat's own sign-in stands on its card only where judges' phones are switched on.
    """
    named = seat_rows(seats(contest), held_categories(contest), sittings(contest))
    found = [
        Sheet("tent", {"contest": contest, "table": table, "door": _door(contest, options, table=table)})
        for table in contest.tables.all()
    ]
    cards = [
        {
            "table": seat.table,
            "letter": seat.letter,
            "judge": _first_name_there(named[seat.table.number], seat.letter),
            "door": _door(contest, options, seat=seat) if contest.phones else None,
        }
        for seat in seats(contest)
    ]
    pages = [cards[start : start + SEAT_CARDS] for start in range(0, len(cards), SEAT_CARDS)]
    return found + [Sheet("seat_cards", {"contest": contest, "cards": page}) for page in pages]


def _first_name_there(rows: list, letter: str) -> str:
    spells = next(row.spells for row in rows if row.letter == letter)
    return spells[0].judge if spells and spells[0].judge != "vacant" else ""


def _door(
    contest: Contest, options: Options, *, table: Table | None = None, seat: Seat | None = None
) -> dict[str, str] | None:
    """Pass word and code of a table or seat; none where this site cannot be reached from another device."""
    if not options.address:
        return None
    opens = Pass.Opens.TABLE if table else Pass.Opens.SEAT
    word = word_of(issue_pass(opens=opens, contest=contest, table=table, seat=seat))
    address = f"{options.address}{reverse('contest:pass_in')}"
    return {"word": word, "address": address, "qr": qr_picture(f"{address}#{word}")}
