"""Papers with names and places: the call sheet once signed off; the rest once published."""

from dataclasses import dataclass
from fractions import Fraction

from django.urls import reverse

from contest.models import Contest, Entry
from contest.rules.ruleset import in_words
from contest.selectors.draw import standing_draw
from contest.selectors.rules import contest_rules
from judging.models import Tally
from judging.rules.workings import team_working
from reports.paper.look import Options
from reports.paper.sheet import Sheet, qr_picture
from reports.results import places
from reports.results.places import Place, calls, published_tally, results_of, signed_tally
from reports.results.sealing import seal_lines, seal_summary
from reports.results.sheets import SheetBox, sheet_of


def call_sheet(contest: Contest, options: Options) -> list[Sheet]:
    """Category by category from the last place called up to the first, then reserve and grand champion."""
    tally = signed_tally(contest)
    if tally is None:
        return []
    called, champions = calls(contest, tally)
    return [Sheet("calls", {"contest": contest, "tally": tally, "called": called, "champions": champions})]


def results_book(contest: Contest, options: Options) -> list[Sheet]:
    """Standings, workings in the public's words, and how the contest was sealed. No table, seat or judge."""
    tally = published_tally(contest)
    if tally is None:
        return []
    results = results_of(tally)
    outcome = tally.standings
    names = outcome.teams
    lines = seal_lines(contest)
    front = {
        "contest": contest,
        "tally": tally,
        "results": results,
        "rules": in_words(contest_rules(contest)),
        "draw": standing_draw(contest),
        "seal_lines": lines,
        "seal_summary": seal_summary(contest, lines),
        "publication": tally.publication,
        "address": f"{options.address}{reverse('reports:results', args=[contest.slug])}" if options.address else "",
        "workings": [
            {
                "name": category.name,
                "rows": [
                    {
                        "team": names[box.team],
                        "number": box.team,
                        "lines": places.public_lines(tally, category.key, box),
                    }
                    for box in category.boxes
                ],
            }
            for category in outcome.categories
        ],
        "overall_workings": [
            {
                "team": names[row.team],
                "number": row.team,
                "lines": team_working(outcome, row.team, tally.source.overall_rules),
            }
            for row in (outcome.overall if results.overall else ())
        ],
    }
    return [Sheet("book", front)]


CHART_WIDTH, CHART_LEFT, CHART_RIGHT = 480, 16, 464
COLUMN = 9  # the width of a dot and a little air
LOWEST, HIGHEST = 32, 4  # where the first dot of a column lies, and how high one may rise; y counts downwards
STEP = 8


@dataclass(frozen=True)
class Chart:
    """The totals of a category along one line: where each box lies, own box ringed. Positions in its own units.

    `columns`: (x, y of the highest dot) of boxes with about the same total, one above the other, `step` apart.
    """

    width: int
    columns: list[tuple[float, float]]
    step: float
    own: float
    own_height: float
    table: float | None
    field: float | None
    lowest: str
    highest: str


def chart_of(box: SheetBox, totals: list[Fraction]) -> Chart | None:
    """None where fewer than three boxes have a total, or all have the same."""
    if box.total is None or len(totals) < 3 or min(totals) == max(totals):
        return None
    low, high = min(totals), max(totals)

    def at(total: Fraction) -> float:
        return round(CHART_LEFT + float((total - low) / (high - low)) * (CHART_RIGHT - CHART_LEFT), 1)

    columns: dict[int, list[Fraction]] = {}
    for total in sorted(totals):
        columns.setdefault(round(at(total) / COLUMN), []).append(total)
    most = max(map(len, columns.values()))
    step = min(STEP, (LOWEST - HIGHEST) / max(1, most - 1))  # many equal totals: the dots move together
    mine = columns[round(at(Fraction(box.total)) / COLUMN)]
    return Chart(
        CHART_WIDTH,
        [(at(column[0]), round(LOWEST - step * (len(column) - 1), 2)) for column in columns.values()],
        round(step, 2),
        at(mine[0]),
        round(LOWEST - step * mine.index(Fraction(box.total)), 2),
        at(Fraction(box.table_mean)) if box.table_mean and box.tables > 1 else None,
        at(Fraction(box.field_mean)) if box.field_mean else None,
        str(low) if low.denominator == 1 else f"{float(low):.2f}",
        str(high) if high.denominator == 1 else f"{float(high):.2f}",
    )


def team_sheets(contest: Contest, options: Options) -> list[Sheet]:
    """Every team's own score sheet, or one team's: every seat's marks, what was dropped, the figures beside them."""
    tally = Tally.objects.filter(contest=contest, publication__isnull=False).order_by("-revision").first()
    if tally is None:
        return []
    totals = {
        category.name: [Fraction(box.total) for box in category.boxes if box.total is not None]
        for category in tally.standings.categories
    }
    found = []
    for entry in Entry.objects.filter(contest=contest).select_related("team").order_by("number"):
        if options.team and entry.number != options.team:
            continue
        boxes = [(box, chart_of(box, totals[box.category])) for box in sheet_of(tally, str(entry.number))]
        if boxes:
            found.append(
                Sheet("team_sheet", _of_team(contest, tally, entry, boxes, options), title=str(entry.team)[:40])
            )
    return found


def _of_team(contest: Contest, tally: Tally, entry: Entry, boxes: list, options: Options) -> dict:
    address = ""
    if options.address:
        address = f"{options.address}{reverse('reports:sheet', args=[contest.slug, entry.sheet_key])}"
    return {
        "contest": contest,
        "tally": tally,
        "entry": entry,
        "boxes": boxes,
        "address": address,
        "qr": qr_picture(address) if address else "",
    }


@dataclass(frozen=True)
class Certificate:
    place: str
    team: str
    what: str
    champion: bool = False


def certificates(contest: Contest, options: Options) -> list[Sheet]:
    """For the champions, and for every place that is called."""
    tally = published_tally(contest)
    if tally is None:
        return []
    called, champions = calls(contest, tally)
    made = [
        Certificate(call.title, place.name, "all categories together", champion=True)
        for call in reversed(champions)
        for place in call.places
    ]
    made += [
        Certificate(_place_words(place), place.name, call.title) for call in called for place in reversed(call.places)
    ]
    return [
        Sheet("certificate", {"contest": contest, "each": each, "length": _name_class(each.team)}, landscape=True)
        for each in made
    ]


def _place_words(place: Place) -> str:
    from contest.rules.say import ordinal

    words = f"{ordinal(place.rank or 0)} place"
    return f"shared {words}" if place.shared else words


def _name_class(name: str) -> str:
    """Long names are set smaller, so that they stay on one page."""
    return "short" if len(name) <= 24 else "long" if len(name) <= 60 else "longest"
