"""This app's steps of the day and its rooms of the navigation: tables and tally; and what may no longer be changed.

Flights, score sheets that are missing, calls that wait: what is missing before closing is told by the step where it
is done.
"""

from collections.abc import Iterator

from django.urls import reverse

from contest.access import Viewer
from contest.day import Step, Todo, contributes_to, hinders, in_the_way, shared
from contest.models import Contest
from contest.navigation import Room, add_room
from contest.rules.say import counted, listed
from judging.models import Arrival, Call, Card, Collected, Ruling, Tally
from judging.selectors.doubtful import again_url, sheet_url
from judging.selectors.flights import Flight, Sheet, flights
from judging.selectors.keying import Difference, SecondSheet, differences, second_sheets
from judging.selectors.rulings import open_calls

TALLY_PARTS = frozenset({"organiser", "tally", "head_judge"})


def register() -> None:
    """Called once when the app is ready."""
    contributes_to("tables", tables_step)
    contributes_to("tally", tally_step)
    for hindrance in (missing_marks, calls_that_wait, second_keyings, open_differences):
        hinders("closing", hindrance)
    hinders("one_person", marks_there)
    hinders("keying", keyed_already)
    hinders("phones", cards_there)
    hinders("seating", cards_are_in)
    hinders("redraw", tables_at_work)
    for room in _rooms():
        add_room(room)


def _rooms() -> Iterator[Room]:
    """The rooms in the order in which they are shown."""
    yield Room("tables", "Marks", "judging:marks", frozenset({"organiser", "tally"}), small=True)
    yield Room("tables", "Cards", "judging:seat", frozenset({"judge"}), small=True, when=_phones_are_used)
    yield Room("tables", "Table", "judging:captain", frozenset({"captain"}), small=True, url=_own_table)
    yield Room(
        "tables", "Rulings", "judging:rulings", frozenset({"head_judge"}), small=True, when=_no_crew_of_one_if_small
    )
    # One page, under the name that fits: a small contest has no other screen for its results.
    yield Room("tally", "Tally", "judging:tally", TALLY_PARTS)
    yield Room("tally", "Results", "judging:tally", TALLY_PARTS, small=True, full=False)


def _phones_are_used(contest: Contest, parts: frozenset[str]) -> bool:
    return contest.phones


def _no_crew_of_one_if_small(contest: Contest, parts: frozenset[str]) -> bool:
    """A small contest's organiser has three rooms, and finds rulings on the page of marks."""
    return not (contest.small and "organiser" in parts)


def _own_table(contest: Contest, viewer: Viewer) -> str:
    return reverse("judging:captain", args=[contest.slug, viewer.table.number if viewer.table else 0])


def tables_step(contest: Contest, step: Step) -> None:
    """Flights done, then what is missing in the flights that have begun."""
    found = shared(flights, contest) if contest.is_drawn else []
    if not found:
        return
    done = sum(flight.done for flight in found)
    step.lines.append(f"{done} of {len(found)} flights done")
    step.todos += calls_that_wait(contest)
    step.todos += open_differences(contest)
    step.todos += second_keyings(contest) if done == len(found) else []
    if done == len(found):
        step.state = "done" if not step.todos else "stopped"
        return
    begun = [flight for flight in found if flight.started and not flight.done]
    if begun or done:
        step.state = "now"
    step.todos += [_flight_todo(contest, flight) for flight in begun]
    if not begun and contest.is_sealed:
        first = next(sheet for flight in found for sheet in flight.missing_sheets)
        text = "The first score sheets can be keyed" if not done else "Further score sheets can be keyed"
        step.todos.append(Todo(f"{text} as soon as a table hands them over.", _url(contest, first), "Key", "tally"))


def tally_step(contest: Contest, step: Step) -> None:
    """Waits, locked, closed or signed; what is missing before closing stands at the steps where it is done."""
    if not contest.is_drawn:
        return
    url = reverse("judging:tally", args=[contest.slug])
    if contest.is_sealed:
        locked = contest.marks_locked_at is not None
        step.lines.append("marks locked" if locked else "waits")
        if not in_the_way("closing", contest):
            step.state = "now"
            step.todos.append(Todo("Everything is in: the tally can be closed.", url, "Close the tally"))
        return
    newest = Tally.objects.filter(contest=contest).only("revision", "signed_at").order_by("-revision").first()
    if newest is None or newest.signed_at is None:
        step.state = "now"
        step.lines.append("closed")
        text = "The tally is closed and waits for the head judge to sign it off."
        step.todos.append(Todo(text, url, "Look and sign", "head_judge"))
        return
    step.state = "done"
    step.lines.append("signed off" if newest.revision == 1 else f"revision {newest.revision} signed off")


def missing_marks(contest: Contest) -> list[Todo]:
    """One line for each flight that lacks marks; a card that the head judge ruled lost is not missed."""
    return [_flight_todo(contest, flight) for flight in shared(flights, contest) if not flight.done]


def calls_that_wait(contest: Contest) -> list[Todo]:
    return [
        Todo(_call_text(call), reverse("judging:rulings", args=[contest.slug]), "Answer", "head_judge")
        for call in shared(_open_calls, contest)
    ]


