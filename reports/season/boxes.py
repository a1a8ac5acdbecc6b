"""A team's boxes of a season, each with its place, its table's hardness and its adjusted total. Reads only."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass, field
from datetime import date
from fractions import Fraction
from math import sqrt
from uuid import UUID

from django.urls import reverse

from contest.models import Contest, Entry, Team
from judging.models import Tally
from reports.models import ImportedContest, SeverityFit
from reports.rules.severity.hardness import WEIGHTED, Z95
from reports.season.elsewhere import PastBox, past_boxes
from reports.season.own import imported_by_group, imported_of, own_key
from reports.season.seasons import Group, PastGroups, group_key, groups_of, published_tallies


@dataclass(frozen=True, slots=True)
class Adjusted:
    """In the contest's own points of a total. `hardness` is what the table and its judges took off (positive: hard);
    half the width of a 95 % interval stands beside each figure."""

    hardness: float
    hardness_half: float
    total: float
    total_half: float


@dataclass(frozen=True, slots=True)
class SeasonBox:
    """One box. `kind`: contest, practice or elsewhere. `total` is exact text; `adjusted` None where no fit tells.
    `has_field`: the other boxes' cards are known too, without which nobody can tell how hard its table was."""

    kind: str
    contest: str
    slug: str
    date: date
    key: str
    category: str
    box: str
    table: str
    tables: int
    rank: int | None
    of: int | None
    status: str
    total: str
    dropped: str
    adjusted: Adjusted | None = None
    url: str = ""
    has_field: bool = True

    @property
    def behind(self) -> int | None:
        """Per cent of the other boxes that came behind."""
        if self.rank is None or not self.of or self.of < 2:
            return None
        return round(100 * (self.of - self.rank) / (self.of - 1))


@dataclass
class TeamSeason:
    """What a team's season page shows. `contests` are those here, `imported` those that it brought as packages;
    `fits`: response → the kept fit over all categories, the team's own where packages are in."""

    team: Team
    group: Group
    groups: list[Group]
    boxes: list[SeasonBox] = field(default_factory=list)
    contests: list[Contest] = field(default_factory=list)
    imported: list[ImportedContest] = field(default_factory=list)
    fits: dict[str, SeverityFit] = field(default_factory=dict)

    @property
    def work_key(self) -> str:
        """Under which the fits are kept that have everything in them."""
        return own_key(self.team, self.group.key) if self.imported else self.group.key

    @property
    def held(self) -> dict[str, Contest | ImportedContest]:
        """Uid → contest, of both kinds."""
        both: list[Contest | ImportedContest] = [*self.contests, *self.imported]
        return {str(contest.uid): contest for contest in both}

    @property
    def fit(self) -> SeverityFit | None:
        return usable(self.fits.get(WEIGHTED))

    @property
    def categories(self) -> dict[str, str]:
        """Key → name; those of contests of this installation first."""
        ordered = sorted(self.boxes, key=lambda box: box.kind != "contest")
        names: dict[str, str] = {}
        for box in ordered:
            names.setdefault(box.key, box.category)
        return names


def usable(fit: SeverityFit | None) -> SeverityFit | None:
    """A fit that pages draw on: made, and of two contests or more; before that tables cannot be told from teams."""
    if fit is None or not fit.figures.is_usable:
        return None
    return fit


def fits_of(group: str) -> dict[str, SeverityFit]:
    """Response → the kept fit over all categories."""
    return {
        fit.response: fit for fit in SeverityFit.objects.current().filter(group=group, category="").order_by("made_at")
    }


def team_fits(team: Team, group: str, imported: Sequence[ImportedContest] | None = None) -> dict[str, SeverityFit]:
    """The fits that a team's pages draw on: its own where it brought packages and they are worked out, else the
    season's. `imported`: its packages of the season, looked up where they are not given."""
    brought = imported_of(team, group) if imported is None else imported
    own = fits_of(own_key(team, group)) if brought else {}
    return own if usable(own.get(WEIGHTED)) else fits_of(group)


