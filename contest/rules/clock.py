"""What a clock at a place shows, as moments."""

from datetime import UTC, date, datetime, time
from zoneinfo import ZoneInfo


class SkippedTime(ValueError):
    """A time that the clock skips when it is put forward; `instead` is what it shows then."""

    def __init__(self, day: date, clock: time, instead: time) -> None:
        super().__init__(f"the clock skips {clock:%H:%M} on {day:%d %B %Y}: it is put forward that night")
        self.instead = instead


def moment_of(day: date, clock: time, zone: ZoneInfo) -> datetime:
    """A date and a clock time at a place as a moment in UTC; of a time that comes twice, the first.

    Raises SkippedTime for a time that the clock skips that day.

    >>> moment_of(date(2026, 6, 13), time(12, 30), ZoneInfo("America/Chicago")).isoformat()
    '2026-06-13T17:30:00+00:00'
    """
    local = datetime.combine(day, clock, zone)
    moment = local.astimezone(UTC)
    shown = moment.astimezone(zone)
    if shown.replace(tzinfo=None) != local.replace(tzinfo=None):
        raise SkippedTime(day, clock, shown.time())
    return moment
