"""Verifying a results package: every claim it makes is worked out again from its own files.

`verify` answers with findings in words. What no file can prove, that nobody talked, that labels were stuck as drawn
and that sheets were keyed as written, it does not claim.
"""

import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from typing import Any

from contest.rules.commitment import public_text, read_draw_text, seed_of, words_in
from contest.rules.csvfile import read
from contest.rules.draw import Placed, recompute
from contest.rules.ruleset import RuleSet, parse
from contest.rules.say import number_text
from judging.rules.contest_files import TURNIN_COLUMNS, ContestFiles, card_columns
from judging.rules.inputs import digest, inputs_document
from judging.rules.tally import Box, tally
from judging.rules.tally_csv import result_csv
from reports.rules.package.archive import FORMAT, LABEL_COLUMNS, LOG_COLUMNS, SUMS, sha256, sums_text
from reports.rules.package.logreplay import CardsReplay, Entry, broken_at, statuses_of, until_tally

NEEDED = (
    "contest.json",
    "rules/contest.toml",
    "cards.csv",
    "turnins.csv",
    "labels.csv",
    "secret.txt",
    "draw.txt",
    "log-day.csv",
    "log-cards.csv",
    "results.csv",
    "READ-ME.txt",
    SUMS,
)


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that was checked: whether it holds, in a sentence."""

    holds: bool
    text: str


def verify(files: Mapping[str, bytes], *, draw: str | None = None, log: str | None = None) -> list[Finding]:
    """Check a package's files (name → content).

    `draw` is the fingerprint printed on the day, `log` the printed head of a log chain: without them a package can
    only be shown to agree with itself.
    """
    findings: list[Finding] = []
    package = _Package(files)
    checks: list[tuple[str, Callable[[], Iterator[Finding]]]] = [
        ("The files", lambda: _files(package)),
        ("The draw", lambda: _draw(package, draw)),
        ("The logs", lambda: _logs(package, log)),
        ("Whose box it is", lambda: _owners(package)),
        ("The marks", lambda: _marks(package)),
        ("What was tallied", lambda: _inputs(package)),
        ("The standings", lambda: _standings(package)),
    ]
    for name, check in checks:
        try:
            findings.extend(check())
        except RecursionError:
            findings.append(Finding(False, f"{name}: nested too deeply to be read."))
        except (ValueError, KeyError, TypeError, IndexError, AttributeError, ArithmeticError) as error:
            reason = f"{error.args[0]!r} is missing" if isinstance(error, KeyError) else str(error)
            findings.append(Finding(False, f"{name}: cannot be read ({reason})."))
    return findings


class _Package:
    """The files, each read once when first asked for."""

    def __init__(self, files: Mapping[str, bytes]) -> None:
        self.files = files

    def text(self, name: str) -> str:
        if name not in self.files:
            raise ValueError(f"there is no {name}")
        return self.files[name].decode()

    def rows(self, name: str, columns: tuple[str, ...]) -> list[dict[str, str]]:
        return [row.cells for row in read(name, self.files[name], columns).rows]

    @cached_property
    def facts(self) -> dict[str, Any]:
        found = json.loads(self.text("contest.json"))
        if not isinstance(found, dict) or found.get("format") != FORMAT:
            raise ValueError(f"contest.json is not of the format {FORMAT}")
        return found

    @cached_property
    def rules(self) -> dict[str, RuleSet]:
        """The rule set of each category that was held, in the order of the day."""
        return {
            each["key"]: parse(self.text(f"rules/{each['key']}.toml"))
            for each in self.facts["categories"]
            if not each["cancelled"]
        }

    @property
    def counting(self) -> list[str]:
        """The held categories that count toward the overall."""
        return [each["key"] for each in self.facts["categories"] if each["counts"] and not each["cancelled"]]

    @cached_property
    def drawn(self) -> tuple[Placed, ...]:
        """The boxes as drawn, those of cancelled categories among them."""
        return read_draw_text(self.text("draw.txt"))[2]

    @property
    def placed(self) -> list[Placed]:
        """The boxes as drawn, of the categories that were held."""
        return [each for each in self.drawn if each.category in self.rules]

    @cached_property
    def boxes(self) -> list[Box]:
        contest = parse(self.text("rules/contest.toml"))
        files = ContestFiles(contest, self.rules)
        files.add_turnins(read("turnins.csv", self.files["turnins.csv"], TURNIN_COLUMNS, ("team",)))
        files.add_cards(read("cards.csv", self.files["cards.csv"], card_columns(self.rules, contest), ("team",)))
        return files.boxes()

    def chain(self, name: str) -> list[Entry]:
        return [Entry(**row) for row in self.rows(f"log-{name}.csv", LOG_COLUMNS)]

    def tallied(self, name: str) -> Sequence[Entry]:
        """The rows that this revision of the tally was made after."""
        return until_tally(self.chain(name), self.facts["revision"])

    @cached_property
    def cards_log(self) -> CardsReplay:
        penalties = {
            key: (
                "" if rules.scale.penalty is None else number_text(rules.scale.penalty),
                [criterion.key for criterion in rules.criteria],
            )
            for key, rules in self.rules.items()
        }
        return CardsReplay(self.tallied("cards"), penalties)


def _files(package: _Package) -> Iterator[Finding]:
    missing = [name for name in NEEDED if name not in package.files]
    if missing:
        yield Finding(False, f"Files are missing: {', '.join(missing)}.")
        return
    stated = package.text(SUMS)
    if stated == sums_text(package.files):
        yield Finding(True, f"All {len(package.files) - 1} files agree with {SUMS}.")
        return
    sums = {name: each for each, _, name in (line.partition("  ") for line in stated.splitlines())}
    wrong = [
        name
        for name in sorted({*sums, *package.files} - {SUMS})
        if name not in package.files or sums.get(name) != sha256(package.files[name])
    ]
    yield Finding(False, f"Changed, missing or added: {', '.join(wrong) or SUMS}.")


def _draw(package: _Package, printed: str | None) -> Iterator[Finding]:
    secret, text = package.files["secret.txt"], package.text("draw.txt")
    publics = _publics(package)
    commitment = sha256(secret)
    for name in publics:
        said = f"commitment\t{commitment}" in package.text(name).split("\n")
        yield Finding(said, f"{name} {'holds' if said else 'does not hold'} the sum of secret.txt, {commitment}.")
    _, seed, _ = read_draw_text(text)
    fits = seed == seed_of(secret, package.text(publics[-1]))
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
    fingerprint = sha256(text.encode())
    yield from _drawn_rows(package, commitment, publics, fingerprint)
    if printed is not None:
        same = printed.strip().lower() == fingerprint
        yield Finding(same, f"The fingerprint is {fingerprint}, {'as' if same else 'not what'} was printed on the day.")


@lru_cache(maxsize=4)
def _comes_out_again(text: str) -> bool:
    """Recomputing a large draw takes seconds; the same text is worked out once."""
    return recompute(text)


def _drawn_rows(package: _Package, commitment: str, publics: list[str], fingerprint: str) -> Iterator[Finding]:
    """The log of the day names every draw: its commitment and reason, the rule sets, and the last one's fingerprint."""
    chain = package.chain("day")
    rows = [row.known for row in chain if row.what == "boxes drawn"]
    said = [
        public_text(row["commitment"], words_in(package.text(name)), number=row["draw"], reason=row.get("reason", ""))
        for row, name in zip(rows, publics, strict=False)
    ]
    fits = len(rows) == len(publics) and said == [package.text(name) for name in publics]
    fits = fits and all(row["commitment"] == commitment for row in rows) and rows[-1]["fingerprint"] == fingerprint
    draws = "one draw" if len(publics) == 1 else f"{len(publics)} draws, of which the last stands"
    yield Finding(fits, f"The log of the day {'names' if fits else 'does not name'} {draws}, with these sums.")
    early = [place for place, row in enumerate(chain) if row.what == "secret of the draw made"]
    if early:
        drawn = [place for place, row in enumerate(chain) if row.what == "boxes drawn"]
        before = early[0] < drawn[0] and all(chain[place].known["commitment"] == commitment for place in early)
        yield Finding(
            before, f"The commitment {'stands' if before else 'does not stand'} in the log before the boxes were drawn."
        )
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


