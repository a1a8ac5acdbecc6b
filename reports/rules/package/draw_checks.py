"""Checks of the draw: its commitment, seed, fingerprint and rows in the log, and the names that it binds."""

from collections.abc import Iterator
from functools import lru_cache

from contest.rules.draw import recompute
from contest.rules.draw.commitment import public_text, seed_of, words_in
from contest.rules.namelists import CORRECTED, undo_corrections
from reports.rules.package.archive import sha256
from reports.rules.package.opened import Finding, OpenedPackage


def check_draw(package: OpenedPackage, noted: str | None) -> Iterator[Finding]:
    """Yield whether secret, seed, draw and log belong together; `noted` is the fingerprint of the day."""
    secret, text = package.files["secret.txt"], package.text("draw.txt")
    fingerprint = sha256(text.encode())
    if noted is not None:
        same = fingerprint.startswith(noted)
        yield Finding(same, f"The fingerprint is {fingerprint}, {'as' if same else 'not what'} was printed on the day.")
    publics = package.publics
    commitment = sha256(secret)
    for name in publics:
        has_it = f"commitment\t{commitment}" in package.text(name).split("\n")
        yield Finding(has_it, f"{name} {'holds' if has_it else 'does not hold'} the sum of secret.txt, {commitment}.")
    fits = package.seed == seed_of(secret, package.text(publics[-1]))
    yield Finding(
        fits, f"The seed {'is' if fits else 'is not'} the sum of secret.txt and {publics[-1]}, one after the other."
    )
    again = _comes_out_again(text)
    yield Finding(
        again,
        "Drawn again from its entries and its seed, the draw comes out the same."
        if again
        else "Drawn again from its entries and its seed, another draw comes out.",
    )
    yield from _drawn_rows(package, commitment, publics, fingerprint)


@lru_cache(maxsize=4)
def _comes_out_again(text: str) -> bool:
    """Recomputing a large draw takes seconds; the same text is worked out once."""
    return recompute(text)


def _drawn_rows(package: OpenedPackage, commitment: str, publics: list[str], fingerprint: str) -> Iterator[Finding]:
    """The log of the day names every draw: its commitment and reason, the rule sets, and the last one's fingerprint."""
    chain = package.chain("day")
    rows = [row.known for row in chain if row.what == "boxes drawn"]
    words = words_in(package.text(publics[0]))  # a redraw keeps them
    texts = [
        public_text(row["commitment"], words, number=number, reason=row.get("reason", ""))
        for number, row in enumerate(rows, 1)
    ]
    fits = texts == [package.text(name) for name in publics] and rows[-1]["fingerprint"] == fingerprint
    fits = fits and all((row["draw"], row["commitment"]) == (n, commitment) for n, row in enumerate(rows, 1))
    draws = "one draw" if len(publics) == 1 else f"{len(publics)} draws, of which the last counts"
    yield Finding(fits, f"The log of the day {'names' if fits else 'does not name'} {draws}, with these sums.")
    early = [place for place, row in enumerate(chain) if row.what == "secret of the draw made"]
    if early:
        drawn = [place for place, row in enumerate(chain) if row.what == "boxes drawn"]
        before = early[0] < drawn[0] and all(chain[place].known["commitment"] == commitment for place in early)
        yield Finding(before, f"The commitment {'is' if before else 'is not'} in the log before the boxes were drawn.")
    elif words:
        yield Finding(False, "Words were called out, but the log does not have the commitment before the draw.")
    fixed = rows[-1]["rules"] if rows else {}
    changed = [
        name
        for name in sorted(package.files)
        if name.startswith("rules/")
        and fixed.get(name.removeprefix("rules/").removesuffix(".toml")) != sha256(package.files[name])
    ]
    yield Finding(
        not changed,
        f"Not as they were fixed at the draw: {', '.join(changed)}."
        if changed
        else "The rules were fixed at the draw.",
    )


def check_names(package: OpenedPackage) -> Iterator[Finding]:
    """Yield whether the names of teams and categories are those of the draw, and every name that was corrected since.

    The corrections of the log, undone from the last to the first, must lead back to the lists that draw.txt binds.
    """
    request = package.request
    if not (request.entries_sum and request.categories_sum):
        yield Finding(False, "draw.txt does not bind the names: it has no line entries, or no line categories.")
        return
    chain = package.chain("day")
    drawn = max((place for place, row in enumerate(chain) if row.what == "boxes drawn"), default=-1)
    corrections = [row.known for row in chain[drawn + 1 :] if row.what == CORRECTED]
    try:
        at_draw = undo_corrections(package.names, corrections)
    except ValueError as error:
        yield Finding(False, f"The names are not those that the draw's fingerprint covers: {error}.")
        return
    for what, same in (
        ("teams", at_draw.entries_sum == request.entries_sum),
        ("categories", at_draw.categories_sum == request.categories_sum),
    ):
        yield Finding(
            same,
            f"The names of the {what} are those that the draw's fingerprint covers."
            if same
            else f"The names, numbers or uids of the {what} are not those that the draw's fingerprint covers.",
        )
    for facts in corrections:
        whose = f"team {facts['entry']}" if "entry" in facts else f"category {facts['category']}"
        yield Finding(True, f"The log names a correction of {whose}: “{facts['from']}” became “{facts['to']}”.")
