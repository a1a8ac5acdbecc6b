"""All papers: what they are called, who may print them and from when on, and the packets they come in.

The seal holds for paper as it does on screen. Whose box is whose is on papers 4 and 5, which only the desk prints;
marks and places are on papers that come after closing; the judges' packet names no team.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from django.template.loader import render_to_string

from contest.models import Contest
from reports.paper import after, before, desk, tables
from reports.paper.look import Options, label_rules, page_rules
from reports.paper.pdf import Part
from reports.paper.sheet import Sheet
from reports.results.places import signed_tally

SEALED_SIDE = frozenset({"organiser", "head_judge", "tally"})
ACCOUNTS = SEALED_SIDE | {"announcer", "desk"}
CALLERS = frozenset({"organiser", "announcer"})
DESK = frozenset({"desk"})
ORGANISER = frozenset({"organiser"})


@dataclass(frozen=True)
class Paper:
    """`since`: always | drawn | signed | published. `labels` lie on a sheet of labels, `bare` pages have no margin.

    `parts` may print it from the page of papers: nobody may where another page prints it.
    """

    key: str
    name: str
    about: str
    build: Callable[[Contest, Options], list[Sheet]]
    parts: frozenset[str] = frozenset()
    since: str = "always"
    labels: bool = False
    bare: bool = False


PAPERS: Mapping[str, Paper] = {
    paper.key: paper
    for paper in (
        Paper("check-in", "Check-in and meat inspection", "a line for each team, with the cautions",
              before.check_in, ORGANISER | DESK),
        Paper("cooks", "Cooks’ meeting", "turn-in times and windows, the rules in words",
              before.cooks_meeting, ACCOUNTS),
        Paper("judges", "Judges’ meeting", "who sits where, the order of judging, how to mark",
              before.judges_meeting, SEALED_SIDE),
        Paper("tents", "Table tents and seat cards", "table numbers with the captains’ sign-in, a card for each seat",
              tables.tents, ORGANISER, bare=True),
        Paper("score", "Score sheets", "one for each seat and flight, boxes in serving order",
              tables.score_sheets, SEALED_SIDE, since="drawn"),
        Paper("write-in", "Score sheets to write in", "blank ones, for a sheet that is lost or wet",
              tables.write_ins, SEALED_SIDE, since="drawn"),
        Paper("captains", "Captains’ flight sheets", "boxes to tick in, score sheets to tick complete",
              tables.captains, SEALED_SIDE, since="drawn"),
        Paper("labels", "Box labels", "two for each box, sorted by number",
              desk.labels, DESK, since="drawn", labels=True, bare=True),
        Paper("label-test", "Test of the label sheet", "frames to hold behind a sheet of labels",
              desk.label_test, DESK, since="drawn", labels=True, bare=True),
        Paper("ledger", "Ledger and its envelope", "which team has which box number: for the desk alone",
              desk.ledger, DESK, since="drawn"),
        Paper("calls", "Call sheet", "names in the order in which they are called",
              after.call_sheet, CALLERS, since="signed"),
        Paper("book", "Results book", "places, workings, how the contest was sealed",
              after.results_book, ACCOUNTS, since="published"),
        Paper("teams", "The teams’ score sheets", "every mark of a team’s boxes, for that team alone",
              after.team_sheets, ORGANISER, since="published"),
        Paper("certificates", "Certificates", "for the champions and every place that is called",
              after.certificates, CALLERS, since="published", bare=True),
    )
}  # fmt: skip


@dataclass(frozen=True)
class Packet:
    """Several papers as one file, in the order in which they are needed."""

    key: str
    name: str
    papers: tuple[str, ...]


PACKETS: Mapping[str, Packet] = {
    packet.key: packet
    for packet in (
        Packet("cooks-packet", "Cooks’ packet", ("check-in", "cooks")),
        Packet("judges-packet", "Judges’ packet", ("judges", "tents", "score", "write-in", "captains")),
        Packet("desk-packet", "Desk packet, sealed", ("labels", "ledger")),
    )
}


#: Papers of other rooms, which their own pages print.
_registered: dict[str, Paper] = {}


def register(papers: Mapping[str, Paper]) -> None:
    """Make the papers of another room known to the worker that prints; registering them again changes nothing."""
    _registered.update(papers)


def is_due(contest: Contest, since: str) -> bool:
    """Whether the contest has come far enough for papers of `since`."""
    if since == "drawn":
        return contest.is_drawn
    if since == "signed":
        return signed_tally(contest) is not None
    if since == "published":
        return contest.state == Contest.State.PUBLISHED
    return True


def printable(contest: Contest, parts: frozenset[str]) -> list[Paper]:
    """What a viewer with `parts` may print now, in the order of the day."""
    due = {since: is_due(contest, since) for since in ("always", "drawn", "signed", "published")}
    return [paper for paper in PAPERS.values() if paper.parts & parts and due[paper.since]]


def packets(contest: Contest, parts: frozenset[str]) -> list[tuple[Packet, list[Paper]]]:
    """The packets of which the viewer may print two papers or more, with those papers."""
    may = {paper.key for paper in printable(contest, parts)}
    found = [(packet, [PAPERS[key] for key in packet.papers if key in may]) for packet in PACKETS.values()]
    return [(packet, papers) for packet, papers in found if len(papers) > 1]


def find(contest: Contest, parts: frozenset[str], what: str) -> tuple[str, list[Paper]] | None:
    """Name and papers of a paper or packet; None where the viewer may not print it now."""
    for paper in printable(contest, parts):
        if paper.key == what:
            return paper.name, [paper]
    for packet, papers in packets(contest, parts):
        if packet.key == what:
            return packet.name, papers
    return None


def title_of(what: str) -> str:
    """The name of a paper or packet."""
    return (PACKETS.get(what) or named(what)).name


def named(key: str) -> Paper:
    """The paper of that key, those of other rooms among them; raises KeyError where there is none."""
    return PAPERS[key] if key in PAPERS else _registered[key]


def rules_of(contest: Contest, paper: Paper, sheet: Sheet, options: Options) -> str:
    """The page and label rules of one sheet."""
    title = sheet.title or paper.name
    rules = page_rules(contest, title, options, landscape=sheet.landscape, bare=paper.bare)
    return rules + label_rules(options.label_grid, options.size) if paper.labels else rules


def parts_of(contest: Contest, title: str, papers: Sequence[Paper], options: Options) -> list[Part]:
    """Everything that goes into one file, paper by paper."""
    return [
        Part(
            render_to_string("reports/paper/document.html", {"title": title, "body": sheet.body()}),
            rules_of(contest, paper, sheet, options),
            sheet.seats,
        )
        for paper in papers
        for sheet in paper.build(contest, options)
    ]
