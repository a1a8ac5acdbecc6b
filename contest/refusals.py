"""What a service refuses, and the reasons that it asks for: one exception and one check for all apps."""

from collections.abc import Callable, Sequence

from django.core.exceptions import ValidationError

from contest.day import Todo

LONGEST_REASON = 300


class Refused(ValueError):
    """What was asked for cannot be done now. Nothing was changed; the message says why and what to do.

    `todos` is what must be done first, with links, where a service knows it.
    """

    def __init__(self, text: str, todos: Sequence[Todo] = ()) -> None:
        super().__init__(text)
        self.todos = list(todos)


def clean_reason(reason: str, ask: str, refuse: Callable[[str], Exception] = Refused) -> str:
    """The reason on one line. Raises `refuse(text)` where none was typed (`ask` says what for) or it is too long."""
    reason = " ".join(reason.split())
    if not reason:
        raise refuse(ask)
    if len(reason) > LONGEST_REASON:
        raise refuse(f"Keep the reason to {LONGEST_REASON} characters.")
    return reason


def reason_invalid(text: str) -> ValidationError:
    """A refusal that a form shows at its field `reason`."""
    return ValidationError({"reason": text})
