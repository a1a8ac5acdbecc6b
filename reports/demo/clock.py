"""The demo's clock: what happened in the past is recorded as of then."""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime

from django.utils import timezone


@contextmanager
def at(moment: datetime) -> Iterator[None]:
    """Inside, every service of this process takes `moment` for now."""
    real = timezone.now
    timezone.now = lambda: moment
    try:
        yield
    finally:
        timezone.now = real
