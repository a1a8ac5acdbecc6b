"""A results package of a contest elsewhere, read whole: verified first, then kept for the team that brought it."""

from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import transaction

from contest.models import Contest, Team
from contest.rules.say import total_text
from judging.rules.outcome import Dropped
from reports.models import ImportedContest, PastResult, TeamAlias
from reports.rules.package.archive import SUMS, PackageError, package_sum, unpack
from reports.rules.package.contest import PackageBox, PackageContest, PackageTeam, read_contest
from reports.rules.package.verify import Finding, verify
from reports.season.imported import ImportedBox, ImportedBoxes
from reports.season.own import forget_own


@dataclass(frozen=True)
class ReadPackage:
    """What an uploaded package says. `contest` is None where it does not hold."""

    package_sum: str
    findings: list[Finding]
    contest: PackageContest | None

    @property
    def failing(self) -> list[Finding]:
        return [finding for finding in self.findings if not finding.holds]


def read_package(data: bytes, *, draw: str = "", log: str = "") -> ReadPackage:
    """Verify a package and read it. Raises ValidationError for what is no package at all."""
    try:
        files = unpack(data)
    except PackageError as error:
        raise ValidationError(f"This file {error}.") from error
    findings = verify(files, draw=draw.strip() or None, log=log.strip() or None)
    files_sum = package_sum(files) if SUMS in files else ""
    if any(not finding.holds for finding in findings):
        return ReadPackage(files_sum, findings, None)
    try:
        contest = read_contest(files)
    except (ValueError, KeyError, TypeError) as error:
        raise ValidationError(f"The package holds, but it cannot be read: {error}.") from error
    return ReadPackage(files_sum, findings, contest)


def known_team(team: Team, contest: PackageContest) -> PackageTeam | None:
    """The team of the package that is `team` beyond question: by its uid, or by an alias confirmed before."""
    uids = {team.uid, *TeamAlias.objects.filter(team=team).values_list("uid", flat=True)}
    return next((each for each in contest.teams if each.uid in uids), None)


def refuse_known(team: Team, contest: PackageContest) -> None:
    """Raises ValidationError where the contest was run here, or a newer revision of it is kept."""
    if Contest.objects.filter(uid=contest.uid).exists():
        raise ValidationError(f"{contest.name} was run here: its sheets stand among your teams' already.")
    earlier = ImportedContest.objects.filter(team=team, uid=contest.uid).first()
    if earlier is not None and earlier.revision > contest.revision:
        raise ValidationError(f"Revision {earlier.revision} of {contest.name} is kept already; this is an older one.")


@transaction.atomic
def keep_pending(*, team: Team, read: ReadPackage, data: bytes, against_print: bool) -> ImportedContest:
    """Lay a package that holds aside until a member says which of its teams is theirs."""
    if read.contest is None:
        raise ValidationError("A package that does not hold is not kept.")
    refuse_known(team, read.contest)
    ImportedContest.objects.filter(team=team, uid=read.contest.uid).delete()
    return ImportedContest.objects.create(**_facts(team, read, against_print), pending=data)


@transaction.atomic
def keep_package(*, team: Team, read: ReadPackage, number: str, against_print: bool) -> ImportedContest:
    """Keep a package's contest for `team`, which had the team number `number` there; an earlier revision gives way.

    Raises ValidationError where the contest was run here, where the package is older than the one kept, or where the
    number is none of its teams'.
    """
    contest = read.contest
    if contest is None:
        raise ValidationError("A package that does not hold is not kept.")
    refuse_known(team, contest)
    own = next((each for each in contest.teams if each.number == number), None)
    if own is None:
        raise ValidationError("Choose which of the teams is yours.")
    if own.uid != team.uid:
        TeamAlias.objects.get_or_create(team=team, uid=own.uid, defaults={"name": own.name})
    ImportedContest.objects.filter(team=team, uid=contest.uid).delete()
    uids = {each.number: each.uid for each in contest.teams}
    kept = ImportedContest.objects.create(
        **_facts(team, read, against_print),
        own=own.uid,
        names=[[each.key, each.name] for each in contest.categories],
        boxes=ImportedBoxes(tuple(_anonymous(box, uids) for box in contest.boxes)).to_json(),
        rules={each.key: each.document for each in contest.categories},
    )
    _keep_results(kept, contest, number)
    return kept


@transaction.atomic
def discard(*, imported: ImportedContest) -> None:
    """A contest that came as a package, with the team's results from it and what was worked out with them."""
    forget_own(imported.team)
    imported.delete()


def _facts(team: Team, read: ReadPackage, against_print: bool) -> dict[str, Any]:
    contest = read.contest
    assert contest is not None
    return {
        "team": team,
        "uid": contest.uid,
        "name": contest.name[:120],
        "date": contest.date,
        "revision": contest.revision,
        "package_sum": read.package_sum,
        "against_print": against_print,
    }


def _anonymous(box: PackageBox, uids: dict[str, UUID]) -> ImportedBox:
    return ImportedBox(
        category=box.category,
        box=box.box,
        team=str(uids[box.team]),
        table=box.table,
        status=box.status,
        cards=dict(box.marks),
        rank=box.rank,
        total=box.total,
        result=box.result,
        dropped=tuple(Dropped.of(seat, why) for seat, why in box.dropped),
    )


def _keep_results(kept: ImportedContest, contest: PackageContest, number: str) -> None:
    """The team's own boxes as past results; one typed in by hand before gives way to what the package proves."""
    categories = {each.key: each for each in contest.categories}
    for box in contest.boxes:
        if box.team != number:
            continue
        category = categories[box.category]
        PastResult.objects.filter(
            team=kept.team, date=kept.date, contest_name__iexact=kept.name, key=category.key
        ).delete()
        PastResult.objects.create(
            team=kept.team,
            imported=kept,
            contest_name=kept.name,
            date=kept.date,
            key=category.key,
            category=category.name,
            place=box.rank,
            field=box.of or None,
            total=box.total or "",
            possible=total_text(category.possible),
            table=box.table,
            box=box.box,
            dropped=", ".join(seat for seat, _ in box.dropped),
            marks=[list(marks) for marks in box.marks.values()],
        )
