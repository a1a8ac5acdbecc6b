"""Whether the day's page may have changed since it was shown: a few quick questions instead of the whole day."""

import hashlib
from datetime import datetime

from contest.models import Contest
from contest.selectors.windows import windows

#: What is not in the log (a judge ticked absent, a list that was edited) reaches an open page within so many seconds.
AT_LEAST_EVERY = 30


def version(contest: Contest, now: datetime) -> str:
    """Changes with every row of the log, with a window that opens or closes, and with the time.

    While the contest is prepared much is changed without a row of the log, and the day is quick to make: then the
    version holds for two seconds only.
    """
    lasts = AT_LEAST_EVERY if contest.is_drawn else 2
    seen = [
        sorted(contest.log_chains.values_list("name", "length")),
        contest.name,
        contest.state,
        contest.marks_locked_at,
        [window.state(now) for window in windows(contest)],
        int(now.timestamp()) // lasts,
    ]
    return hashlib.sha256(repr(seen).encode()).hexdigest()[:16]
