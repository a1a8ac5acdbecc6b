"""What this app adds to the day of a contest and to its navigation."""

from contest.navigation import Room, add_room


def register() -> None:
    """Called once when the app is ready; imports the system checks so that they are registered."""
    from contest import checks  # noqa: F401

    add_room(Room(10, "Day", "contest:day", frozenset({"organiser", "head_judge", "tally", "announcer"})))
