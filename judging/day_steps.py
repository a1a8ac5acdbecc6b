"""What this app adds to the day of a contest and to its navigation."""

from judging import phone_steps, seating_steps, table_steps, tally_steps


def register() -> None:
    """Called once when the app is ready."""
    seating_steps.register()
    table_steps.register()
    phone_steps.register()
    tally_steps.register()
