"""Contests with phones in a data folder of their own, for tests against the served site.

Run as a program it makes them with FAIRBOX_DATA (or DATABASE_URL) from its environment and prints them as JSON:
`python -m tests.judging.field --teams 6 --tables 1 --seats 6 --contests 1`.
"""

import json
import os
import subprocess
import sys
from argparse import ArgumentParser, Namespace
from pathlib import Path
from typing import Any

from tests.site.served import SITE, environment


def make_field(data: Path, env: dict[str, str] | None = None, **sizes: Any) -> dict[str, Any]:
    """The first of `make_fields`."""
    return make_fields(data, env, **sizes)[0]


def make_fields(data: Path, env: dict[str, str] | None = None, **sizes: Any) -> list[dict[str, Any]]:
    """The fields that `main` prints; `sizes` are its options, `env` is added to its environment."""
    options = [text for name, value in sizes.items() for text in (f"--{name}", str(value))]
    more = env or {}
    answer = subprocess.run(
        [sys.executable, "-m", "tests.judging.field", *options],
        env=environment(data, **more), cwd=SITE, capture_output=True, text=True, timeout=300,
    )  # fmt: skip
    assert answer.returncode == 0, answer.stderr
    return json.loads(answer.stdout)


def main() -> None:
    parser = ArgumentParser()
    parser.add_argument("--contests", type=int, default=1)
    parser.add_argument("--teams", type=int, default=6)
    parser.add_argument("--tables", type=int, default=1)
    parser.add_argument("--seats", type=int, default=6)
    parser.add_argument("--categories", default="chicken,ribs")
    asked = parser.parse_args()

    import django

    django.setup()
    from django.core.management import call_command

    call_command("migrate", interactive=False, verbosity=0)
    print(json.dumps([made(asked) for _ in range(asked.contests)]))


def made(asked: Namespace) -> dict[str, Any]:
    """One contest: its slug, the pass words of organiser and desk, the pairing (category, team, box), and each seat's
    pass word, token and boxes.
    """
    from contest.models import Pairing, Seat
    from contest.services.passes import issue_pass, word_of
    from contest.services.seat_tokens import issue_token, text_of
    from tests.factories import give_part, make_contest, make_drawn

    contest = make_drawn(
        make_contest(
            teams=asked.teams,
            tables=asked.tables,
            seats=asked.seats,
            categories=tuple(asked.categories.split(",")),
            phones=True,
        )
    )
    organiser = issue_pass(opens="account", account=give_part(contest, "organiser"))
    desk = issue_pass(opens="desk", contest=contest)
    seats = []
    for seat in Seat.objects.filter(table__contest=contest).select_related("table").order_by("table__number", "letter"):
        held = issue_pass(opens="seat", contest=contest, seat=seat)
        boxes = contest.boxes.filter(table=seat.table).order_by("category__order", "position")
        seats.append(
            {
                "seat": f"{seat.table.number}{seat.letter}",
                "word": word_of(held),
                "token": text_of(issue_token(held=held)),
                "boxes": list(boxes.values_list("number", flat=True)),
            }
        )
    pairing = Pairing.objects.filter(box__contest=contest).order_by("box__number")
    return {
        "slug": contest.slug,
        "organiser": word_of(organiser),
        "desk": word_of(desk),
        "pairing": list(pairing.values_list("box__category__key", "entry__number", "box__number")),
        "seats": seats,
    }


if __name__ == "__main__":
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "contest.config.settings")
    main()