def weighted_fits(team: Team, groups: Collection[str]) -> dict[str, SeverityFit]:
    """Season's key → the fit of weighted scores that the team's pages draw on, as `team_fits` chooses; those usable.

    One question for all seasons together.
    """
    if not groups:
        return {}
    own = {group: own_key(team, group) for group in imported_by_group(team) if group in groups}
    kept = SeverityFit.objects.current().filter(
        group__in=[*groups, *own.values()], response=WEIGHTED, category=""
    ).order_by("made_at")  # fmt: skip
    by_group = {fit.group: fit for fit in kept}
    found = {group: usable(by_group.get(own.get(group, group))) or usable(by_group.get(group)) for group in groups}
    return {group: fit for group, fit in found.items() if fit is not None}


def season_of(team: Team, key: str | None = None) -> TeamSeason | None:
    """The team's season by its key, or its newest. None where the team has nothing in it."""
    groups = groups_of(team)
    group = next((each for each in groups if key in (None, each.key)), None)
    if group is None:
        return None
    imported = imported_by_group(team, groups).get(group.key, [])
    season = TeamSeason(team, group, groups, imported=imported, fits=team_fits(team, group.key, imported))
    entries = Entry.objects.filter(team=team, contest__publications__isnull=False).distinct()
    entries = entries.select_related("contest__season", "team")
    mine = {entry.contest: entry for entry in entries if group_key(entry.contest) == group.key}
    season.contests = sorted(mine, key=lambda contest: (contest.date, contest.pk))
    tallies = published_tallies(season.contests, "inputs")
    for contest in season.contests:
        season.boxes += _boxes(mine[contest], contest, tallies[contest.pk], season.fit)
    group_of = PastGroups(each.key for each in groups)
    past = [box for box in past_boxes(team) if group_of(box.date) == group.key]
    season.boxes += [_past(team, box, season.fit) for box in past]
    season.boxes.sort(key=lambda box: box.date, reverse=True)
    return season


def _boxes(entry: Entry, contest: Contest, tally: Tally, fit: SeverityFit | None) -> list[SeasonBox]:
    found = []
    for category in tally.standings.categories:
        for box in category.boxes:
            if box.team != str(entry.number):
                continue
            found.append(
                SeasonBox(
                    kind=contest.kind,
                    contest=contest.name,
                    slug=contest.slug,
                    date=contest.date,
                    key=category.key,
                    category=category.name,
                    box=box.box,
                    table=box.table,
                    tables=len({other.table for other in category.boxes}),
                    rank=box.rank,
                    of=sum(other.rank is not None for other in category.boxes),
                    status=box.status,
                    total=box.total or "",
                    dropped=", ".join(card.seat for card in box.dropped),
                    adjusted=adjusted(fit, contest.uid, category.key, box.box, box.table, box.total),
                    url=reverse("reports:season_box", args=[entry.team.uid, contest.slug, category.key]),
                )
            )
    return found


def adjusted(
    fit: SeverityFit | None, contest: UUID, key: str, box: str, table_name: str, total: str | None
) -> Adjusted | None:
    """What a fit says of a box by its number, table and total. None without a fit, a total, cards in the fit or
    another table."""
    if fit is None or total is None:
        return None
    figures = fit.figures
    table = figures.table(contest, key, table_name)
    own = figures.box(contest, key, box)
    if table is None or own is None or table.hardness is None or table.error is None:
        return None
    # A total is as many points as its scale and cards make of a whole share.
    worth = figures.points_at(contest, key).total
    hardness, half = table.hardness * worth, Z95 * table.error * worth
    # The box's own judges scatter about its worth, too: that they were these six cannot be taken out.
    scatter = sqrt(table.error**2 + figures.residual / own.cards)
    return Adjusted(hardness, half, float(Fraction(total)) + hardness, Z95 * scatter * worth)


def adjusted_past(fit: SeverityFit | None, box: PastBox) -> Adjusted | None:
    """The same of a box from elsewhere: None where it did not come with its whole field."""
    if not box.has_field:
        return None
    return adjusted(fit, UUID(box.contest), box.key, box.box, box.table, box.total or None)


def _past(team: Team, box: PastBox, fit: SeverityFit | None) -> SeasonBox:
    return SeasonBox(
        kind="elsewhere",
        contest=box.contest_name,
        slug="",
        date=box.date,
        key=box.key,
        category=box.category,
        box=box.box,
        table=box.table,
        tables=0,
        rank=box.place,
        of=box.field,
        status="accepted",
        total=box.total,
        dropped=box.dropped,
        adjusted=adjusted_past(fit, box),
        url=reverse("reports:past_flight", args=[team.uid, box.number]) if box.has_field else "",
        has_field=box.has_field,
    )
