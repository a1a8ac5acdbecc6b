"""This app's steps of the day and its rooms of the navigation: set-up, seating, the draw, the turn-in desk.

What the steps say is counted; no line names a team with a box.
"""

from collections.abc import Iterator
from typing import Any

from django.contrib.auth.signals import user_logged_in
from django.http import HttpRequest
from django.urls import reverse
from django.utils import timezone

from contest.day import Step, Todo, contributes_to, hinders, shared
from contest.models import Account, Contest
from contest.navigation import Room, add_room
from contest.rules.say import listed
from contest.selectors.boxes import recorded, standing_boxes
from contest.selectors.categories import held_categories
from contest.selectors.seating import seating
from contest.selectors.windows import Window, next_window
from contest.services.desk import log_sign_in

DESK = frozenset({"desk"})
ORGANISER = frozenset({"organiser"})


def register() -> None:
    """Called once when the app is ready; imports the system checks so that they are registered."""
    from contest import checks  # noqa: F401

    contributes_to("before", setup_step)
    contributes_to("before", seating_step)
    contributes_to("before", drawn_or_not)
    contributes_to("turn_in", boxes_in)
    hinders("closing", boxes_not_recorded)
    user_logged_in.connect(desk_signed_in, dispatch_uid="desk signed in")
    for room in _rooms():
        add_room(room)


def _rooms() -> Iterator[Room]:
    """The rooms in the order in which they are shown."""
    yield Room("before", "Day", "contest:day", ORGANISER | {"head_judge", "tally", "announcer"})
    yield Room("before", "Set-up", "contest:setup", ORGANISER)
    yield Room("before", "Teams", "contest:teams", ORGANISER)
    yield Room("before", "Check-in", "contest:check_in", ORGANISER | DESK)
    yield Room("before", "Judges", "contest:judges", ORGANISER)
    yield Room("before", "Seating", "contest:seating", ORGANISER | {"head_judge", "tally"})
    yield Room("before", "Helpers", "contest:helpers", ORGANISER)
    yield Room("before", "Draw", "contest:draw", ORGANISER)
    yield Room("turn_in", "Boxes in", "contest:boxes_in", ORGANISER, small=True, full=False)
    # Whoever is the whole crew of a small contest keeps three rooms and reaches the desk's from Boxes in.
    yield Room("turn_in", "Boxes in", "contest:desk", DESK, small=True, when=desk_alone_if_small)
    yield Room("turn_in", "Ledger", "contest:desk_ledger", DESK, small=True, when=desk_alone_if_small)
    yield Room("turn_in", "Labels", "contest:desk_labels", DESK, small=True, when=desk_alone_if_small)
    yield Room("turn_in", "Windows", "contest:windows", ORGANISER | DESK)


def desk_signed_in(sender: type, request: HttpRequest, user: Account, **kwargs: Any) -> None:
    """Accounts that hold the desk are logged like the holder of its pass."""
    log_sign_in(account=user, address=request.META.get("REMOTE_ADDR", ""))


def desk_alone_if_small(contest: Contest, parts: frozenset[str]) -> bool:
    return not contest.small or "organiser" not in parts


def setup_step(contest: Contest, step: Step) -> None:
    """Rule set, categories, tables and teams: facts as lines, what is missing as todos until the draw."""
    categories, tables = held_categories(contest), contest.tables.count()
    teams = contest.entries.count()
    step.lines.append(contest.rule_set.name)
    if categories:
        times = [f"{contest.local(each.turn_in_at):%H:%M}" for each in (categories[0], categories[-1])]
        span = times[0] if times[0] == times[1] else f"{times[0]} to {times[1]}"
        name = "category" if len(categories) == 1 else "categories"
        step.lines.append(f"{len(categories)} {name}, {span}")
    if tables:
        step.lines.append(counted_in_digits(tables, "table"))
    if teams:
        step.lines.append(counted_in_digits(teams, "team"))
    if contest.is_drawn:
        return
    step.state = "now"
    if not categories:
        step.todos.append(
            Todo(
                "Add the categories and their turn-in times.",
                _page("contest:category_new", contest),
                "Add one",
            )
        )
    if not tables:
        step.todos.append(
            Todo("Say how many tables judge, and their seats.", _page("contest:setup", contest), "Set up")
        )
    if not teams:
        step.todos.append(Todo("Enter the teams.", _page("contest:teams", contest), "Enter teams"))
    elif categories:
        skipped = [each.name for each in categories if not each.entered.filter(withdrawn_at=None).exists()]
        if skipped:
            rest = "it" if len(skipped) == 1 else "them"
            text = f"No team has entered {listed(skipped, 'or')}. Enter some, or remove {rest}."
            step.todos.append(Todo(text, _page("contest:teams", contest), "Show teams"))


def seating_step(contest: Contest, step: Step) -> None:
    """How many judges sit, and what is wrong with the seating. A contest without a list of judges is complete too."""
    judges = contest.attendances.count()
    if not judges or not contest.is_sealed:
        return
    view = seating(contest)
    sitting = sum(len(table.experience) for table in view.tables)
    step.lines.append(f"{counted_in_digits(judges, 'judge')}, {sitting} seated")
    page = _page("contest:seating", contest)
    if not view.anybody and view.tables:
        step.todos.append(Todo("The judges have no seats yet.", page, "Seat them"))
    step.todos.extend(Todo(problem, page, "The seating") for problem in view.problems)


def drawn_or_not(contest: Contest, step: Step) -> None:
    if contest.is_drawn:
        tables = counted_in_digits(contest.tables.count(), "table")
        step.lines.append(f"{standing_boxes(contest).count()} boxes drawn to {tables}")
        step.state = "done"
        return
    step.state = "now"
    step.todos.append(Todo("The boxes are not drawn yet.", _page("contest:draw", contest), "The draw"))


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
        _page("contest:boxes_in", contest),
        "How to record them",
        part="desk",
    )


def counted_in_digits(number: int, noun: str) -> str:
    """ "1 table", "3 tables": lines of the day are read at a glance."""
    return f"{number} {noun}{'' if number == 1 else 's'}"


def _page(url_name: str, contest: Contest) -> str:
    return reverse(url_name, args=[contest.slug])
