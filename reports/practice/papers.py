"""The evening on paper: cards that stand by the plates, slips for tasters without a phone, the plating list.

Cards and slips are of the tasters' side and read no version; the plating list is the key, and is printed only while
the key is open.
"""

from collections.abc import Mapping
from typing import Any

from django.urls import reverse

from contest.models import Box, Contest
from contest.present import present
from contest.selectors.rules import contest_rules
from contest.services.passes import issue_pass, word_of
from reports.models import Practice, PrintJob
from reports.paper.before import scale_of
from reports.paper.catalogue import Paper
from reports.paper.look import Options
from reports.paper.sheet import Sheet, qr_picture
from reports.practice.plates import key_is_open, key_of, rounds_of
from reports.rules.sensory.tasting import SCORE, TRIANGLE

CARDS, SLIPS, KEY = "plate-cards", "taster-slips", "plating-list"
CARDS_A_PAGE = 8
#: Rounds or plates up to which two slips share a page.
SMALL_SLIP = 3


def plate_cards(contest: Contest, options: Options) -> list[Sheet]:
    """A card a plate to cut apart: its number large, whose it is and when it is tasted small."""
    boxes = Box.objects.filter(contest=contest).select_related("category", "table")
    ordered = boxes.order_by("category__order", "table__number", "position")
    rounds = contest.categories.count()
    cards = [
        {"number": box.number, "taster": present(box.table).number, "place": box.position,
         "round": box.category.order if rounds > 1 else 0}
        for box in ordered
    ]  # fmt: skip
    pages = [cards[start : start + CARDS_A_PAGE] for start in range(0, len(cards), CARDS_A_PAGE)]
    return [Sheet("plate_cards", {"contest": contest, "cards": page}) for page in pages]


def taster_slips(contest: Contest, options: Options) -> list[Sheet]:
    """A slip a taster: what to do, room for every answer, and the word under which somebody keys it later."""
    practice = Practice.objects.get(contest=contest)
    rules = contest_rules(contest)
    slips = [
        {
            "taster": taster.name,
            "number": taster.seat.table.number,
            "rounds": rounds_of(contest, taster.seat),
            "door": _door(contest, taster.seat, options),
        }
        for taster in practice.tasters.select_related("seat__table")
    ]
    context = {
        "contest": contest,
        "scores": practice.question == SCORE,
        "triangle": practice.question == TRIANGLE,
        "rules": rules,
        "scale": scale_of(rules),
    }
    tall = contest.categories.count() if practice.question != SCORE else practice.versions.count()
    a_page = 2 if tall <= SMALL_SLIP else 1
    pages = [slips[start : start + a_page] for start in range(0, len(slips), a_page)]
    return [Sheet("taster_slips", {**context, "slips": page}) for page in pages]


def _door(contest: Contest, seat: Any, options: Options) -> dict[str, str]:
    """Pass word of a seat; with a code where this site is reached from other devices."""
    word = word_of(issue_pass(opens="seat", contest=contest, seat=seat))
    if not options.address:
        return {"word": word, "address": "", "qr": ""}
    address = f"{options.address}{reverse('contest:pass_in')}"
    return {"word": word, "address": address, "qr": qr_picture(f"{address}#{word}")}


def plating_list(contest: Contest, options: Options) -> list[Sheet]:
    """What goes on which plate. Nothing once the key is closed."""
    practice = Practice.objects.get(contest=contest)
    if not key_is_open(practice):
        return []
    return [Sheet("plating_list", {"contest": contest, "practice": practice, "key": key_of(practice)})]


PAPERS: Mapping[str, Paper] = {
    paper.key: paper
    for paper in (
        Paper(CARDS, "Plate cards", "a number for each plate, to cut apart", plate_cards, bare=True),
        Paper(SLIPS, "Taster slips", "for tasters without a phone: numbers in order, room to write", taster_slips),
        Paper(KEY, "Plating list", "what goes on which plate: for whoever plates", plating_list),
    )
}


def jobs_of(practice: Practice) -> list[PrintJob]:
    """The practice's prints of the day, newest first; of the plating list only while the key is open."""
    found = PrintJob.objects.filter(contest=practice.contest, what__in=PAPERS)
    return list(found if key_is_open(practice) else found.exclude(what=KEY))
