"""The texts that make a draw verifiable, and their SHA-256 sums.

`secret.txt` holds a 256-bit nonce that nobody sees before publishing; its sum D1 is published before the
cooks' meeting. `public.txt` holds D1 and the words called out there. The seed is the sum of both files, one
after the other: `cat secret.txt public.txt | sha256sum` prints it. `draw.txt` holds what was drawn from and
what came out; its sum D2 is the fingerprint on cover sheets and results. It names the sums of the list of entries
and of the list of categories, so the fingerprint covers every name. All texts are UTF-8, lines ended by a line
feed. People copy and read aloud the short form of a sum: its first 20 hex digits.
"""

from __future__ import annotations

import hashlib
import re
import unicodedata
from collections.abc import Iterable

from contest.rules.draw.request import DrawRequest, Placed

ALGORITHM = "fairbox-draw-1"
"""Changes whenever the same request and seed would give another draw."""
SHORT_DIGITS = 20
"""Hex digits of a short form: 80 bits, which no forger can hit by trying."""
_IGNORED = re.compile(r"[\s\u00ad\u2010-\u2015\u2212-]+")  # blanks, hyphens, dashes


def sha256(text: str | bytes) -> str:
    """The sum in lower-case hex, as `sha256sum` prints it."""
    return hashlib.sha256(text.encode() if isinstance(text, str) else text).hexdigest()


def short_form(full: str, between: str = " ") -> str:
    """Return the part of a sum that people write down and read aloud: 20 hex digits in five groups of four.

    In a command a hyphen between the groups spares the quotes.
    """
    digits = full[:SHORT_DIGITS]
    return between.join(digits[place : place + 4] for place in range(0, len(digits), 4))


def read_sum(typed: str) -> str:
    """Return the hex digits of a sum as a person typed it: all 64, or the 20 of its short form.

    Blanks, hyphens and capitals do not matter. A sum fits what was typed if it starts with the digits returned.
    Raises ValueError for anything shorter, for another length and for other signs, and says what to type.
    """
    digits = _IGNORED.sub("", typed).lower()
    if re.fullmatch(r"[0-9a-f]{64}|[0-9a-f]{20}", digits):
        return digits
    if not re.fullmatch(r"[0-9a-f]*", digits):
        raise ValueError("only the digits 0 to 9 and the letters a to f may occur; check what you typed")
    raise ValueError(f"{len(digits)} hex digits; type all 64, or the short form: the first 20, in five groups of four")


def secret_text(nonce: bytes) -> str:
    """`secret.txt` from 32 random bytes: 64 hex digits and a line end.

    Raises ValueError for any other length.
    """
    if len(nonce) != 32:
        raise ValueError(f"the nonce has {len(nonce)} bytes: give 32")
    return nonce.hex() + "\n"


def commitment(secret: str | bytes) -> str:
    """D1, published before anybody speaks."""
    return sha256(secret)


def public_text(d1: str, words: Iterable[str] = (), *, number: int = 1, reason: str = "") -> str:
    """`public.txt`: D1, the draw's number (and a redraw's reason), then the called-out words, sorted.

    Words are normalised (NFC), runs of white space become one space, empty ones are left out. Sorted by code
    point, so the order in which teams spoke does not matter.
    """
    lines = [f"commitment\t{d1}", f"draw\t{number}"]
    if reason:
        lines.append(f"reason\t{one_line(reason)}")
    lines += [f"word\t{word}" for word in sorted(filter(None, map(one_line, words)))]
    return "\n".join(lines) + "\n"


def words_in(public: str) -> list[str]:
    """The called-out words that a `public.txt` holds."""
    return [line.removeprefix("word\t") for line in public.split("\n") if line.startswith("word\t")]


def seed_of(secret: str | bytes, public: str) -> str:
    """SHA-256 of secret.txt followed by public.txt, lower-case hex."""
    first = secret.encode() if isinstance(secret, str) else secret
    return sha256(first + public.encode())


