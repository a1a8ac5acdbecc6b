"""A team's own season: the contests of a season here and those that it brought as results packages, side by side.

A package shows only that it agrees with itself. So what is fitted with packages belongs to the team that brought them,
under a key of its own: no other team's figures move by it, and no other team's pages read it.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal
from uuid import UUID

from contest.models import Contest, Entry, Team
from contest.rules.ruleset import RuleSet
from contest.selectors.rules import parsed
from judging.rules.inputs import digest
from reports.models import ImportedContest, SeasonWork, SeverityFit
from reports.rules.severity.hardness import CardRow, frame_of
from reports.season.cards import Held, SeasonCards, shares
from reports.season.imported import imported_boxes
from reports.season.seasons import Group, PastGroups, contests_of, groups_of

SEPARATOR = "+"


def own_key(team: Team, group: str) -> str:
    """The key of a season with the team's packages."""
    return f"{group}{SEPARATOR}{team.uid.hex}"


@dataclass(frozen=True)
class Members:
    """What a fit is made of, by its key: published contests here, oldest first; with `team`, what it brought too."""

    contests: list[Contest]
    imported: list[ImportedContest] = field(default_factory=list)
    team: Team | None = None

    def __len__(self) -> int:
        return len(self.contests) + len(self.imported)


def members_of(key: str) -> Members:
    """The contests behind a season's key, or behind a team's own. None for a key that names nothing."""
    group, _, uid = key.partition(SEPARATOR)
    contests = contests_of(group)
    if not uid:
        return Members(contests)
    team = Team.objects.filter(uid=UUID(uid)).first()
    if team is None:
        return Members([])
    # Contests of a year in which the team took no part share nothing with what it brought.
    here = Entry.objects.filter(team=team, contest__in=contests).exists()
    return Members(contests if here else [], imported_of(team, group), team)


def imported_of(team: Team, group: str) -> list[ImportedContest]:
    """The contests that the team brought as packages and that belong to this season of its own, oldest first."""
    return imported_by_group(team).get(group, [])


def imported_by_group(team: Team, groups: Sequence[Group] | None = None) -> dict[str, list[ImportedContest]]:
    """Season's key → the contests that the team brought as packages, oldest first.

    `groups`: the team's seasons, looked up where they are not given.
    """
    brought = ImportedContest.objects.filter(team=team, pending=None).defer("boxes", "pending").order_by("date", "uid")
    found: dict[str, list[ImportedContest]] = {}
    if not brought:
        return found
    group_of = PastGroups(group.key for group in (groups_of(team) if groups is None else groups))
    for each in brought:
        found.setdefault(group_of(each.date), []).append(each)
    return found


def brought_hash(season: str, members: Members) -> str:
    """SHA-256 over what a team's own fits depend on: the hash of the season's cards here, and the packages."""
    assert members.team is not None
    brought = [[str(each.uid), each.package_sum, str(each.own)] for each in members.imported]
    return digest([season, str(members.team.uid), sorted(brought)])


def own_keys(group: str) -> list[str]:
    """The teams' own keys of a season for which something was worked out."""
    found = SeverityFit.objects.filter(group__startswith=f"{group}{SEPARATOR}")
    return sorted(set(found.values_list("group", flat=True)))


def forget_own(team: Team) -> None:
    """Nothing that was worked out with the team's packages stays."""
    for model in (SeverityFit, SeasonWork):
        model.objects.filter(group__endswith=f"{SEPARATOR}{team.uid.hex}").delete()


def imported_rows(contest: ImportedContest) -> list[CardRow]:
    """The cards of the boxes that were judged, as the severity model takes them beside those of contests here.

    The team that brought the contest has its uid here; the others keep the uid that their package gives them, so that
    packages of one place agree, and stay apart from each other. Nobody knows who sat at a table elsewhere: a judge is
    a seat of one contest.
    """
    rules = rules_of(contest)
    uid = str(contest.uid)
    own = {str(contest.own): str(contest.team.uid)}
    return [
        CardRow(
            contest=uid,
            category=box.category,
            box=box.box,
            table=box.table,
            seat=seat,
            team=own.get(box.team, box.team),
            judge=f"{uid}:{box.table}{seat}",
            shares=shares(map(Decimal, marks), rules[box.category]),
        )
        for box in imported_boxes(contest)
        if box.status == "accepted"
        for seat, marks in box.cards.items()
    ]


def rules_of(contest: ImportedContest) -> dict[str, RuleSet]:
    """Category key → its rules, in the order of the day."""
    return {key: parsed(contest.rules[key]) for key, _ in contest.names}


def with_packages(cards: SeasonCards, members: Members) -> SeasonCards:
    """A season's cards with those of the packages that a team brought."""
    if members.team is None:
        return cards
    from pandas import concat  # imports slowly: only the child that fits waits for it

    brought = frame_of(row for each in members.imported for row in imported_rows(each))
    held = [Held(str(each.uid), each.date, rules_of(each), dict(each.names)) for each in members.imported]
    return replace(
        cards,
        frame=concat([cards.frame, brought]),
        held=sorted([*cards.held, *held], key=lambda each: (each.date, each.uid)),
        inputs_hash=brought_hash(cards.inputs_hash, members),
        own=str(members.team.uid),
    )
