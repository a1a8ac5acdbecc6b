"""What this app adds to the day of a contest and to its navigation."""


def register() -> None:
    """Called once when the app is ready."""
