"""What judges' phones add to a contest: the judge's room, and when phones may still be switched on or off."""

from django.urls import reverse

from contest.day import Todo, hinders
from contest.models import Contest
from contest.navigation import Room, add_room
from judging.models import Card


def register() -> None:
    hinders("phones", cards_there)
    add_room(
        Room(61, "Cards", "judging:seat", frozenset({"judge"}), small=True, when=lambda contest, _: contest.phones)
    )


def cards_there(contest: Contest) -> list[Todo]:
    """Phones or paper alone is settled before the first card, so that no card waits where nobody looks for it."""
    if not Card.objects.filter(box__contest=contest).exists():
        return []
    url = reverse("judging:marks", args=[contest.slug])
    return [Todo("Cards are handed in: whether judges use phones was settled before the first.", url, "Show them")]
