"""A value that its type allows to be missing and that other rules promise."""

from typing import TypeVar

Value = TypeVar("Value")


def present(value: Value | None) -> Value:
    """Return a value that a check of the database or an earlier step promises. Raises RuntimeError without one.

    >>> present(0)
    0
    """
    if value is None:
        raise RuntimeError("A value is missing that a check of the database or an earlier step promises.")
    return value
