"""A result explained in sentences that a cook reads, from the same values that decided it."""

from collections.abc import Sequence
from fractions import Fraction

from contest.rules.ruleset import RuleSet, tie_break_text
from contest.rules.say import count, counted, listed, number_text, sentence, total_text
from judging.rules.outcome import BoxResult, TeamResult, TieStep
from judging.rules.rows import Row
from judging.rules.ties import value_text

_STATUS = {
    "late": "The box came late",
    "absent": "The box was not handed in",
    "refused": "The box was refused at the desk",
    "disqualified": "The box was disqualified",
}


def working(result: BoxResult | TeamResult, rules: RuleSet, *, public: bool = False) -> list[str]:
    """How a box (by its category's rules) or a team (by the contest's) came to its total and place.

    With ``public``, no sentence shows a table, a seat or the marks of a single card.
    """
    if isinstance(result, TeamResult):
        return [*_team_total(result), *_ties(result.team, result.ties, rules, "{}"), *_place(result.rank)]
    if result.points is None:
        return _unranked(result, rules)
    lines = _cards(result, public) if result.status == "ranked" else _penalty_cards(result, rules)
    return [*lines, _total(result, rules), *_ties(result.box, result.ties, rules, "box {}"), *_place(result.rank)]


def _unranked(result: BoxResult, rules: RuleSet) -> list[str]:
    if result.status == "short":
        came = sentence(counted(result.cards, "card")) + (" was" if result.cards == 1 else " were")
        return [
            f"{came} marked; {count(rules.fewest)} are needed.",
            "The box waits for the head judge's ruling and has no place until then.",
        ]
    return [f"{_STATUS[result.status]}: no total and no place."]


def _penalty_cards(result: BoxResult, rules: RuleSet) -> list[str]:
    penalty = number_text(rules.scale.penalty or 0)
    return [
        f"{_STATUS[result.status]}: it counts as {counted(rules.per_entry, 'card')} with the penalty mark "
        f"{penalty} throughout, {result.plan.text[result.plan.penalty_rows()[0][0]]} each."
    ]


def _cards(result: BoxResult, public: bool) -> list[str]:
    plan = result.plan
    best_first: list[Row] = sorted([*result.kept, *(row for row, _ in result.gone)], reverse=True)
    points = ", ".join(plan.text[row[0]] for row in best_first)
    lines = [f"{sentence(counted(len(best_first), 'card'))}: {points}."]
    if not public:
        lines += [
            f"Table {result.table}, seat {seat}: {plan.marks_text(marks)}; {plan.text[weighted]} points."
            for weighted, marks, seat in best_first
        ]
    return lines + _dropped(result)


def _dropped(result: BoxResult) -> list[str]:
    """Short sentences for the plain cases, the reason in full for the rest."""
    text = result.plan.text
    if len(result.dropped) == 1:
        why = result.dropped[0].why
        which, _, rest = why.partition(f" of {counted(result.cards, 'card')}, {text[result.gone[0][0][0]]}")
        if which in ("the lowest", "the highest"):
            return [f"{sentence(which)}, {text[result.gone[0][0][0]]}, was dropped{rest}."]
        return [f"One card was dropped: {why}."]
    return [f"Dropped: {dropped.why}." for dropped in result.dropped]


def _total(result: BoxResult, rules: RuleSet) -> str:
    plan, number = result.plan, len(result.kept)
    total = total_text(result.total or 0)
    added = total_text(Fraction(sum(row[0] for row in result.kept), plan.unit))
    if rules.total_of == "mean":
        return f"Mean of {counted(number, 'card')}: {added} ÷ {number} = {total}."
    if rules.total_when_short == "scale" and number != plan.full:
        return (
            f"{sentence(counted(number, 'card'))} counted where a full box counts {count(plan.full)}: "
            f"{added} × {plan.full} ÷ {number} = {total}. Total {total}."
        )
    return f"Total {total}."


def _team_total(result: TeamResult) -> list[str]:
    parts = [
        f"{category} {total_text(box.total)}" if box.total is not None else f"{category} nothing ({box.status})"
        for category, box in result.boxes.items()
    ]
    lines = [f"{sentence(listed(parts)) or 'No counting category entered'}."]
    if len(parts) != 1:
        lines.append(f"Together {total_text(result.total)}.")
    if not result.eligible:
        lines.append("Not every counting category was entered: no grand champion or reserve.")
    return lines


def _ties(name: str, ties: Sequence[TieStep], rules: RuleSet, rival: str) -> list[str]:
    """``rival`` is how one of the others is called: ``box {}`` or ``{}``."""
    lines: list[str] = []
    for record in ties:
        at = record.names.index(name)
        mine = record.values[at]
        others = [rival.format(other) for other in record.names if other != name]
        what = tie_break_text(record.step, rules)
        if not lines:
            lines.append(f"Level on the total with {_named(others)}.")
        if not record.parted:
            lines.append(f"{sentence(what)}: level, {value_text(mine, record)} each.")
            continue
        values = [
            f"{value_text(value, record)} for {rival.format(other)}"
            for other, value in zip(record.names, record.values, strict=True)
            if other != name
        ]
        shown = values if len(values) <= 4 else [*values[:4], f"{len(values) - 4} more"]
        rule = ", smallest first" if record.step.by == "lot" else ""
        lines.append(f"{sentence(what)}{rule}: {value_text(mine, record)}, against {listed(shown)}.")
    return lines


def _named(names: Sequence[str]) -> str:
    return listed(names if len(names) <= 6 else [*names[:6], f"{len(names) - 6} more"])


def _place(rank: int | None) -> list[str]:
    return [] if not rank else [f"Place {rank}."]
