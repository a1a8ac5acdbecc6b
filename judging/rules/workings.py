"""How a box or a team came to its place, in sentences made from codes and figures when they are shown.

Nothing made here is stored, packed or compared: any sentence may be improved at any time.
"""

from collections.abc import Callable, Mapping, Sequence
from decimal import Decimal
from fractions import Fraction
from math import sqrt

from contest.rules.ruleset import RuleSet, TieBreak, tie_break_text
from contest.rules.say import count, counted, listed, number_text, ordinal, rounded_text, sentence, total_text
from judging.rules.outcome import Dropped, Ignored
from judging.rules.standings import BoxStanding, Outcome, Tie

Cards = Mapping[str, Sequence[str]]  # seat → marks in sheet order, exact text

_STATUS = {
    "late": "The box came late",
    "absent": "The box was not turned in",
    "refused": "The box was refused at the desk",
    "disqualified": "The box was disqualified",
}
NOT_ELIGIBLE = {
    "all_judged": "no place in every counting category",
    "all_entered": "did not enter every counting category",
}


def box_working(box: BoxStanding, cards: Cards, rules: RuleSet, *, public: bool = False) -> list[str]:
    """Say how a box came to its total and place by its category's rules.

    With ``public``, no sentence shows a table, a seat or the marks of a single card.
    """
    if box.total is None:
        return _unranked(box, cards, rules)
    points = {seat: weighted(marks, rules) for seat, marks in cards.items()}
    lines = _cards(box, cards, points, rules, public) if box.status == "ranked" else _penalty_cards(box, rules)
    total = _total(box, points, rules) if box.status == "ranked" else f"Total {box.total}."
    return [*lines, total, *_ties(box.box, box.ties, rules, "box {}"), *_place(box.rank)]


def team_working(outcome: Outcome, team: str, rules: RuleSet) -> list[str]:
    """Say how a team (by its number) came to its place over all counting categories; nothing where it has none."""
    row = next((standing for standing in outcome.overall if standing.team == team), None)
    if row is None:
        return []
    called = {number: f"{name} ({number})" for number, name in outcome.teams.items()}
    ties = [Tie(tie.label, tuple(called.get(name, name) for name in tie.names), tie.values) for tie in row.ties]
    lines = _team_total(outcome, team, row.total)
    if not row.eligible:
        lines.append(f"{sentence(NOT_ELIGIBLE[outcome.needs])}: cannot be grand champion or reserve.")
    return [*lines, *_ties(called.get(team, team), ties, rules, "{}"), *_place(row.rank)]


def dropped_reasons(
    dropped: Sequence[Dropped], points: Mapping[str, Fraction], rules: RuleSet, cards: int | None = None
) -> list[str]:
    """Say why each dropped card does not count, in the order in which they went. No reason names a seat.

    ``points``: the weighted mark of every card of the box by seat; ``cards``: how many came, where ``points`` has
    not all of them.
    """
    number = len(points) if cards is None else cards
    reasons: list[str] = []
    places: dict[str, int] = {}
    for gone, card in enumerate(dropped):
        places[card.rule] = places.get(card.rule, 0) + 1
        left = [points[seat] for seat in points if seat not in {earlier.seat for earlier in dropped[:gone]}]
        reasons.append(_REASONS[card.rule](card, _Drop(places[card.rule], number, left, points, rules)))
    return reasons


class _Drop:
    """What a reason needs beside the code: which of its kind it is, and the cards that were left when it went."""

    def __init__(
        self, nth: int, cards: int, left: Sequence[Fraction], points: Mapping[str, Fraction], rules: RuleSet
    ) -> None:
        self.nth, self.cards, self.left, self.points, self.rules = nth, cards, sorted(left), points, rules