def _second_sheets(contest: Contest) -> list[SecondSheet]:
    return second_sheets(contest, shared(flights, contest))


def _differences(contest: Contest) -> list[Difference]:
    return differences(contest, shared(flights, contest))


def second_keyings(contest: Contest) -> list[Todo]:
    """The sheets that are to be keyed twice and are not, in one line; sheets still missing are asked for as such."""
    waiting = [each for each in shared(_second_sheets, contest) if each.waits]
    if not waiting:
        return []
    first = waiting[0].sheet
    where = f"{first.category.name.lower()} {first.label}"
    text = f"{counted(len(waiting), 'score sheet')} to be keyed a second time, the first {where}."
    return [Todo(text[0].upper() + text[1:], again_url(contest, first), "Key it again", "tally")]


def open_differences(contest: Contest) -> list[Todo]:
    """Readings of one card that are not alike, in one line: the paper decides."""
    found = shared(_differences, contest)
    if not found:
        return []
    boxes = listed(sorted({each.box for each in found})) if len(found) <= 4 else "several boxes"
    text = f"{counted(len(found), 'difference')} between two readings of a card ({boxes}): look at the paper."
    url = reverse("judging:differences", args=[contest.slug])
    return [Todo(text[0].upper() + text[1:], url, "Show", "tally")]


def _open_calls(contest: Contest) -> list[Call]:
    return list(open_calls(contest))


def marks_there(contest: Contest) -> list[Todo]:
    """One person is declared before the first card, so that nobody who has seen marks turns to the desk."""
    if not Card.objects.filter(box__contest=contest).exists():
        return []
    url = reverse("judging:marks", args=[contest.slug])
    return [Todo("Cards are handed in: one person is declared before the first card.", url, "Show them")]


def keyed_already(contest: Contest) -> list[Todo]:
    """How often sheets are keyed is chosen before anybody knows the marks."""
    if not Card.objects.filter(box__contest=contest).exists():
        return []
    return [Todo("Cards are handed in: how often sheets are keyed was chosen before the first.")]


def cards_there(contest: Contest) -> list[Todo]:
    """Phones or paper alone is settled before the first card, so that no card waits where nobody looks for it."""
    if not Card.objects.filter(box__contest=contest).exists():
        return []
    url = reverse("judging:marks", args=[contest.slug])
    return [Todo("Cards are handed in: whether judges use phones was settled before the first.", url, "Show them")]


def cards_are_in(contest: Contest) -> list[Todo]:
    if not Card.objects.filter(box__contest=contest).exists():
        return []
    return [Todo("Cards are handed in, so the seats stay. Change single seats from the next category on.")]


def tables_at_work(contest: Contest) -> list[Todo]:
    """What was ticked, keyed, called or ruled belongs to the boxes as they are drawn."""
    found = (
        (Card.objects.filter(box__contest=contest, box__draw__standing=True), "card", "handed in"),
        (Arrival.objects.filter(box__contest=contest, box__draw__standing=True), "box", "ticked in at a table"),
        (Collected.objects.filter(category__contest=contest), "score sheet", "collected"),
        (Ruling.objects.filter(contest=contest, box__draw__standing=True, withdrawn_at=None), "ruling", "in force"),
        (Call.objects.filter(contest=contest, answered_at=None), "call", "waiting for the head judge"),
    )
    return [
        Todo(f"The tables are at work: {counted(number, noun)} {what}.")
        for rows, noun, what in found
        if (number := rows.count())
    ]


def _call_text(call: Call) -> str:
    about = f" about box {call.box.number}" if call.box else ""
    return f"Table {call.table.number} waits for the head judge{about}: {call.get_about_display().lower()}."


def _flight_todo(contest: Contest, flight: Flight) -> Todo:
    """ "Table 3 has two score sheets missing for ribs (seats B and E)." """
    sheets = flight.missing_sheets
    letters = listed([sheet.seat.letter for sheet in sheets])
    seats = f"seat{'s' if len(sheets) > 1 else ''} {letters}"
    where = f"Table {flight.table.number}"
    name = flight.category.name.lower()
    whole = [sheet for sheet in sheets if sheet.missing == sheet.expected]
    if len(whole) == len(sheets):
        text = f"{where} has {counted(len(sheets), 'score sheet')} missing for {name} ({seats})."
    else:
        cards = sum(len(sheet.missing) for sheet in sheets)
        text = f"{where} has {counted(cards, 'card')} missing for {name} ({seats})."
    dismissed = _dismissed(flight)
    if dismissed:
        text += f" Dismissed and to be marked anew: {listed(dismissed)}."
    return Todo(text, _url(contest, sheets[0]), "Show", "tally")


def _dismissed(flight: Flight) -> list[str]:
    """ "482 by seat B": dismissed cards that wait for a new mark."""
    return [
        f"{box.number} by seat {sheet.seat.letter}"
        for box in flight.boxes
        for sheet in flight.sheets
        if box.number in sheet.missing
        and box.pk in flight.rulings
        and sheet.seat.pk in flight.rulings[box.pk].dismissed
    ]


def _url(contest: Contest, sheet: Sheet) -> str:
    return sheet_url(contest, sheet.category, sheet.table, sheet.seat)
