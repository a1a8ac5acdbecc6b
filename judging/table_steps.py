"""What the tables add to the day: flights, score sheets that are missing, calls that wait; and their rooms."""

from django.urls import reverse

from contest.access import Viewer
from contest.day import Step, Todo, contributes_to, hinders
from contest.models import Contest
from contest.navigation import Room, add_room
from contest.rules.say import counted, listed
from judging.models import Call, Card
from judging.selectors.doubtful import sheet_url
from judging.selectors.flights import Flight, Sheet, flights
from judging.selectors.rulings import open_calls


def register() -> None:
    contributes_to("tables", tables_step)
    hinders("closing", missing_marks)
    hinders("closing", calls_that_wait)
    hinders("one_person", marks_there)
    add_room(Room(60, "Marks", "judging:marks", frozenset({"organiser", "tally"}), small=True))
    add_room(Room(62, "Table", "judging:captain", frozenset({"captain"}), small=True, url=_own_table))
    add_room(
        Room(
            64,
            "Rulings",
            "judging:rulings",
            frozenset({"head_judge"}),
            small=True,
            # A small contest's organiser has three rooms, and finds rulings on the page of marks.
            when=lambda contest, parts: not (contest.small and "organiser" in parts),
        )
    )


def _own_table(contest: Contest, viewer: Viewer) -> str:
    return reverse("judging:captain", args=[contest.slug, viewer.table.number if viewer.table else 0])


def tables_step(contest: Contest, step: Step) -> None:
    """Flights done, then what is missing in the flights that have begun."""
    found = flights(contest) if contest.is_drawn else []
    if not found:
        return
    done = sum(flight.done for flight in found)
    step.lines.append(f"{done} of {len(found)} flights done")
    step.todos += calls_that_wait(contest)
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


def missing_marks(contest: Contest) -> list[Todo]:
    """One line for each flight that lacks marks; a card that the head judge ruled lost is not missed."""
    return [_flight_todo(contest, flight) for flight in flights(contest) if not flight.done]


def calls_that_wait(contest: Contest) -> list[Todo]:
    return [
        Todo(_call_text(call), reverse("judging:rulings", args=[contest.slug]), "Answer", "head_judge")
        for call in open_calls(contest)
    ]


def marks_there(contest: Contest) -> list[Todo]:
    """One person is declared before the first card, so that nobody who has seen marks turns to the desk."""
    if not Card.objects.filter(box__contest=contest).exists():
        return []
    url = reverse("judging:marks", args=[contest.slug])
    return [Todo("Cards are handed in: one person is declared before the first card.", url, "Show them")]


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