def _end(end: str, side: str) -> Callable[[Dropped, _Drop], str]:
    def say(card: Dropped, drop: _Drop) -> str:
        which = end if drop.nth == 1 else f"{ordinal(drop.nth)} {end}"
        reason = f"the {which} of {counted(drop.cards, 'card')}, {card.value}"
        return f"{reason}; of equal cards the {side} by marks, then seat, goes" if card.value == card.limit else reason

    return say


def _grubbs(card: Dropped, drop: _Drop) -> str:
    mean = rounded_text(sum(drop.left, Fraction(0)) / len(drop.left))
    distance, most = _roots(Fraction(card.value), Fraction(card.limit))
    return (
        f"{total_text(drop.points[card.seat])} is {distance} standard deviations from the average of "
        f"{counted(len(drop.left), 'card')}, {mean}; Grubbs' test at {number_text(drop.rules.drop.alpha)} allows {most}"
    )


def _roots(square: Fraction, limit: Fraction) -> tuple[str, str]:
    """Return both square roots, for reading, with as many decimals as it takes to tell them apart."""
    for places in (4, 8):
        texts = f"{sqrt(square):.{places}f}", f"{sqrt(limit):.{places}f}"
        if texts[0] != texts[1]:
            break
    return texts


def _median_distance(card: Dropped, drop: _Drop) -> str:
    half = len(drop.left) // 2
    median = (drop.left[half] + drop.left[-half - 1]) / 2
    points = drop.points[card.seat]
    return (
        f"{total_text(points)} is {rounded_text(abs(points - median))} from the median of "
        f"{counted(len(drop.left), 'card')}, {rounded_text(median)}: modified z-score "
        f"{rounded_text(Fraction(card.value))}, above {card.limit}"
    )


_REASONS: Mapping[str, Callable[[Dropped, _Drop], str]] = {
    "lowest": _end("lowest", "first"),
    "highest": _end("highest", "last"),
    "grubbs": _grubbs,
    "median_distance": _median_distance,
}


def ignored_text(entry: Ignored) -> str:
    """Say that cards came for a box that was not judged."""
    cards = f"its {counted(entry.cards, 'card')} {'is' if entry.cards == 1 else 'are'} ignored"
    return f"box {entry.box} in {entry.category} is {entry.status}: {cards}"


def weighted(marks: Sequence[str], rules: RuleSet) -> Fraction:
    """Return the exact weighted mark of a card."""
    pairs = zip(rules.criteria, marks, strict=True)
    return sum((Fraction(criterion.weight) * Fraction(mark) for criterion, mark in pairs), Fraction(0))


def _unranked(box: BoxStanding, cards: Cards, rules: RuleSet) -> list[str]:
    if box.status == "short":
        came = sentence(counted(len(cards), "card")) + (" was" if len(cards) == 1 else " were")
        return [
            f"{came} scored; {count(rules.fewest)} are needed.",
            "The box waits for the head judge's ruling and has no place until then.",
        ]
    return [f"{_STATUS[box.status]}: no total and no place."]


def _penalty_cards(box: BoxStanding, rules: RuleSet) -> list[str]:
    penalty = number_text(rules.scale.penalty or 0)
    points = total_text(weighted([penalty] * len(rules.criteria), rules))
    return [
        f"{_STATUS[box.status]}: it counts as {counted(rules.per_entry, 'card')} with the penalty score "
        f"{penalty} throughout, {points} points each."
    ]


def _cards(box: BoxStanding, cards: Cards, points: Mapping[str, Fraction], rules: RuleSet, public: bool) -> list[str]:
    best_first = sorted(
        cards, key=lambda seat: (points[seat], [Decimal(mark) for mark in cards[seat]], seat), reverse=True
    )
    shown = ", ".join(total_text(points[seat]) for seat in best_first)
    lines = [f"{sentence(counted(len(cards), 'card'))}: {shown}."]
    if not public:
        lines += [
            f"Table {box.table}, seat {seat}: {_marks_text(cards[seat], rules)}; {total_text(points[seat])} points."
            for seat in best_first
        ]
    return lines + _dropped(box, points, rules)


