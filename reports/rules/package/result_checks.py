"""Checks of the result: whose box it is, the scores, the scoring data, and the standings that follow from them."""

from collections.abc import Iterator, Mapping
from dataclasses import replace

from contest.rules.ruleset import parse
from contest.rules.say import number_text
from judging.rules.inputs import digest, inputs_document
from judging.rules.tally import tally
from judging.rules.tally_csv import result_csv
from reports.rules.package.archive import LABEL_COLUMNS, TURNIN_COLUMNS
from reports.rules.package.logreplay import statuses_of
from reports.rules.package.opened import Finding, OpenedPackage


def check_owners(package: OpenedPackage) -> Iterator[Finding]:
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
        else:
            yield Finding(False, f"The draw has no box {one if one not in owner else other}, which labels.csv names.")
    table = {each.box: str(each.table) for each in package.placed}
    drawn = [(each.category, each.box) for each in package.placed]
    listed = [(row["category"], row["box"]) for row in package.rows("turnins.csv", TURNIN_COLUMNS)]
    strange = {*drawn} ^ {*listed, *((box.category, box.box) for box in package.boxes)}
    if listed != drawn or strange:
        numbers = ", ".join(sorted(box for _, box in strange)) or "their order"
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


def _statuses(package: OpenedPackage, statuses: Mapping[str, str], owner: Mapping[str, str]) -> Iterator[Finding]:
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


def check_scores(package: OpenedPackage) -> Iterator[Finding]:
    """The cards are those that count by the log's readings and rulings."""
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
        yield Finding(False, f"{len(wrong)} cards are not what the log says. The first is box {number}, seat {seat}.")
    else:
        yield Finding(True, f"All {len(stated)} cards are what the log of scores and rulings gives.")


def check_inputs(package: OpenedPackage) -> Iterator[Finding]:
    """What was tallied has the sum that the log names; the reason of a revision is the log's."""
    table = {each.box: str(each.table) for each in package.placed}
    document = inputs_document(
        documents={key: package.text(f"rules/{key}.toml") for key in package.rules},
        overall_rules=package.text("rules/contest.toml"),
        counting=package.counting,
        seed=package.seed,
        boxes=[replace(box, table=table[box.box]) for box in package.boxes],
    )
    row = package.tallied("day")[-1].known
    same = (digest(document), package.facts["reason"]) == (row["inputs"], row["reason"])
    yield Finding(
        same,
        "The scoring data has the sum that the log of the day names."
        if same
        else "The scoring data is not what the log of the day names.",
    )


def check_standings(package: OpenedPackage) -> Iterator[Finding]:
    """Yield whether the tally of the package's own files gives results.csv, which holds codes and figures only."""
    result = tally(
        package.rules,
        package.boxes,
        overall=package.counting or None,
        seed=package.seed,
        overall_rules=parse(package.text("rules/contest.toml")),
    )
    same = result_csv(result) == package.text("results.csv")
    yield Finding(
        same,
        "Recalculating the scores gives the same standings."
        if same
        else "Recalculating the scores does not give results.csv. The published standings do not match the scores.",
    )
