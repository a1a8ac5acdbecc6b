"""What this app adds to the day of a contest and to its navigation."""

from contest.day import contributes_to
from contest.navigation import Room, add_room
from contest.selectors.seating_steps import seating_steps
from contest.selectors.setup_steps import setup_steps


def register() -> None:
    """Called once when the app is ready; imports the system checks so that they are registered."""
    from contest import checks, desk_steps  # noqa: F401

    add_room(Room(10, "Day", "contest:day", frozenset({"organiser", "head_judge", "tally", "announcer"})))
    add_room(Room(20, "Set-up", "contest:setup", frozenset({"organiser"})))
    add_room(Room(22, "Teams", "contest:teams", frozenset({"organiser"})))
    add_room(Room(24, "Check-in", "contest:check_in", frozenset({"organiser", "desk"})))
    add_room(Room(26, "Judges", "contest:judges", frozenset({"organiser"})))
    add_room(Room(28, "Seating", "contest:seating", frozenset({"organiser", "head_judge", "tally"})))
    add_room(Room(30, "Helpers", "contest:helpers", frozenset({"organiser"})))
    contributes_to("before", setup_steps)
    contributes_to("before", seating_steps)
    desk_steps.register()