def _publics(package: _Package) -> list[str]:
    """`public.txt`, then `public-2.txt`, … of the redraws: the last one belongs to the draw that stands."""
    found = [name for name in package.files if name.startswith("public") and name.endswith(".txt")]
    numbers = {name: 1 if name == "public.txt" else int(name[len("public-") : -len(".txt")]) for name in found}
    ordered = sorted(numbers, key=lambda name: numbers[name])
    if [numbers[name] for name in ordered] != list(range(1, len(ordered) + 1)) or not ordered:
        raise ValueError("public.txt, or the public-N.txt of a redraw, is missing")
    return ordered


def _logs(package: _Package, printed: str | None) -> Iterator[Finding]:
    heads: dict[str, list[str]] = {}
    for name in ("day", "cards"):
        chain = package.chain(name)
        broken = broken_at(chain)
        heads[name] = [row.hash for row in chain]
        if broken is not None:
            yield Finding(False, f"log-{name}.csv: row {broken} does not fit the row before it.")
        elif heads[name] and package.facts["logs"][name] == heads[name][-1]:
            yield Finding(True, f"log-{name}.csv is whole: {len(chain)} rows.")
        else:
            yield Finding(False, f"log-{name}.csv does not end with the head that contest.json names.")
    yield from _seal(package)
    if printed is None:
        return
    wanted = printed.strip().lower()
    for name, hashes in heads.items():
        if wanted in hashes:
            after = len(hashes) - 1 - hashes.index(wanted)
            more = f", {after} rows were written after it" if after else ""
            yield Finding(True, f"log-{name}.csv contains the printed head at row {hashes.index(wanted) + 1}{more}.")
            return
    yield Finding(False, "No row of either log has the printed head: this is not the log of that day.")


