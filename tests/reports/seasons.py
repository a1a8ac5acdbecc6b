"""A small season in the database: published contests with the same teams, one table harder than the other."""

from datetime import date

from contest.models import Contest, Judge, Season, Sitting, Team, TeamMember
from judging.services.tally import close_tally, sign_off
from reports.results.publishing import publish
from reports.season.fits import fit_season
from reports.season.seasons import group_key
from tests.factories import make_account, make_card, make_contest, make_drawn, take_in

#: Marks by seat: six judges who differ a little; by box: what it is worth.
SEATS = {"A": 0, "B": 1, "C": 0, "D": -1, "E": 0, "F": 1}


def make_season(contests: int = 2, *, teams: int = 8, published: bool = True) -> Season:
    """`contests` contests, a month apart, of the same teams and judges at two tables; table 2 takes a mark off."""
    season = Season.objects.create(name="Example Season", year=2026)
    known: list[Team] = []
    judges: dict[tuple[int, str], Judge] = {}
    for number in range(contests):
        contest = make_contest(teams=teams, tables=2, season=season, date=date(2026, 5 + number, 13))
        for place, entry in enumerate(contest.entries.order_by("number")):
            if number == 0:
                known.append(entry.team)
            else:
                entry.team = known[place]
                entry.save()
        for sitting in Sitting.objects.filter(category__contest=contest).select_related("seat__table"):
            key = (sitting.seat.table.number, sitting.seat.letter)
            sitting.judge = judges.setdefault(key, sitting.judge)
            sitting.save()
        make_drawn(contest)
        take_in(contest)
        mark(contest, number)
        if published:
            put_out(contest)
    return season


def mark(contest: Contest, turn: int) -> None:
    """Cards with a spread of marks that repeats for nobody: boxes, seats and a scatter by number."""
    for box in contest.boxes.select_related("table", "pairing__entry"):
        worth = 5 + box.pairing.entry.number % 4 - (box.table.number == 2)
        for seat in box.table.seats.all():
            scatter = (int(box.number) * 7 + ord(seat.letter) * 3 + turn * 5) % 3 - 1
            value = min(9, max(1, worth + SEATS[seat.letter] + scatter))
            make_card(box, seat, {"appearance": value, "taste": value, "tenderness": max(1, value - scatter)})


def put_out(contest: Contest) -> None:
    contest.refresh_from_db()
    sign_off(tally=close_tally(contest=contest, by="clerk"), by="head judge")
    publish(contest=contest, by="organiser")
    contest.refresh_from_db()


def fitted(contests: int = 2, **more: int) -> tuple[Season, str]:
    season = make_season(contests, **more)
    group = group_key(season.contests.first())
    fit_season(group)
    return season, group


def cook_of(team: Team):
    account = make_account()
    TeamMember.objects.create(team=team, account=account)
    return account
