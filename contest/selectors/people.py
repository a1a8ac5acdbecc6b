"""Teams and judges as their pages show them, and who is known from other contests. Nothing here reads a box."""

import unicodedata
from typing import Any

from django.db.models import Prefetch, Q, QuerySet

from contest.models import Attendance, Contest, ContestRole, Entered, Entry, Judge, Team


def fold(name: str) -> str:
    """What two spellings of one name share: capitals, widths and runs of blanks do not matter."""
    return " ".join(unicodedata.normalize("NFKC", name).split()).casefold()


def related_contests(contest: Contest) -> QuerySet[Contest]:
    """The other contests of this contest's organisers, and of its season."""
    organisers = ContestRole.objects.filter(contest=contest, organiser=True).values("account")
    related = Q(roles__organiser=True, roles__account__in=organisers)
    if contest.season_id is not None:
        related |= Q(season=contest.season_id)
    return Contest.objects.filter(related).exclude(pk=contest.pk).distinct()


def known_teams(contest: Contest) -> dict[str, Team]:
    """Teams of related contests by folded name; of two teams with one name the one entered last."""
    teams = Team.objects.filter(entries__contest__in=related_contests(contest)).order_by("entries__id")
    return {fold(team.name): team for team in teams}


def known_judges(contest: Contest) -> dict[str, Judge]:
    """Judges of related contests by folded name; of two judges with one name the one listed last."""
    judges = Judge.objects.filter(attendances__contest__in=related_contests(contest), erased_at=None)
    return {fold(judge.name): judge for judge in judges.order_by("attendances__id")}


def entries(contest: Contest) -> QuerySet[Entry]:
    """The teams of a contest by number, with the categories they entered."""
    entered = Entered.objects.select_related("category").order_by("category__order")
    return (
        Entry.objects.filter(contest=contest)
        .select_related("team")
        .prefetch_related(Prefetch("entered", entered))
        .order_by("number")
    )


def next_number(contest: Contest) -> int:
    """One more than the largest team number given."""
    return max(contest.entries.values_list("number", flat=True), default=0) + 1


def attendances(contest: Contest) -> QuerySet[Attendance]:
    """The judges' list by name."""
    return (
        Attendance.objects.filter(contest=contest)
        .select_related("judge")
        .prefetch_related("judge__conflicts")
        .order_by("judge__name", "judge_id")
    )


def competing_teams(contest: Contest) -> QuerySet[Team]:
    """Teams with at least one category they take part in; after the draw a withdrawal changes nothing here."""
    taking_part = Q(entries__contest=contest, entries__entered__isnull=False)
    if not contest.is_drawn:
        taking_part &= Q(entries__entered__withdrawn_at=None)
    return Team.objects.filter(taking_part).distinct()


def teams_in_conflict(contest: Contest) -> dict[int, list[Entry]]:
    """Judge pk → the entries of competing teams that the judge is close to, by number; judges without are absent."""
    competing = Entry.objects.filter(contest=contest, team__in=competing_teams(contest)).select_related("team")
    by_team = {entry.team_id: entry for entry in competing}
    found: dict[int, list[Entry]] = {}
    through: Any = Judge.conflicts.through  # the stubs do not know the model that Django makes
    pairs = through.objects.filter(judge__attendances__contest=contest, team__in=by_team)
    for judge, team in pairs.values_list("judge_id", "team_id"):
        found.setdefault(judge, []).append(by_team[team])
    return {judge: sorted(rows, key=lambda entry: entry.number) for judge, rows in found.items()}
