"""A blind tasting at home: which version goes on which plate, in which order, under which number.

Every taster gets plates of their own, each under a three-digit number of its own (ISO 4120:2021, 5.5: coded samples,
preferably with three-digit numbers chosen at random, preferably different for each assessor). Orders are balanced:

- triangle test: the six orders AAB ABA BAA BBA BAB ABB equally often (ISO 4120);
- preference and scores: Williams designs (Williams 1949, from memory): over a whole design every version stands
  equally often at every place and directly behind every other.

Where the tasters do not fill whole designs, the rest of one is drawn at random. Everything comes from one seed, and
the text of a plan holds all that it takes to draw it again.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from contest.rules.draw.boxnumbers import draw_numbers
from contest.rules.generator import Generator

ALGORITHM = "fairbox-tasting-1"
"""Changes whenever the same request and seed would give other plates."""

TRIANGLE, PREFERENCE, SCORE = "triangle", "preference", "score"
QUESTIONS = (TRIANGLE, PREFERENCE, SCORE)

MOST_TASTERS = 24
MOST_VERSIONS = 6
MOST_ROUNDS = 4

_ODD_TWO = ((1, 1, 2), (1, 2, 1), (2, 1, 1))  # the second version is the odd one
_ODD_ONE = ((2, 2, 1), (2, 1, 2), (1, 2, 2))

Order = tuple[int, ...]


class TastingError(ValueError):
    """A tasting that cannot be held so; the message says what to change."""


@dataclass(frozen=True, slots=True)
class TastingRequest:
    """`question`: one of QUESTIONS. `rounds`: how often each taster meets the plates; more than one for a triangle."""

    question: str
    versions: int
    tasters: int
    rounds: int = 1

    def check(self) -> None:
        """Raise TastingError for what cannot be tasted."""
        if self.question not in QUESTIONS:
            raise TastingError(f"“{self.question}” is no question: ask {', '.join(QUESTIONS)}.")
        if self.versions < 2:
            raise TastingError("There is nothing to compare with one version: name at least two.")
        if self.question != SCORE and self.versions != 2:
            raise TastingError(
                f"This question sets two versions against each other and {self.versions} are named: "
                "leave two, or ask how the versions score."
            )
        if self.versions > MOST_VERSIONS:
            raise TastingError(f"{self.versions} versions tire a palate: taste at most {MOST_VERSIONS} in an evening.")
        if not 1 <= self.tasters <= MOST_TASTERS:
            raise TastingError(f"Name 1 to {MOST_TASTERS} tasters.")
        if not 1 <= self.rounds <= MOST_ROUNDS:
            raise TastingError(f"Choose 1 to {MOST_ROUNDS} rounds.")
        if self.question != TRIANGLE and self.rounds != 1:
            raise TastingError("Only the triangle test goes more than one round: elsewhere a taster counts once.")


@dataclass(frozen=True, slots=True)
class Plate:
    """Taster, round and version count from 1; `position` is the place in the order of tasting."""

    round: int
    number: str
    taster: int
    position: int
    version: int


def round_key(number: int) -> str:
    return f"round-{number}"


def williams(versions: int) -> list[list[Order]]:
    """Williams designs for `versions`, as blocks in which every version stands once at every place.

    An even number takes one square, an odd number two that mirror each other.

    >>> williams(4)
    [[(1, 2, 4, 3), (2, 3, 1, 4), (3, 4, 2, 1), (4, 1, 3, 2)]]
    """
    first = [0]
    for step in range(1, versions):
        first.append((step + 1) // 2 if step % 2 else versions - step // 2)
    square = [tuple((start + offset) % versions + 1 for offset in first) for start in range(versions)]
    return [square] if versions % 2 == 0 else [square, [order[::-1] for order in square]]


def plan(request: TastingRequest, seed: str) -> tuple[Plate, ...]:
    """All plates of a tasting, by round, taster and place. Raises TastingError."""
    request.check()
    generator = Generator(seed.encode())
    orders = _orders(request, generator.fork("orders"))
    size = len(orders[0])
    wanted = {round_key(number): request.tasters * size for number in range(1, request.rounds + 1)}
    numbers = draw_numbers(wanted, teams=(), excluded=(), generator=generator.fork("numbers"))
    dealt = iter(orders)
    plates = []
    for each in range(1, request.rounds + 1):
        of_round = iter(numbers[round_key(each)])
        for taster in range(1, request.tasters + 1):
            plates += [
                Plate(each, next(of_round), taster, position, version)
                for position, version in enumerate(next(dealt), 1)
            ]
    return tuple(plates)


def _orders(request: TastingRequest, generator: Generator) -> list[Order]:
    """One order for each taster and round."""
    needed = request.tasters * request.rounds
    found: list[Order] = []
    while len(found) < needed:
        for block in _blocks(request, generator):
            found += generator.shuffled(block)
    return generator.shuffled(found[:needed])


def _blocks(request: TastingRequest, generator: Generator) -> list[list[Order]]:
    """One whole design in blocks that are balanced each for itself, so that a cut design loses least."""
    if request.question == TRIANGLE:
        pairs = zip(generator.shuffled(_ODD_TWO), generator.shuffled(_ODD_ONE), strict=True)
        return [list(pair) for pair in pairs]
    names = generator.shuffled(range(1, request.versions + 1))
    squares = generator.shuffled(williams(request.versions))
    return [[tuple(names[version - 1] for version in order) for order in square] for square in squares]


def plan_text(request: TastingRequest, seed: str, plates: Sequence[Plate], names: Sequence[str]) -> str:
    """The plan, tab-separated and canonical: the same plan gives the same bytes. `names` are the versions'.

    Header lines, one line a version, then five fields a plate: round, number, taster, place, version.
    """
    lines = [f"algorithm\t{ALGORITHM}", f"seed\t{seed}", f"question\t{request.question}"]
    lines += [f"tasters\t{request.tasters}", f"rounds\t{request.rounds}"]
    lines += [f"version\t{place}\t{' '.join(name.split())}" for place, name in enumerate(names, 1)]
    for plate in sorted(plates, key=lambda each: (each.round, each.number)):
        fields = (round_key(plate.round), plate.number, plate.taster, plate.position, plate.version)
        lines.append("\t".join(map(str, fields)))
    return "\n".join(lines) + "\n"


def drawn_again(text: str) -> bool:
    """Whether the seed that stands in the text of a plan gives this very plan.

    Raises TastingError for a text that is no plan.
    """
    head: dict[str, str] = {}
    names: list[str] = []
    for line in text.removesuffix("\n").split("\n"):
        match line.split("\t"):
            case ["algorithm" | "seed" | "question" | "tasters" | "rounds" as name, value]:
                head[name] = value
            case ["version", _, name]:
                names.append(name)
    if set(head) != {"algorithm", "seed", "question", "tasters", "rounds"}:
        raise TastingError("This text is no plan of a tasting: its head lacks a line.")
    if head["algorithm"] != ALGORITHM:
        raise TastingError(f"This plan was drawn by {head['algorithm']}; this program knows {ALGORITHM}.")
    if not (head["tasters"].isdecimal() and head["rounds"].isdecimal()):
        raise TastingError("This text is no plan of a tasting: tasters and rounds are whole numbers.")
    request = TastingRequest(head["question"], len(names), int(head["tasters"]), int(head["rounds"]))
    return plan_text(request, head["seed"], plan(request, head["seed"]), names) == text
