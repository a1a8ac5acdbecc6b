"""Builds the demo's season through the same services that the pages call; only the marks are invented.

Every result is what the tally makes of the marks. All of it is one transaction: a build that is broken off leaves
nothing behind.
"""

import hashlib
import random
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from functools import partial
from zoneinfo import ZoneInfo

from django.db import transaction
from django.utils import timezone

from contest.models import Account, Box, Category, Contest, DrawCeremony, Pass, Season, Seat, Team, TeamMember
from contest.present import present
from contest.rules.draw.commitment import commitment, secret_text
from contest.selectors.boxes import to_judge
from contest.selectors.pairing import boxes_of_teams
from contest.selectors.rules import category_rules
from contest.selectors.setup import machine_zone
from contest.services.desk import correct_labels, record_turn_in
from contest.services.draw import make_draw
from contest.services.passes import issue_pass, word_of
from contest.services.people import add_entry, add_judge, check_in, inspect_meat
from contest.services.roles import free_username, set_roles
from contest.services.rulesets import shipped_rule_set
from contest.services.seating import seat_at_random, vacate
from contest.services.setup import add_category, create_contest, set_tables
from judging.services.captain import call_head_judge, tick_box, tick_sheet
from judging.services.cards import hand_in_sheet
from judging.services.rulings import rule
from judging.services.tally import close_tally, sign_off
from reports.demo.clock import at
from reports.demo.cook import bring_package, keep_pages
from reports.demo.scenario import (
    AWAY,
    AWAY_TURN,
    IMPROVING,
    PLAIN_DAY,
    PORK_IN,
    SEASON,
    SEASON_DAYS,
    SHEETS_TO_COME,
    STEADY,
    TODAY,
    Day,
    Happening,
    judges_of,
    teams_of,
)
from reports.demo.simulate import Scale, Simulation, tie
from reports.models import JobState, SeasonWork, SeverityFit
from reports.results.publishing import publish
from reports.season import work
from reports.season.own import own_key

Say = Callable[[str], None]
Sheet = dict[str, dict[str, Decimal]]  # box number -> criterion -> mark

SEED = "an example season"
#: What the improving team gains from the first contest to the last, in marks of a nine-point scale.
GAIN = 2.4
BY_DESK, BY_CLERK, BY_CAPTAIN = "turn-in desk", "Example Clerk", "captain of table {}"


@dataclass
class Cast:
    """The accounts of the demo; they sign in with pass words only."""

    organiser: Account
    head_judge: Account
    tally: Account
    announcer: Account
    desk: Account
    cook: Account


def is_built() -> bool:
    return Contest.objects.filter(slug=TODAY.slug).exists()


def how_late() -> str:
    """Where the clock stands in the newest contest, whose windows were set around the moment it was built."""
    contest = Contest.objects.get(slug=TODAY.slug)
    pork, brisket = contest.categories.get(key="pork"), contest.categories.get(key="brisket")
    now = timezone.now()
    if now <= pork.turn_in_at + timedelta(minutes=pork.minutes_after):
        return "The window for pork is open now."
    if now <= brisket.turn_in_at + timedelta(minutes=brisket.minutes_after):
        return f"Brisket turns in at {contest.local(brisket.turn_in_at):%H:%M}."
    return "The turn-in windows of its newest contest are over: boxes that come now are for the desk to judge."


@transaction.atomic
def build(say: Say) -> None:
    """The whole season; `say` gets a line for each contest."""
    now = timezone.now()
    season = Season.objects.create(name=SEASON, year=now.year)
    cast = Cast(
        *(make_account(f"Example {name}") for name in ("Organiser", "Head Judge", "Clerk", "Announcer", "Desk", "Cook"))
    )
    simulation = Simulation(SEED, {IMPROVING: GAIN, STEADY: 0.0}, contests=len(SEASON_DAYS) + 1)
    for number, day in enumerate((*SEASON_DAYS, TODAY)):
        started = time.monotonic()
        contest = Held(day, number, simulation, cast, season, now).hold()
        boxes = contest.boxes.count()
        say(
            f"{number + 1} of {len(SEASON_DAYS) + 1}  {day.name}: {day.teams} teams, {day.tables} tables, {boxes} "
            f"boxes; {contest.get_state_display()} ({time.monotonic() - started:.1f} s)"
        )
    for team in Team.objects.filter(name__in=(IMPROVING, STEADY)):
        TeamMember.objects.create(team=team, account=cast.cook)
        if team.name == IMPROVING:
            keep_pages(team, ZoneInfo(machine_zone()), now, SEED)
            bring_package(team, Held(AWAY, AWAY_TURN, simulation, cast, None, now).hold)
            transaction.on_commit(partial(work.ask, own_key(team, f"season-{season.pk}")))


