"""Draw requests for the tests of the draw."""

from contest.rules.draw import DrawRequest


def full(teams, tables, categories, **more):
    """Every team in every category, every table open in all of them."""
    keys = tuple(f"c{number}" for number in range(1, categories + 1))
    return DrawRequest(
        categories=keys,
        entries=dict.fromkeys(keys, tuple(range(1, teams + 1))),
        tables=dict.fromkeys(keys, tuple(range(1, tables + 1))),
        **more,
    )
