"""The tally's step of the day, and its room."""

from django.urls import reverse

from contest import day
from contest.models import Contest
from contest.navigation import Room, add_room
from judging.models import Tally

PARTS = frozenset({"organiser", "tally", "head_judge"})


def register() -> None:
    day.contributes_to("tally", tally_step)
    # One page, under the name that fits: a small contest has no other screen for its results.
    add_room(Room(70, "Tally", "judging:tally", PARTS))
    add_room(Room(70, "Results", "judging:tally", PARTS, small=True, full=False))


def tally_step(contest: Contest, step: day.Step) -> None:
    """Waits, locked, closed or signed; what is missing before closing stands at the steps where it is done."""
    if not contest.is_drawn:
        return
    url = reverse("judging:tally", args=[contest.slug])
    if contest.is_sealed:
        locked = contest.marks_locked_at is not None
        step.lines.append("marks locked" if locked else "waits")
        if not day.in_the_way("closing", contest):
            step.state = "now"
            step.todos.append(day.Todo("Everything is in: the tally can be closed.", url, "Close the tally"))
        return
    newest = Tally.objects.filter(contest=contest).only("revision", "signed_at").order_by("-revision").first()
    if newest is None or newest.signed_at is None:
        step.state = "now"
        step.lines.append("closed")
        text = "The tally is closed and waits for the head judge to sign it off."
        step.todos.append(day.Todo(text, url, "Look and sign", "head_judge"))
        return
    step.state = "done"
    step.lines.append("signed off" if newest.revision == 1 else f"revision {newest.revision} signed off")
