"""Names that are corrected after the draw.

The draw's fingerprint covers names, so each correction is a row of the log.
"""

from django.db import transaction

from contest.models import Contest, Team
from contest.rules.namelists import CORRECTED, corrections_between
from contest.selectors.draw import logged_names, name_lists
from contest.services.log import write_log


@transaction.atomic
def log_corrected_names(*, contest: Contest, by: str) -> int:
    """Write a row for every name that is no longer what the draw and the log say, and return how many.

    Whatever changed a name, the result names it: publishing calls this too. A contest that is not drawn, and a
    practice, bind no names.
    """
    locked = Contest.objects.select_for_update(of=("self",)).get(pk=contest.pk)
    if not locked.is_drawn:
        return 0
    logged = logged_names(locked)
    if logged is None:
        return 0
    rows = corrections_between(logged, name_lists(locked))
    for facts in rows:
        write_log(contest=locked, chain="day", what=CORRECTED, facts=facts, by=by)
    return len(rows)


def log_corrected_team(*, team: Team, by: str) -> None:
    """Write the rows for a team's corrected name in every contest that has not published its result yet.

    A published result keeps the name that it went out with; only a revision takes over the new one, and logs it.
    """
    contests = Contest.objects.filter(entries__team=team).exclude(state=Contest.State.PUBLISHED)
    for contest in contests.order_by("pk"):
        log_corrected_names(contest=contest, by=by)