def _marks_text(marks: Sequence[str], rules: RuleSet) -> str:
    pairs = zip(rules.criteria, marks, strict=True)
    return ", ".join(f"{criterion.name.lower()} {mark}" for criterion, mark in pairs)


def _dropped(box: BoxStanding, points: Mapping[str, Fraction], rules: RuleSet) -> list[str]:
    """Short sentences for the plain cases, the reason in full for the rest."""
    reasons = dropped_reasons(box.dropped, points, rules)
    if len(reasons) != 1:
        return [f"Dropped: {reason}." for reason in reasons]
    (card,) = box.dropped
    if card.rule not in ("lowest", "highest"):
        return [f"One card was dropped: {reasons[0]}."]
    side = "first" if card.rule == "lowest" else "last"
    level = f"; of equal cards the {side} by marks, then seat, goes" if card.value == card.limit else ""
    return [f"The {card.rule}, {card.value}, was dropped{level}."]


def _total(box: BoxStanding, points: Mapping[str, Fraction], rules: RuleSet) -> str:
    number = len(box.counted)
    added = total_text(sum((points[seat] for seat in box.counted), Fraction(0)))
    if rules.total_of == "mean":
        return f"Average of {counted(number, 'card')}: {added} ÷ {number} = {box.total}."
    if rules.total_when_short == "scale" and number != rules.full_counted:
        return (
            f"{sentence(counted(number, 'card'))} counted where a full box counts {count(rules.full_counted)}: "
            f"{added} × {rules.full_counted} ÷ {number} = {box.total}. Total {box.total}."
        )
    return f"Total {box.total}."


def _team_total(outcome: Outcome, team: str, total: str) -> list[str]:
    parts = [
        f"{category.name} {box.total}" if box.total is not None else f"{category.name} nothing ({box.status})"
        for category in outcome.categories
        if category.counts
        for box in category.boxes
        if box.team == team
    ]
    lines = [f"{sentence(listed(parts)) or 'No counting category entered'}."]
    if len(parts) != 1:
        lines.append(f"Together {total}.")
    return lines


def _ties(name: str, ties: Sequence[Tie], rules: RuleSet, rival: str) -> list[str]:
    """``rival`` is how one of the others is called: ``box {}`` or ``{}``."""
    lines: list[str] = []
    for tie in ties:
        texts = dict(zip(tie.names, _value_texts(tie), strict=True))
        mine = texts.pop(name)
        others = [rival.format(other) for other in texts]
        what = tie_break_text(_step(tie.label), rules)
        if not lines:
            lines.append(f"Level on the total with {_named(others)}.")
        if not tie.separated:
            lines.append(f"{sentence(what)}: level, {mine} each.")
            continue
        values = [f"{text} for {rival.format(other)}" for other, text in texts.items()]
        shown = values if len(values) <= 4 else [*values[:4], f"{len(values) - 4} more"]
        rule = ", smallest first" if tie.label == "lot" else ""
        lines.append(f"{sentence(what)}{rule}: {mine}, against {listed(shown)}.")
    return lines


def _step(label: str) -> TieBreak:
    by, _, criterion = label.partition(":")
    return TieBreak(by, criterion or None)


def _value_texts(tie: Tie) -> list[str]:
    """Return the values for reading: rounded where that is shorter and tells them apart."""
    if tie.label == "lot":
        return [f"{value[:12]}…" for value in tie.values]
    rounded = [", ".join(rounded_text(Fraction(figure)) for figure in value.split(",")) for value in tie.values]
    return rounded if len(set(rounded)) == len(set(tie.values)) else list(tie.values)


def _named(names: Sequence[str]) -> str:
    return listed(names if len(names) <= 6 else [*names[:6], f"{len(names) - 6} more"])


def _place(rank: int | None) -> list[str]:
    return [] if not rank else [f"Place {rank}."]
