"""Three evenings of practice for the demo's cook: one that tells, one that does not, one that waits to be served.

Plates, cards and answers go through the services that the pages call; what the tasters mark is invented from a model
in which cherry is a little better than hickory.
"""

import random
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from contest.models import Box, Seat, Team
from contest.selectors.rules import contest_rules
from contest.services.rulesets import shipped_rule_set
from judging.services.phones import PhoneCard, hand_in_card
from reports.demo.clock import at
from reports.models import Practice
from reports.practice import evening
from reports.practice.plates import key_of, rounds_of
from reports.practice.setup import set_up
from reports.rules.sensory.tasting import PREFERENCE, SCORE, TRIANGLE

BY = "Example Cook"
WOODS = ("cherry", "hickory")
FRIENDS = ("Juniper", "Linden", "Hazel")
MORE_FRIENDS = (*FRIENDS, "Maple", "Rowan", "Yew")
#: How well a taster finds the odd plate, and what cherry gains over hickory, in marks.
FINDS, GAIN = 0.6, 0.7


def hold_practices(team: Team, zone: ZoneInfo, now: datetime, seed: str) -> None:
    chance = random.Random(f"{seed}:evenings")  # noqa: S311  (invented tasters, no secret)
    with at(now - timedelta(days=30)):
        _finish(_set_up(team, zone, TRIANGLE, WOODS, FRIENDS, rounds=4), chance)
    with at(now - timedelta(days=12)):
        _finish(_set_up(team, zone, SCORE, (*WOODS, "oak"), MORE_FRIENDS), chance)
    _set_up(team, zone, PREFERENCE, ("wrapped", "not wrapped"), FRIENDS)


def _set_up(
    team: Team, zone: ZoneInfo, question: str, versions: tuple[str, ...], tasters: tuple[str, ...], rounds: int = 1
) -> Practice:
    return set_up(
        team=team,
        dish="Ribs",
        question=question,
        versions=versions,
        tasters=tasters,
        rounds=rounds,
        rule_set=shipped_rule_set("taste-double"),
        time_zone=zone.key,
        by=BY,
    )


def _finish(practice: Practice, chance: random.Random) -> None:
    practice = evening.serve(practice=practice, by=BY)
    practice.contest.refresh_from_db()
    versions = {number: version for row in key_of(practice).rows for number, version in row.plates}
    for taster in practice.tasters.select_related("seat__table"):
        lenient = chance.gauss(0, 0.7)
        for each in rounds_of(practice.contest, taster.seat):
            if practice.question == SCORE:
                for number in each.numbers:
                    gain = GAIN if versions[number].name == "cherry" else 0.0
                    _hand_in(practice, taster.seat, number, chance, 6.5 + lenient + gain)
                continue
            names = [versions[number].name for number in each.numbers]
            odd = next(number for number, name in zip(each.numbers, names, strict=True) if names.count(name) == 1)
            named = odd if chance.random() < FINDS else chance.choice(each.numbers)
            evening.hand_in_answer(contest=practice.contest, seat=taster.seat, category=each.category, number=named)
    evening.close(practice=practice, by=BY)


def _hand_in(practice: Practice, seat: Seat, number: str, chance: random.Random, worth: float) -> None:
    rules = contest_rules(practice.contest)
    low, high = int(rules.scale.lowest), int(rules.scale.highest)
    marks = {each.key: str(min(high, max(low, round(chance.gauss(worth, 0.8))))) for each in rules.criteria}
    box = Box.objects.get(contest=practice.contest, number=number)
    card = PhoneCard(key=f"{chance.getrandbits(128):032x}", box=box.number, marks=marks, device="demo")
    hand_in_card(contest=practice.contest, seat=seat, card=card)