def _seal(package: _Package) -> Iterator[Finding]:
    """contest.json tells of an early opening of the seal, and of one person, where the log of the day does."""
    chain = package.chain("day")
    opened = [row.known["reason"] for row in chain if row.what == "seal opened"]
    told = package.facts.get("seal_opened")
    same = [told["reason"]] == opened if told else not opened
    if not same:
        yield Finding(False, "contest.json does not say of the seal what the log of the day says.")
    elif opened:
        yield Finding(True, f"The log says that the seal was opened early: {opened[0]}")
    else:
        yield Finding(True, "The log knows of no early opening of the seal.")
    if any(row.what == "one person declared" for row in chain) and not package.facts["one_person"]:
        yield Finding(False, "The log says that one person worked desk and tally; contest.json does not.")


def _owners(package: _Package) -> Iterator[Finding]:
    """The boxes of turnins.csv are the drawn ones, each with the team it was drawn to after the label corrections."""
    statuses, swaps = statuses_of(package.tallied("day"))
    rows = package.rows("labels.csv", LABEL_COLUMNS)
    labels = [(row["one"], row["other"]) for row in rows]
    expected = [
        {"number": str(n), **dict(zip(LABEL_COLUMNS[1:], swap, strict=True))} for n, swap in enumerate(swaps, 1)
    ]
    same = rows == expected
    yield Finding(
        same,
        "labels.csv is what the log of the day says." if same else "labels.csv is not what the log of the day says.",
    )
    owner = {each.box: str(each.team) for each in package.drawn}
    for one, other in labels:
        if one in owner and other in owner:
            owner[one], owner[other] = owner[other], owner[one]
    table = {each.box: str(each.table) for each in package.placed}
    drawn = {(each.category, each.box) for each in package.placed}
    stated = {(row.category, row.box) for row in package.boxes}
    strange = drawn ^ stated
    if strange:
        numbers = ", ".join(sorted(box for _, box in strange))
        yield Finding(False, f"turnins.csv does not list the boxes of the draw: {numbers}.")
    wrong = [
        box.box for box in package.boxes if box.team != owner.get(box.box) or box.table not in ("", table.get(box.box))
    ]
    yield Finding(
        not wrong,
        f"Box {', '.join(wrong)}: not the team or table of the draw."
        if wrong
        else f"All {len(drawn)} boxes have the team and the table of the draw.",
    )
    yield from _statuses(package, statuses, owner)


