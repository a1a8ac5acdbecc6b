"""System checks: nothing is served from a data folder that a restore left half-way."""

from typing import Any

from django.core.checks import Error, register

from contest.commandline import program
from reports.backup.restore import unfinished


@register()
def no_restore_is_unfinished(app_configs: Any, **kwargs: Any) -> list[Error]:
    if not unfinished().exists():
        return []
    return [
        Error(
            "A restore was broken off: the database and the secret key may not belong together.",
            hint=f"Run {program()} restore FILE --replace again.",
            id="reports.E001",
        )
    ]
