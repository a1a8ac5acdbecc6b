"""A cook's years, as many as wanted, and the addresses of all pages on which they are shown."""

import uuid
from datetime import UTC, date, datetime

from django.urls import reverse

from contest.models import TeamMember
from contest.rules.ruleset import shipped_text
from reports.cook.cooklog import keep_own_day, log_of, note_field, note_stage
from reports.cook.days import find_day
from reports.models import ImportedContest, PastResult
from reports.practice import evening
from reports.practice.setup import set_up
from reports.season.fits import fit_season
from reports.season.imported import ImportedBox, ImportedBoxes
from reports.season.own import own_key
from reports.season.seasons import group_key
from tests.factories import client_for, make_contest, make_drawn, make_rule_set, take_in
from tests.reports.cooks import make_cook, page
from tests.reports.seasons import make_season, mark, put_out

BY = "a member"


class Years:
    """A cook's years: contests of one season, of other years and from packages, results, days and practices."""

    def __init__(self) -> None:
        season = make_season(2, teams=4)
        self.season = season
        self.contest = season.contests.order_by("date").first()
        self.entries = [entry.team for entry in self.contest.entries.order_by("number")]
        self.team, self.client = make_cook(self.entries[0])
        self.account = TeamMember.objects.get(team=self.team).account
        self.head_judge = client_for(self.contest, "head_judge")
        self.organiser = client_for(self.contest, "organiser")
        self.organiser_account = self.contest.roles.get(organiser=True).account
        self.contests, self.results, self.packages, self.days, self.practices = 0, 0, 0, 0, 0

    def contest_in(self, day: date, **fields: object) -> None:
        """Another published contest of the same teams, with a log of the cook."""
        contest = make_contest(teams=4, tables=2, date=day, **fields)
        for entry, team in zip(contest.entries.order_by("number"), self.entries, strict=True):
            entry.team = team
            entry.save()
        make_drawn(contest)
        take_in(contest)
        mark(contest, self.contests)
        put_out(contest)
        contest.roles.create(account=self.organiser_account, organiser=True)
        self.log_cook(contest.uid, "ribs")
        self.contests += 1

    def log_cook(self, day_uid: uuid.UUID, key: str) -> None:
        day = find_day(self.team, day_uid)
        log = log_of(team=self.team, day=day, key=key)
        note_stage(log=log, stage="pit", at=log.turn_in_at)
        note_field(log=log, name="Wood", value="oak" if self.days % 2 else "alder")

    def result_in(self, year: int) -> None:
        self.results += 1
        PastResult.objects.create(
            team=self.team, contest_name=f"Away {self.results}", date=date(year, 3, 1), key="ribs", category="Ribs",
            place=3, field=9, total="150", possible="180",
        )  # fmt: skip

    def package_in(self, year: int) -> None:
        """A contest that came with its whole field: two tables, two boxes each."""
        self.packages += 1
        teams = [str(uuid.uuid4()) for _ in range(4)]
        boxes = tuple(
            ImportedBox(
                "ribs", str(301 + place), team, str(1 + place % 2), "accepted",
                {seat: (str(6 + (place + at) % 3),) * 3 for at, seat in enumerate("ABCDEF")},
                place + 1, "150", "ranked", (),
            )
            for place, team in enumerate(teams)
        )  # fmt: skip
        kept = ImportedContest.objects.create(
            team=self.team, uid=uuid.uuid4(), name=f"Packed {self.packages}", date=date(year, 4, self.packages),
            package_sum="0" * 64, own=teams[0], boxes=ImportedBoxes(boxes).to_json(), names=[["ribs", "Ribs"]],
            rules={"ribs": shipped_text("taste-double")},
        )  # fmt: skip
        self.brought = PastResult.objects.create(
            team=self.team, imported=kept, contest_name=kept.name, date=kept.date, key="ribs", category="Ribs",
            place=1, field=4, total="150", possible="202.5", table="1", box="301",
        )  # fmt: skip

    def day_in(self, year: int) -> None:
        self.days += 1
        at = datetime(year, 2, 1 + self.days % 28, 12, tzinfo=UTC)
        self.day = keep_own_day(
            team=self.team, row=None, name=f"Home {self.days}", date=at.date(), time_zone="UTC",
            dishes=[("ribs", "Ribs", at)],
        )  # fmt: skip
        self.log_cook(self.day.uid, "ribs")

    def practice(self, question: str) -> None:
        self.practices += 1
        self.tasting = set_up(
            team=self.team, dish=f"Ribs {self.practices}", question=question, versions=("cherry", "hickory"),
            tasters=("Juniper", "Linden", "Hazel"), rule_set=make_rule_set(), time_zone="UTC", by=BY,
        )  # fmt: skip
        evening.serve(practice=self.tasting, by=BY)
        evening.close(practice=self.tasting, by=BY, unfinished_too=True)

    def fit(self) -> None:
        group = f"season-{self.season.pk}"
        fit_season(group)
        fit_season(own_key(self.team, group))

    def addresses(self) -> dict[str, tuple[object, str]]:
        """Page → who opens it, and where."""
        team, group = self.team, group_key(self.contest)
        cook = {
            "season": page("season", team),
            "season by key": page("season_of", team, group),
            "season, filtered": f"{page('season_of', team, group)}?category=ribs&sort=-total",
            "boxes as CSV": page("season_csv", team, group),
            "boxes as XLSX": page("season_xlsx", team, group),
            "tables": page("season_tables", team, group),
            "trends": page("season_trends", team, group),
            "flight": page("season_box", team, self.contest.slug, "ribs"),
            "flight from a package": page("past_flight", team, self.brought.pk),
            "plan": page("plan", team),
            "plan of a day": page("plan_day", team, self.contest.uid),
            "plan of a typed day": page("plan_day", team, self.day.uid),
            "stage lengths": page("stages", team, self.contest.uid, "ribs"),
            "log and comparison": page("cook_log", team),
            "log of a cook": page("cook_log_of", team, self.contest.uid, "ribs"),
            "log of a typed day": page("cook_log_of", team, self.day.uid, "ribs"),
            "fields of the log": page("cook_settings", team),
            "past results": page("past", team),
            "a past result": page("past_result", team, PastResult.objects.filter(imported=None).first().pk),
            "practices": page("practices", team),
            "a practice": page("practice", team, self.tasting.contest.uid),
            "a new practice": page("practice_new", team),
            "the team": page("team", team),
            "my teams": reverse("reports:teams"),
            "home": reverse("contest:home"),
        }
        study = {
            name: (self.head_judge, reverse(f"reports:{name}", args=[self.contest.slug]))
            for name in ("agreement", "how_sure")
        }
        own = {
            "organiser's home": (self.organiser, reverse("contest:home")),
            "rule sets": (self.organiser, reverse("contest:rule_sets")),
        }
        return {name: (self.client, address) for name, address in cook.items()} | study | own
