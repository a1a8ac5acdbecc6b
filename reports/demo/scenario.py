"""The demo's season: who competes, who judges, and what goes wrong on which day. Every name is invented.

Five contests are published; the newest stands in the middle of its judging.
"""

from dataclasses import dataclass, field

SEASON = "Example Season"
PLAIN_DAY = ("chicken", "ribs", "pork", "brisket")

TEAMS = tuple(
    f"Team {tree}"
    for tree in (
        "Alder", "Ash", "Aspen", "Beech", "Cedar", "Cherry", "Cypress", "Elm", "Fir", "Hawthorn", "Hazel", "Holly",
        "Hornbeam", "Juniper", "Larch", "Linden", "Maple", "Oak", "Pine", "Poplar", "Rowan", "Spruce", "Willow", "Yew",
    )
)  # fmt: skip
JUDGES = tuple(
    f"Judge {plant}"
    for plant in (
        "Aster", "Birch", "Bluebell", "Borage", "Bracken", "Bramble", "Campion", "Chervil", "Chicory", "Clover",
        "Comfrey", "Cornflower", "Cowslip", "Daisy", "Fennel", "Foxglove", "Gorse", "Heather", "Hyssop", "Iris",
        "Ivy", "Lavender", "Lovage", "Lupin", "Mallow", "Marjoram", "Nettle", "Poppy", "Sage", "Sorrel", "Tansy",
        "Thyme",
    )
)  # fmt: skip

IMPROVING = "Team Hazel"  # gets better from contest to contest, truly
STEADY = "Team Willow"  # does not, whatever a good day may suggest
ALWAYS_THERE = (IMPROVING, STEADY, "Team Alder", "Team Maple", "Team Oak", "Team Rowan")


@dataclass(frozen=True)
class Happening:
    """Something that goes wrong with the box of `team` in `category`.

    `what`: absent, late, refused, penalty, disqualified, labels_swapped (with the box of `other`), tied (with that of
    `other`, to be parted by `by`: taste or lot), lost_card, corrected_card.
    """

    what: str
    category: str
    team: str
    other: str = ""
    by: str = ""
    reason: str = ""


@dataclass(frozen=True)
class Day:
    """One contest: `days_ago` before today, `tables` of six judges, the teams that came."""

    name: str
    slug: str
    place: str
    days_ago: int
    teams: int
    tables: int
    rules: str = "taste-double"
    short_table: int | None = None  # one judge of this table did not come
    happenings: tuple[Happening, ...] = field(default=())


SEASON_DAYS = (
    Day(
        "Example Cook-off One", "example-cook-off-one", "Example Meadow", 126, teams=12, tables=2,
        happenings=(
            Happening("absent", "brisket", "Team Yew"),
            Happening("tied", "chicken", "Team Alder", other="Team Oak", by="taste"),
            Happening("corrected_card", "ribs", "Team Maple", reason="A 7 on the paper was keyed as a 1."),
        ),
    ),
    Day(
        "Example Cook-off Two", "example-cook-off-two", "Example Green", 98, teams=16, tables=3,
        happenings=(
            Happening("disqualified", "pork", "Team Cedar", reason="A name was written inside the box."),
            Happening("lost_card", "chicken", "Team Rowan", reason="The judge was called away before tasting."),
        ),
    ),
    Day(
        "Example Cook-off Three", "example-cook-off-three", "Example Common", 70, teams=18, tables=3,
        rules="uneven-weights", short_table=2,
        happenings=(
            Happening("penalty", "ribs", "Team Fir", reason="Garnish that the rules do not allow."),
            Happening("tied", "chicken", "Team Maple", other="Team Rowan", by="lot"),
        ),
    ),
    Day(
        "Example Cook-off Four", "example-cook-off-four", "Example Hill", 42, teams=24, tables=4,
        happenings=(
            Happening("late", "ribs", "Team Ash"),
            Happening("labels_swapped", "chicken", "Team Beech", other="Team Elm", reason="The labels were swapped "
                      "when the boxes were handed out; both teams showed their copies."),
        ),
    ),
    Day(
        "Example Cook-off Five", "example-cook-off-five", "Example Shore", 14, teams=20, tables=4,
        happenings=(
            Happening("refused", "chicken", "Team Larch", reason="Fewer than six portions in the box."),
            Happening("tied", "pork", "Team Alder", other="Team Maple", by="lot"),
        ),
    ),
)  # fmt: skip

#: Run elsewhere, between the fourth and the fifth: only its results package is here, brought by the improving team.
AWAY = Day("Example Away Cook-off", "example-away-cook-off", "Example Dale", 28, teams=14, tables=2)
AWAY_TURN = 3.5

TODAY = Day("Example Cook-off Six", "example-cook-off-six", "Example Mill", 0, teams=24, tables=4)
#: Score sheets of the newest contest that are still to come: category, table, seat.
SHEETS_TO_COME = (("chicken", 3, "E"), ("ribs", 3, "B"), ("ribs", 3, "E"), ("ribs", 4, "F"))
#: Pork boxes taken in so far, and the pork sheets that are in: table 1 was quick.
PORK_IN = 15


def teams_of(day: Day) -> tuple[str, ...]:
    """The teams that came, in team-number order: those who always come, those whom something happens to, others."""
    named = [team for happening in day.happenings for team in (happening.team, happening.other) if team]
    rest = [team for team in TEAMS if team not in ALWAYS_THERE and team not in named]
    turn = SEASON_DAYS.index(day) * 5 if day in SEASON_DAYS else 0
    came = list(dict.fromkeys([*ALWAYS_THERE, *named, *rest[turn:], *rest[:turn]]))[: day.teams]
    return tuple(sorted(came))


def judges_of(day: Day) -> tuple[str, ...]:
    """The judges that came, one for each seat of each table; a different few each time."""
    turn = SEASON_DAYS.index(day) * 7 if day in SEASON_DAYS else 3
    ordered = JUDGES[turn % len(JUDGES) :] + JUDGES[: turn % len(JUDGES)]
    return ordered[: day.tables * 6]
