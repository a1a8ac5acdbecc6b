"""Once the tables are at work, the seating is not made anew and the boxes are not drawn again."""

from contest.day import Todo, hinders
from contest.models import Contest
from contest.rules.say import counted
from judging.models import Arrival, Call, Card, Collected, Ruling


def register() -> None:
    hinders("seating", cards_are_in)
    hinders("redraw", tables_at_work)


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
