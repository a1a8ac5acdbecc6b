"""Counting what was wrong at a door, so that nobody tries pass words or tokens one after the other.

A whole field sits behind one address, so the address alone never locks anybody out: what counts is the name of what
was tried (the first signs of a pass word, the name of a token) at one address, and the same name from everywhere.
"""

import hashlib
from datetime import timedelta

from django.db import transaction
from django.db.models import F
from django.utils import timezone

from contest.models import FailedTries

WINDOW = timedelta(minutes=5)
MOST_AT_AN_ADDRESS = 10
MOST_ALTOGETHER = 50


def _keys(door: str, name: str, address: str) -> dict[str, int]:
    """Rows that count a failure, and how many each allows within the window."""
    return {
        hashlib.sha256(f"{door}\n{name}\n{address}".encode(errors="replace")).hexdigest(): MOST_AT_AN_ADDRESS,
        hashlib.sha256(f"{door}\n{name}".encode(errors="replace")).hexdigest(): MOST_ALTOGETHER,
    }


def is_blocked(*, door: str, name: str, address: str) -> bool:
    limits = _keys(door, name, address)
    counted = FailedTries.objects.filter(key__in=limits, since__gt=timezone.now() - WINDOW)
    return any(number >= limits[key] for key, number in counted.values_list("key", "number"))


@transaction.atomic
def note_failure(*, door: str, name: str, address: str) -> None:
    """Count one failure; rows whose window has passed are cleared away."""
    now = timezone.now()
    FailedTries.objects.filter(since__lte=now - WINDOW).delete()
    keys = sorted(_keys(door, name, address))  # one order for everybody: two requests never wait for each other
    FailedTries.objects.bulk_create((FailedTries(key=key, since=now) for key in keys), ignore_conflicts=True)
    for key in keys:
        FailedTries.objects.filter(key=key).update(number=F("number") + 1)