def _statuses(package: _Package, statuses: Mapping[str, str], owner: Mapping[str, str]) -> Iterator[Finding]:
    out = package.cards_log.boxes_out
    # By one of its boxes a team is out of the contest, even where that box's category was cancelled afterwards.
    teams = {owner[box] for _, box in package.cards_log.teams_out if box in owner}
    wrong: list[str] = []
    for box in package.boxes:
        expected = statuses.get(box.box, "")
        if expected in ("accepted", "late") and ((box.category, box.box) in out or box.team in teams):
            expected = "disqualified"
        if box.status != expected:
            wrong.append(box.box)
    yield Finding(
        not wrong,
        f"Box {', '.join(wrong)}: the status is not what the logs say."
        if wrong
        else "Every status is what the desk recorded and the head judge ruled.",
    )


def _marks(package: _Package) -> Iterator[Finding]:
    """The cards are what the log's readings and rulings leave standing."""
    logged = package.cards_log.cards()
    stated = {}
    for box in package.boxes:
        keys = [criterion.key for criterion in package.rules[box.category].criteria]
        for card in box.cards:
            marks = dict(zip(keys, map(number_text, card.marks), strict=True))
            stated[box.category, box.box, f"{box.table}{card.seat}"] = marks
    wrong = sorted(slot for slot in {*logged, *stated} if logged.get(slot) != stated.get(slot))
    if wrong:
        _, number, seat = wrong[0]
        yield Finding(False, f"{len(wrong)} cards are not what the log says, the first: box {number}, seat {seat}.")
    else:
        yield Finding(True, f"All {len(stated)} cards are what the log's readings and rulings leave standing.")


def _inputs(package: _Package) -> Iterator[Finding]:
    """What was tallied has the sum that the log names; the reason of a revision is the log's."""
    _, seed, _ = read_draw_text(package.text("draw.txt"))
    table = {each.box: str(each.table) for each in package.placed}
    document = inputs_document(
        documents={key: package.text(f"rules/{key}.toml") for key in package.rules},
        overall_rules=package.text("rules/contest.toml"),
        counting=package.counting,
        seed=seed,
        boxes=[replace(box, table=table[box.box]) for box in package.boxes],
    )
    said = package.tallied("day")[-1].known
    same = (digest(document), package.facts["reason"]) == (said["inputs"], said["reason"])
    yield Finding(
        same,
        "What was tallied has the sum that the log of the day names."
        if same
        else "What was tallied is not what the log of the day names.",
    )


def _standings(package: _Package) -> Iterator[Finding]:
    _, seed, _ = read_draw_text(package.text("draw.txt"))
    result = tally(
        package.rules,
        package.boxes,
        overall=package.counting or None,
        seed=seed,
        overall_rules=parse(package.text("rules/contest.toml")),
    )
    same = result_csv(result) == package.text("results.csv")
    yield Finding(
        same,
        "Tallied again, the standings come out the same."
        if same
        else "Tallied again, results.csv does not come out: the published standings are not those of the marks.",
    )
