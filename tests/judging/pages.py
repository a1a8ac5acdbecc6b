"""What the tests of the judging rooms share: addresses, posted sheets, and the look for what must stay sealed."""

import re

from django.urls import reverse

from contest.models import Pairing
from judging.models import Card, Mark, Reading

CRITERIA = ("appearance", "taste", "tenderness")


def sheet_address(contest, key="chicken", table=1, seat="A"):
    return reverse("judging:sheet", args=[contest.slug, key, table, seat])


def address(contest, name, *more):
    return reverse(f"judging:{name}", args=[contest.slug, *more])


def posted(rows, *, versions=None, none=(), **more):
    """Form data of a sheet: box number → "8 9 7"."""
    data = {}
    for number, text in rows.items():
        values = text.split(",") if "," in text else text.split()
        for key, value in zip(CRITERIA, values, strict=False):
            data[f"{number}-{key}"] = value.strip()
        data[f"{number}-version"] = (versions or {}).get(number, "0")
    for number in none:
        data[f"{number}-none"] = "on"
        data[f"{number}-version"] = (versions or {}).get(number, "0")
    return data | more


def plain(answer):
    """The page without what differs from one request to the next by itself."""
    text = answer.content.decode()
    return re.sub(r'name="csrfmiddlewaretoken" value="[^"]*"', "", text)


def name_teams_unmistakably(contest):
    """Names and numbers that cannot stand on a page by accident."""
    for place, entry in enumerate(contest.entries.select_related("team")):
        entry.number = 7001 + place
        entry.save()
        entry.team.name = f"Zzunmistakable {place}"
        entry.team.head_cook = f"Qqcook {place}"
        entry.team.save()


def permute_pairing(contest):
    """The same boxes belong to other teams: every box's entry moves on by one."""
    rows = list(Pairing.objects.filter(box__contest=contest).order_by("box__number"))
    entries = [row.entry_id for row in rows]
    for row, entry in zip(rows, entries[1:] + entries[:1], strict=True):
        row.entry_id = entry
        row.save()


def names_a_team(text):
    return [
        found for found in ("Zzunmistakable", "Qqcook", *(str(7001 + place) for place in range(30))) if found in text
    ]


def fill(contest, missing=0):
    """Cards for every box and seat in few queries; the last `missing` left out."""
    boxes = contest.boxes.select_related("table").prefetch_related("table__seats").order_by("number")
    slots = [(box, seat) for box in boxes for seat in box.table.seats.all()]
    cards = Card.objects.bulk_create(Card(box=box, seat=seat) for box, seat in slots[: len(slots) - missing])
    readings = Reading.objects.bulk_create(Reading(card=card, by="clerk") for card in cards)
    Mark.objects.bulk_create(
        Mark(reading=reading, criterion=key, value=5 + (place + shift) % 4)
        for place, reading in enumerate(readings)
        for shift, key in enumerate(CRITERIA)
    )