def draw_text(request: DrawRequest, seed: str, placed: Iterable[Placed]) -> str:
    """`draw.txt`, tab-separated and canonical: the same draw gives the same bytes.

    Header lines (`algorithm`, `seed`, `places`, a `tables` line per category in order, `used` with earlier
    box numbers, `entries` and `categories` with the sums of the lists, left out where there are none), `forbid`
    lines, then five fields per box: category, box, table, position, team number.
    """
    lines = [f"algorithm\t{ALGORITHM}", f"seed\t{seed}", f"places\t{request.most_boxes or 'any'}"]
    lines += [f"tables\t{key}\t{_numbers(request.tables[key])}" for key in request.categories]
    lines.append(f"used\t{' '.join(sorted(request.excluded_numbers)) or 'none'}")
    if request.entries_sum:
        lines.append(f"entries\t{request.entries_sum}")
    if request.categories_sum:
        lines.append(f"categories\t{request.categories_sum}")
    lines += [f"forbid\t{team}\t{table}" for team, table in sorted(request.forbidden)]
    order = {key: i for i, key in enumerate(request.categories)}
    for p in sorted(placed, key=lambda p: (order[p.category], p.box)):
        lines.append(f"{p.category}\t{p.box}\t{p.table}\t{p.position}\t{p.team}")
    return "\n".join(lines) + "\n"


def read_draw_text(text: str) -> tuple[DrawRequest, str, tuple[Placed, ...]]:
    """The request, the seed and the places that a `draw.txt` holds.

    Raises ValueError naming the line that cannot be read.
    """
    head: dict[str, str] = {}
    tables: dict[str, tuple[int, ...]] = {}
    forbidden: set[tuple[int, int]] = set()
    placed: list[Placed] = []
    for number, line in enumerate(text.removesuffix("\n").split("\n"), 1):
        match line.split("\t"):
            case ["algorithm" | "seed" | "places" | "used" | "entries" | "categories" as name, value]:
                head[name] = value
            case ["tables", key, numbers]:
                tables[key] = tuple(_whole(n, number) for n in numbers.split(" "))
            case ["forbid", team, table]:
                forbidden.add((_whole(team, number), _whole(table, number)))
            case [key, box, table, position, team] if key in tables:
                numbers3 = [_whole(n, number) for n in (table, position, team)]
                placed.append(Placed(key, box, *numbers3))
            case _:
                raise ValueError(f"draw.txt, line {number}: not a line of a draw: {line!r}")
    if missing := {"algorithm", "seed", "places", "used"} - set(head):
        raise ValueError(f"draw.txt: no line {', '.join(sorted(missing))}")
    if head["algorithm"] != ALGORITHM:
        raise ValueError(f"draw.txt: drawn by {head['algorithm']}, this program knows {ALGORITHM}")
    entries = {key: tuple(sorted(p.team for p in placed if p.category == key)) for key in tables}
    request = DrawRequest(
        categories=tuple(tables),
        entries=entries,
        tables=tables,
        most_boxes=None if head["places"] == "any" else _whole(head["places"], 3),
        forbidden=frozenset(forbidden),
        excluded_numbers=frozenset(() if head["used"] == "none" else head["used"].split(" ")),
        entries_sum=head.get("entries", ""),
        categories_sum=head.get("categories", ""),
    )
    return request, head["seed"], tuple(placed)


def one_line(text: str) -> str:
    """Return a text in normal form NFC, each run of white space as one blank, none at the ends."""
    return " ".join(unicodedata.normalize("NFC", text).split())


def _numbers(numbers: Iterable[int]) -> str:
    return " ".join(str(n) for n in sorted(numbers))


def _whole(text: str, line: int) -> int:
    if not (text.isascii() and text.isdigit()):
        raise ValueError(f"draw.txt, line {line}: {text!r} is not a whole number")
    return int(text)
