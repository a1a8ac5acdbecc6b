"""Once cards are handed in, the whole seating is not made anew: the cards would belong to other judges."""

from contest.day import Todo, hinders
from contest.models import Contest
from judging.models import Card


def register() -> None:
    hinders("seating", cards_are_in)


def cards_are_in(contest: Contest) -> list[Todo]:
    if not Card.objects.filter(box__contest=contest).exists():
        return []
    return [Todo("Cards are handed in, so the seats stay. Change single seats from the next category on.")]
