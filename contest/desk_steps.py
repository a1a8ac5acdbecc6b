"""What the draw and the turn-in desk add to the day of a contest and to its navigation: counts, never a team."""

from typing import Any

from django.contrib.auth.signals import user_logged_in
from django.http import HttpRequest
from django.urls import reverse
from django.utils import timezone

from contest.day import Step, Todo, contributes_to, hinders, shared
from contest.models import Account, Contest
from contest.navigation import Room, add_room
from contest.selectors.boxes import recorded, standing_boxes
from contest.selectors.windows import Window, next_window
from contest.services.desk import log_sign_in

DESK = frozenset({"desk"})
ORGANISER = frozenset({"organiser"})


def register() -> None:
    contributes_to("before", drawn_or_not)
    contributes_to("turn_in", boxes_in)
    hinders("closing", boxes_not_recorded)
    add_room(Room(40, "Draw", "contest:draw", ORGANISER))
    add_room(Room(50, "Boxes in", "contest:boxes_in", ORGANISER, small=True, full=False))
    # Whoever is the whole crew of a small contest keeps three rooms and reaches the desk's from Boxes in.
    for order, name, url_name in (
        (50, "Boxes in", "contest:desk"),
        (52, "Ledger", "contest:desk_ledger"),
        (54, "Labels", "contest:desk_labels"),
    ):
        add_room(Room(order, name, url_name, DESK, small=True, when=desk_alone_if_small))
    user_logged_in.connect(desk_signed_in, dispatch_uid="desk signed in")
    add_room(Room(56, "Windows", "contest:windows", ORGANISER | DESK))


def desk_signed_in(sender: type, request: HttpRequest, user: Account, **kwargs: Any) -> None:
    """Accounts that hold the desk are logged like the holder of its pass."""
    log_sign_in(account=user, address=request.META.get("REMOTE_ADDR", ""))


def desk_alone_if_small(contest: Contest, parts: frozenset[str]) -> bool:
    return not contest.small or "organiser" not in parts


def drawn_or_not(contest: Contest, step: Step) -> None:
    if contest.is_drawn:
        tables = contest.tables.count()
        step.lines.append(f"{standing_boxes(contest).count()} boxes drawn to {tables} table{'s' * (tables != 1)}")
        step.state = "done"
        return
    step.state = "now"
    step.todos.append(Todo("The boxes are not drawn yet.", reverse("contest:draw", args=[contest.slug]), "The draw"))


def boxes_in(contest: Contest, step: Step) -> None:
    """How many boxes are in, which window is next, and which windows passed with boxes not recorded."""
    if not contest.is_drawn:
        step.lines.append("waits for the draw")
        return
    now = timezone.now()
    counts = shared(recorded, contest)
    boxes, done = sum(each.boxes for each in counts), sum(each.recorded for each in counts)
    step.lines.append(f"{done} of {boxes} boxes recorded")
    step.state = "done" if done == boxes else "now"
    if done == boxes:
        return
    window = next_window(contest, now)
    if window is not None:
        times = f"{contest.local(window.opens):%H:%M} to {contest.local(window.closes):%H:%M}"
        step.lines.append(f"{window.category.name} {'open' if window.opens <= now else 'next'}, {times}")
    for each in counts:
        if each.to_come and Window(each.category).state(now) == "closed":
            step.todos.append(_not_recorded(contest, each.category.name, each.to_come))


def boxes_not_recorded(contest: Contest) -> list[Todo]:
    return [
        _not_recorded(contest, each.category.name, each.to_come) for each in shared(recorded, contest) if each.to_come
    ]


def _not_recorded(contest: Contest, name: str, count: int) -> Todo:
    boxes = "1 box is" if count == 1 else f"{count} boxes are"
    return Todo(
        f"{name}: {boxes} not recorded at the turn-in desk.",
        reverse("contest:boxes_in", args=[contest.slug]),
        "How to record them",
        part="desk",
    )
