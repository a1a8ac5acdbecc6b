"""What a team has of its own beside the contests run here, something of each kind, for tests of who may open it."""

from datetime import UTC, date, datetime
from functools import cache

from django.db import transaction

from contest.models import RuleSet, Team
from reports.cook.cooklog import keep_own_day
from reports.cook.packages import keep_package, keep_pending, read_package
from reports.cook.past import keep_result
from reports.models import Publication
from reports.practice import evening
from reports.practice.setup import set_up
from reports.rules.sensory.tasting import PREFERENCE
from tests.running import close_and_publish, run_day

BY = "a member"


@cache
def packages_from_elsewhere() -> list[bytes]:
    """The results packages of two contests of another year that are not known here."""
    with transaction.atomic():
        for day in (13, 14):
            close_and_publish(run_day(date=date(2025, 9, day)))
        found = [bytes(each) for each in Publication.objects.order_by("pk").values_list("package", flat=True)]
        transaction.set_rollback(True)
    return found[-2:]


def give_belongings(team: Team, rule_set: RuleSet, *, stage: str) -> None:
    """A day and a result typed in, a package kept and one of which nobody said yet which team it is, and a practice.

    `stage` of the practice: "set up", "served" with one answer in, or "closed".
    """
    at = datetime(2026, 7, 4, 12, tzinfo=UTC)
    keep_own_day(team=team, row=None, name="Riverside", date=at.date(), time_zone="UTC", dishes=[("ribs", "Ribs", at)])
    keep_result(team=team, contest_name="Millpond", date=date(2025, 5, 2), category="Ribs", place=3, field=14)
    kept, aside = packages_from_elsewhere()
    keep_package(team=team, read=read_package(kept), number="2", against_print=False)
    keep_pending(team=team, read=read_package(aside), data=aside, against_print=False)
    practice = set_up(
        team=team,
        dish="Ribs",
        question=PREFERENCE,
        versions=("cherry", "hickory"),
        tasters=("Juniper", "Linden", "Hazel"),
        rule_set=rule_set,
        time_zone="UTC",
        by=BY,
    )
    if stage == "set up":
        return
    evening.serve(practice=practice, by=BY)
    for taster in practice.tasters.all():
        plate = practice.contest.boxes.filter(table=taster.seat.table_id).order_by("position")[0]
        evening.hand_in_answer(contest=practice.contest, seat=taster.seat, category=plate.category, number=plate.number)
        if stage == "served":
            return
    evening.close(practice=practice, by=BY)