def work_out(say: Say) -> None:
    """Fit the season's models, as the background worker does after a publication."""
    started = time.monotonic()
    for waiting in SeasonWork.objects.filter(state=JobState.WAITING):
        work.run(waiting.pk)
    fits = SeverityFit.objects.count()
    contests = f"the season's {len(SEASON_DAYS)} published contests, without and with one from elsewhere"
    say(f"{fits} fits of {contests} ({time.monotonic() - started:.1f} s)")


def make_account(name: str) -> Account:
    account = Account(username=free_username(name), first_name=name)
    account.set_unusable_password()
    account.full_clean(exclude=["password"])
    account.save()
    return account


class Held:
    """One contest of the season on its way from set-up to where the demo shows it."""

    def __init__(
        self, day: Day, number: float, simulation: Simulation, cast: Cast, season: Season | None, now: datetime
    ) -> None:
        self.day, self.number, self.simulation, self.cast, self.season = day, number, simulation, cast, season
        self.zone = ZoneInfo(machine_zone())
        self.noon = self._noon(now)
        self.chance = random.Random(f"{SEED}:{day.slug}")  # noqa: S311  (invented events, no secret)
        self.contest: Contest

    def _noon(self, now: datetime) -> datetime:
        """Turn-in of the first category: noon; today such that the window for pork is open now."""
        if self.day is not TODAY:
            date = (now - timedelta(days=self.day.days_ago)).astimezone(self.zone).date()
            date -= timedelta(days=(date.weekday() - 5) % 7)  # the Saturday before
            return datetime(date.year, date.month, date.day, 12, tzinfo=self.zone)
        five = timedelta(minutes=5)
        return now - (now - datetime.min.replace(tzinfo=UTC)) % five + five - timedelta(minutes=60)

    def happenings(self, *what: str) -> list[Happening]:
        return [each for each in self.day.happenings if each.what in what]

    def hold(self) -> Contest:
        with at(self.noon - timedelta(hours=26)):
            self.set_up()
        with at(self.noon - timedelta(hours=3)):
            self.before()
        for category in self.contest.categories.all():
            if self.day is TODAY and category.key == "brisket":
                break
            self.turn_in(category)
            with at(min(category.turn_in_at + timedelta(minutes=25), timezone.now())):
                self.judge(category)
                if self.day is TODAY:
                    self.at_the_tables(category)
        if self.day is not TODAY:
            with at(self.noon + timedelta(hours=2, minutes=45)):
                self.finish()
        self.contest.refresh_from_db()
        return self.contest

    def set_up(self) -> None:
        day, cast = self.day, self.cast
        self.contest = contest = create_contest(
            organiser=cast.organiser,
            name=day.name,
            slug=day.slug,
            place=day.place,
            date=self.noon.astimezone(self.zone).date(),
            time_zone=self.zone.key,
            rule_set=shipped_rule_set(day.rules),
            season=self.season,
        )
        for order, key in enumerate(PLAIN_DAY):
            at_time = self.noon + timedelta(minutes=30 * order)
            add_category(contest=contest, key=key, name=key.capitalize(), turn_in_at=at_time)
        set_tables(contest=contest, tables=day.tables, seats=6)
        for number, team in enumerate(teams_of(day), start=1):
            add_entry(contest=contest, number=number, team_name=team, home="Example County")
        for place, judge in enumerate(judges_of(day)):
            add_judge(contest=contest, name=judge, contests_judged=(place * 7 + 3) % 23)
        for part in ("head_judge", "tally", "announcer", "desk"):
            set_roles(contest=contest, account=getattr(cast, part), parts={part}, by=str(cast.organiser))

    def before(self) -> None:
        contest, by = self.contest, str(self.cast.organiser)
        for entry in contest.entries.all():
            check_in(entry=entry, by=BY_DESK)
            inspect_meat(entry=entry, by=BY_DESK, raw=True, unseasoned=True, cold=True)
        seat_at_random(contest=contest, by=by, seed=f"{SEED}:{self.day.slug}")
        self.fix_secret()
        make_draw(contest=contest, by=by)
        if self.day.short_table is not None:
            seat = Seat.objects.get(table__contest=contest, table__number=self.day.short_table, letter="F")
            reason = "The judge was taken ill, and nobody could take the seat."
            pork = contest.categories.get(key="pork")
            vacate(contest=contest, seat=seat, from_category=pork, by=by, reason=reason)
        self.contest.refresh_from_db()

    def fix_secret(self) -> None:
        """Keep a secret of the demo's own for the draw: every build gives the same season. No contest does this."""
        secret = secret_text(hashlib.sha256(f"{SEED}:{self.day.slug}".encode()).digest())
        DrawCeremony.objects.create(contest=self.contest, secret_text=secret, commitment=commitment(secret))

    def turn_in(self, category: Category) -> None:
        boxes = {self.team_of[number]: box for number, box in boxes_of_teams(category).items()}
        arrivals = sorted((self.chance.triangular(-4.8, 4.5, -0.5), team) for team in boxes)
        opens = category.turn_in_at - timedelta(minutes=5)
        if self.day is TODAY and category.key == "pork":
            arrivals = arrivals[:PORK_IN]
        special = {each.team: each for each in self.happenings("absent", "late", "refused")}
        for place, (minutes, team) in enumerate(arrivals):
            moment = category.turn_in_at + timedelta(minutes=minutes)
            if self.day is TODAY and category.key == "pork":  # all of them between the opening and now
                moment = opens + (timezone.now() - opens) * (place + 1) / (PORK_IN + 1)
            happening = special.get(team)
            if happening is None or happening.category != category.key:
                self.record(boxes[team], "accepted", moment)
            elif happening.what == "late":
                self.record(boxes[team], "late", category.turn_in_at + timedelta(minutes=6, seconds=20))
            else:
                self.record(boxes[team], happening.what, moment, happening.reason)
        for swapped in self.happenings("labels_swapped"):
            if swapped.category == category.key:
                one, other = boxes[swapped.team], boxes[swapped.other]
                with at(category.turn_in_at + timedelta(minutes=4, seconds=45)):
                    correct_labels(contest=self.contest, one=one, other=other, reason=swapped.reason, by=BY_DESK)

    @property
    def team_of(self) -> dict[int, str]:
        return dict(enumerate(teams_of(self.day), start=1))

    def record(self, box: Box, status: str, moment: datetime, reason: str = "") -> None:
        with at(moment):
            record_turn_in(contest=self.contest, box=box, status=status, by=BY_DESK, reason=reason)

    def at_the_tables(self, category: Category) -> None:
        """Today's captains tick off what is there; one of them has a question."""
        boxes = self.contest.boxes.filter(category=category, turn_ins__standing=True).select_related("table", "draw")
        for box in boxes:
            table = present(box.table)
            tick_box(contest=self.contest, table=table, box=box, here=True, by=BY_CAPTAIN.format(table.number))
        for seat in Seat.objects.filter(table__contest=self.contest).select_related("table"):
            if not self.still_to_come(category, seat.table.number, seat.letter):
                by = BY_CAPTAIN.format(seat.table.number)
                tick_sheet(contest=self.contest, category=category, seat=seat, collected=True, by=by)
        if category.key == "pork":
            table = self.contest.tables.get(number=2)
            call_head_judge(
                contest=self.contest,
                table=table,
                category=category,
                about="question",
                by=BY_CAPTAIN.format(2),
                text="Foil under the meat in one box: is that allowed?",
            )

    def judge(self, category: Category) -> None:
        """Every sheet of the category that is in by now, then what the head judge rules."""
        sheets = self.sheets(category)
        for (table, letter), sheet in sorted(sheets.items()):
            if self.day is TODAY and self.still_to_come(category, table, letter):
                continue
            self.hand_in(category, table, letter, sheet)
        self.rule(category)

    def still_to_come(self, category: Category, table: int, letter: str) -> bool:
        if category.key == "pork":  # the boxes are on the tables, and one quick judge is done
            return (table, letter) != (1, "A")
        return (category.key, table, letter) in SHEETS_TO_COME

    def sheets(self, category: Category) -> dict[tuple[int, str], Sheet]:
        """Table and seat letter -> the sheet: a card for each box that is judged."""
        rules = category_rules(category)
        scales = {
            each.key: Scale(rules.scale.lowest, rules.scale.highest, each.step or rules.scale.step)
            for each in rules.criteria
        }
        judged = to_judge(self.contest)
        boxes = {self.team_of[number]: box for number, box in boxes_of_teams(category).items() if box.pk in judged}
        if self.day is TODAY and category.key == "pork":
            boxes = {team: box for team, box in boxes.items() if box.turn_ins.exists()}
        sittings = {
            (sitting.seat.table.number, sitting.seat.letter): sitting.judge
            for sitting in category.sittings.filter(vacant=False).select_related("seat__table", "judge")
        }
        cards: dict[str, dict[str, dict[str, Decimal]]] = {
            team: {
                letter: self.simulation.card(
                    team=team,
                    judge=str(judge),
                    table=table,
                    contest=self.number,
                    category=category.key,
                    criteria=list(scales.items()),
                )
                for (table, letter), judge in sittings.items()
                if table == present(box.table).number
            }
            for team, box in boxes.items()
        }
        weights = {each.key: each.weight for each in rules.criteria}
        for tied in self.happenings("tied"):
            if tied.category == category.key:
                cards[tied.other] = tie(cards[tied.team], by=tied.by, weights=weights, scale=scales)
        found: dict[tuple[int, str], Sheet] = {seat: {} for seat in sittings}
        for team, box in sorted(boxes.items(), key=lambda pair: pair[1].position):
            for letter, marks in cards[team].items():
                found[present(box.table).number, letter][box.number] = marks
        return found

    def box_of(self, happening: Happening, category: Category) -> Box:
        number = next(number for number, team in self.team_of.items() if team == happening.team)
        return boxes_of_teams(category)[number]

    def hand_in(self, category: Category, table: int, letter: str, sheet: Sheet) -> None:
        seat = Seat.objects.select_related("table").get(table__contest=self.contest, table__number=table, letter=letter)
        special = {
            self.box_of(each, category).number: each
            for each in self.happenings("lost_card", "corrected_card")
            if each.category == category.key
        }
        mistakes: Sheet = {}
        if letter == "C":
            for number, happening in special.items():
                if number in sheet and happening.what == "lost_card":
                    sheet = {box: marks for box, marks in sheet.items() if box != number}
                elif number in sheet:
                    mistakes[number] = {**sheet[number], "taste": Decimal(1)}
        hand_in_sheet(contest=self.contest, category=category, seat=seat, marks={**sheet, **mistakes}, by=BY_CLERK)
        for number in mistakes:
            hand_in_sheet(
                contest=self.contest,
                category=category,
                seat=seat,
                marks={number: sheet[number]},
                by=BY_CLERK,
                reason=special[number].reason,
            )

    def rule(self, category: Category) -> None:
        by = str(self.cast.head_judge)
        for happening in self.happenings("penalty", "disqualified", "lost_card"):
            if happening.category != category.key:
                continue
            box = self.box_of(happening, category)
            if happening.what == "penalty":
                rule(
                    contest=self.contest, kind="penalty", scope="criterion", criterion="appearance", box=box,
                    reason=happening.reason, by=by,
                )  # fmt: skip
            elif happening.what == "disqualified":
                rule(
                    contest=self.contest, kind="disqualification", scope="box", box=box, reason=happening.reason, by=by
                )
            else:
                seat = Seat.objects.get(table=box.table, letter="C")
                rule(
                    contest=self.contest, kind="lost", scope="card", box=box, seat=seat, reason=happening.reason, by=by
                )

    def finish(self) -> None:
        tally = close_tally(contest=self.contest, by=BY_CLERK)
        sign_off(tally=tally, by=str(self.cast.head_judge))
        self.contest.refresh_from_db()
        with at(timezone.now() + timedelta(minutes=40)):
            publish(contest=self.contest, by=str(self.cast.organiser))


def sign_ins() -> list[tuple[str, str]]:
    """Whom the demo lets in, with the pass word: (who, word)."""
    contest = Contest.objects.get(slug=TODAY.slug)
    rows: list[tuple[str, Pass]] = [
        (who, issue_pass(opens=Pass.Opens.ACCOUNT, account=Account.objects.get(username=username)))
        for who, username in (
            ("organiser", "example-organiser"),
            ("head judge", "example-head-judge"),
            ("tally clerk", "example-clerk"),
            ("announcer", "example-announcer"),
            (f"a cook ({IMPROVING})", "example-cook"),
        )
    ]
    rows.insert(3, ("turn-in desk", issue_pass(opens=Pass.Opens.DESK, contest=contest)))
    table = contest.tables.get(number=1)
    rows.insert(4, ("captain of table 1", issue_pass(opens=Pass.Opens.TABLE, contest=contest, table=table)))
    return [(who, word_of(held)) for who, held in rows]
