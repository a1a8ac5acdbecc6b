"""From a document (TOML or the database's structure) to a validated rule set, and back.

Whatever the document holds, the answer is a RuleSet or a RuleSetError that names key, value and fix.
"""

import re
from collections.abc import Mapping, Sequence
from decimal import Decimal

from contest.rules.ruleset.parts import (
    DEFAULT_ALPHA,
    DEFAULT_LIMIT,
    DROP_WHEN_SHORT,
    DROPS,
    NEEDS,
    NOT_JUDGED,
    TIE_BREAKS,
    TOTAL_WHEN_SHORT,
    TOTALS,
    Criterion,
    Drop,
    RuleSet,
    RuleSetError,
    Scale,
    TieBreak,
)
from contest.rules.say import listed, number_text

# Wide enough for any contest, and narrow enough that sums of marks stay inside 28 exact decimal digits.
LARGEST = Decimal(1_000_000)
PLACES = 9
MOST_CARDS = 100
MOST_MARKS = 1001

_NUMBER = re.compile(r"[+-]?[0-9]+(\.[0-9]+)?")
_KEY = re.compile(r"[A-Za-z][A-Za-z0-9_-]{0,39}")
_COLUMNS = ("category", "box", "table", "seat", "team")  # what a cards file calls its other columns


class _Table:
    """One table of the document; knows its path, so that every complaint can name the whole key."""

    def __init__(self, value: object, path: str, known: Sequence[str]) -> None:
        if not isinstance(value, Mapping):
            raise RuleSetError(path, value, f"make it a table with {listed(known)}")
        self.values, self.path = value, path
        for key in value:
            if key not in known:
                raise RuleSetError(self.name(str(key)), value[key], f"unknown key; {_meant(str(key), known)}")

    def name(self, key: str) -> str:
        return f"{self.path}.{key}" if self.path else key

    def refuse(self, key: str, fix: str) -> RuleSetError:
        return RuleSetError(self.name(key), self.values.get(key), fix)

    def has(self, key: str) -> bool:
        return self.values.get(key) is not None

    def text(self, key: str, longest: int, default: str | None = None) -> str:
        value = self.values.get(key)
        if value is None and default is not None:
            return default
        if not isinstance(value, str) or (not value.strip() and default is None):
            raise self.refuse(key, 'write it as text in quotes, "…"')
        if len(value) > longest:
            raise self.refuse(key, f"shorten it to {longest} characters")
        return value.strip()

    def whole(self, key: str, least: int, most: int, default: int | None = None) -> int:
        value = self.values.get(key)
        if value is None and default is not None:
            return default
        if isinstance(value, Decimal) and value.is_finite() and value == value.to_integral_value():
            value = int(value) if abs(value) <= LARGEST else value
        if not isinstance(value, int) or isinstance(value, bool) or not least <= value <= most:
            raise self.refuse(key, f"write a whole number from {least} to {most}")
        return value

    def number(self, key: str, default: Decimal | None = None) -> Decimal:
        value = self.values.get(key)
        if value is None and default is not None:
            return default
        if isinstance(value, float):
            raise self.refuse(key, f'a binary fraction is not exact; write it in quotes, "{value}"')
        if isinstance(value, str) and _NUMBER.fullmatch(value.strip()):
            value = Decimal(value.strip())
        if isinstance(value, bool) or not isinstance(value, int | Decimal):
            raise self.refuse(key, "write a number, for example 1 or 1.5")
        exact = Decimal(value)
        if not exact.is_finite() or abs(exact) > LARGEST:
            raise self.refuse(key, f"write a number of at most {LARGEST}")
        exponent = exact.as_tuple().exponent
        if isinstance(exponent, int) and exponent < -PLACES:
            raise self.refuse(key, f"write at most {PLACES} decimals")
        return exact

    def choice(self, key: str, choices: Sequence[str], default: str | None = None) -> str:
        value = self.values.get(key)
        if value is None and default is not None:
            return default
        if not isinstance(value, str) or value not in choices:
            raise self.refuse(key, f"write {_choices(choices)}")
        return value

    def table(self, key: str, known: Sequence[str], *, required: bool = False) -> "_Table":
        value = self.values.get(key)
        if value is None:
            if required:
                raise self.refuse(key, f"add the table [{self.name(key)}] with {listed(known)}")
            value = {}
        return _Table(value, self.name(key), known)

    def tables(self, key: str, known: Sequence[str], most: int) -> "list[_Table]":
        value = self.values.get(key)
        if value is None:
            return []
        if not isinstance(value, list | tuple):
            raise self.refuse(key, f"write each under its own [[{self.name(key)}]]")
        if len(value) > most:
            raise self.refuse(key, f"keep at most {most} of them")
        return [_Table(item, f"{self.name(key)}[{place}]", known) for place, item in enumerate(value, 1)]


def _choices(choices: Sequence[str]) -> str:
    return listed([f'"{choice}"' for choice in choices], "or")


def _meant(key: str, known: Sequence[str]) -> str:
    from difflib import get_close_matches  # only a mistyped key needs it

    near = get_close_matches(key, known, 1)
    return f'did you mean "{near[0]}"?' if near else f"known here are {listed(known)}"


def from_document(document: Mapping[str, object]) -> RuleSet:
    """The rule set that the document describes. Raises RuleSetError for anything else."""
    top = _Table(
        document,
        "",
        ("name", "about", "scale", "criterion", "cards", "drop", "total", "disqualified", "late", "tie_break",
         "overall"),
    )  # fmt: skip
    name, about = top.text("name", 120), top.text("about", 2000, "")
    scale = _scale(top.table("scale", ("lowest", "highest", "step", "penalty", "words"), required=True))
    criteria = _criteria(top, scale)
    cards = top.table("cards", ("per_entry", "fewest"), required=True)
    per_entry = cards.whole("per_entry", 1, MOST_CARDS)
    fewest = cards.whole("fewest", 1, MOST_CARDS)
    if fewest > per_entry:
        raise cards.refuse("fewest", f"at most {per_entry}, as many as per_entry")
    drop = _drop(top.table("drop", ("rule", "count", "when_short", "alpha", "limit")), per_entry, fewest)
    total = top.table("total", ("of", "when_short"))
    total_of = total.choice("of", TOTALS, "sum")
    when_short = total.choice("when_short", TOTAL_WHEN_SHORT, "scale")
    if total_of == "sum" and when_short == "as_is":
        _check_as_is(total, drop, per_entry)
    return RuleSet(
        name=name,
        about=about,
        scale=scale,
        criteria=criteria,
        per_entry=per_entry,
        fewest=fewest,
        drop=drop,
        total_of=total_of,
        total_when_short=when_short,
        disqualified=_not_judged(top.table("disqualified", ("result",)), scale),
        late=_not_judged(top.table("late", ("result",)), scale),
        tie_breaks=_tie_breaks(top, criteria),
        needs=_needs(top),
    )


def _scale(table: _Table) -> Scale:
    lowest, highest = table.number("lowest"), table.number("highest")
    if highest <= lowest:
        raise table.refuse("highest", f"write a number above lowest ({number_text(lowest)})")
    step = _step(table, lowest, highest, Decimal(1))
    penalty = table.number("penalty") if table.has("penalty") else None
    if penalty is not None and penalty >= lowest:
        raise table.refuse("penalty", f"write a mark below the scale, under {number_text(lowest)}")
    bare = Scale(lowest, highest, step, penalty, ())
    return Scale(lowest, highest, step, penalty, _words(table, bare))


def _step(table: _Table, lowest: Decimal, highest: Decimal, default: Decimal) -> Decimal:
    step = table.number("step", default)
    span = f"{number_text(lowest)} to {number_text(highest)}"
    if step <= 0 or (highest - lowest) % step:
        raise table.refuse("step", f"write a step above 0 that divides {span} evenly, for example 1 or 0.5")
    if (highest - lowest) / step >= MOST_MARKS:
        raise table.refuse("step", f"too fine: {span} would have more than {MOST_MARKS} marks")
    return step


def _words(table: _Table, scale: Scale) -> tuple[tuple[Decimal, str], ...]:
    raw = table.values.get("words")
    if raw is None:
        return ()
    if not isinstance(raw, Mapping):
        raise table.refuse("words", 'make it a table such as 9 = "outstanding"')
    words: dict[Decimal, str] = {}
    for key, value in raw.items():
        name = f"{table.name('words')}.{key}"
        mark = Decimal(key) if isinstance(key, str) and _NUMBER.fullmatch(key) and len(key) <= 20 else None
        if mark is None or (mark != scale.penalty and not scale.lowest <= mark <= scale.highest):
            span = f"{number_text(scale.lowest)} to {number_text(scale.highest)}"
            raise RuleSetError(name, value, f"name a mark of the scale, {span}")
        if not isinstance(value, str) or not value.strip() or len(value) > 60:
            raise RuleSetError(name, value, 'write a short text; a mark such as 8.5 needs quotes, "8.5"')
        if mark in words:
            raise RuleSetError(name, value, "give each mark one word")
        words[mark] = value.strip()
    return tuple(sorted(words.items(), reverse=True))


def _criteria(top: _Table, scale: Scale) -> tuple[Criterion, ...]:
    tables = top.tables("criterion", ("key", "name", "weight", "step"), 20)
    if not tables:
        raise top.refuse("criterion", "add at least one [[criterion]] with key, name and weight")
    criteria: list[Criterion] = []
    seen: dict[str, str] = {}
    for table in tables:
        key = table.text("key", 40)
        if not _KEY.fullmatch(key):
            raise table.refuse("key", "begin with a letter; use letters, digits, _ and - only")
        if key.casefold() in _COLUMNS:
            raise table.refuse("key", f"choose another; {listed(_COLUMNS)} are other columns of a cards file")
        if key.casefold() in seen:
            raise table.refuse("key", f"{seen[key.casefold()]} has this key already; give each its own")
        seen[key.casefold()] = table.path
        weight = table.number("weight")
        if weight < 0:
            raise table.refuse("weight", "write 0 or more")
        step = _step(table, scale.lowest, scale.highest, scale.step) if table.has("step") else None
        name = table.text("name", 60, key.replace("_", " ").capitalize())
        criteria.append(Criterion(key, name, weight, step))
    if not any(criterion.weight for criterion in criteria):
        raise tables[0].refuse("weight", "give at least one criterion a weight above 0")
    return tuple(criteria)


def _drop(table: _Table, per_entry: int, fewest: int) -> Drop:
    rule = table.choice("rule", tuple(DROPS), None if table.values else "none")
    count = table.whole("count", 0, MOST_CARDS, 1)
    when_short = table.choice("when_short", DROP_WHEN_SHORT, "keep")
    alpha, limit = table.number("alpha", DEFAULT_ALPHA), table.number("limit", DEFAULT_LIMIT)
    if not Decimal("0.000001") <= alpha <= Decimal("0.5"):
        raise table.refuse("alpha", "write a chance from 0.000001 to 0.5, for example 0.05")
    if limit <= 0:
        raise table.refuse("limit", "write a number above 0, for example 3.5")
    left = per_entry - count * DROPS[rule].most
    if left < fewest:
        most = (per_entry - fewest) // DROPS[rule].most
        fix = f"lower it to {most}" if most else 'write rule = "none"'
        raise table.refuse(
            "count",
            f"a full box of {per_entry} would keep {max(left, 0)} cards, fewer than fewest ({fewest}); {fix}",
        )
    return Drop(rule, count, when_short, alpha, limit)


def _check_as_is(total: _Table, drop: Drop, per_entry: int) -> None:
    if DROPS[drop.rule].outlier:
        raise total.refuse(
            "when_short",
            f'a box would lose all the points of a card that {drop.rule} drops; write "scale", or total.of = "mean"',
        )
    # A box one card short keeps all its cards, and so counts more of them than a full box may.
    full = per_entry - drop.count * DROPS[drop.rule].ends
    if drop.when_short == "keep" and per_entry - 1 > full:
        raise total.refuse(
            "when_short",
            f"a box of {per_entry - 1} cards would count {per_entry - 1}, a full box only {full}; "
            'write "scale", or drop.when_short = "drop"',
        )


def _not_judged(table: _Table, scale: Scale) -> str:
    result = table.choice("result", NOT_JUDGED, "unranked")
    if result == "penalty_marks" and scale.penalty is None:
        raise table.refuse("result", 'set scale.penalty, the mark to give, or write "unranked"')
    return result


def _tie_breaks(top: _Table, criteria: Sequence[Criterion]) -> tuple[TieBreak, ...]:
    keys = tuple(criterion.key for criterion in criteria)
    steps: list[TieBreak] = []
    for table in top.tables("tie_break", ("by", "criterion"), 20):
        by = table.choice("by", tuple(TIE_BREAKS))
        if TIE_BREAKS[by]:
            steps.append(TieBreak(by, table.choice("criterion", keys)))
        elif table.has("criterion"):
            raise table.refuse("criterion", f"delete it; {by} looks at no single criterion")
        else:
            steps.append(TieBreak(by, None))
    return tuple(steps)


def _needs(top: _Table) -> str:
    overall = top.values.get("overall")
    if isinstance(overall, Mapping) and "needs_all" in overall:
        fix = f"this key is now called needs; write needs = {_choices(NEEDS)}"
        raise RuleSetError("overall.needs_all", overall["needs_all"], fix)
    return top.table("overall", ("needs",)).choice("needs", NEEDS, "all_judged")


def _plain(number: Decimal) -> int | str:
    """Whole numbers as numbers, others as text: exact in TOML and in JSON alike."""
    return int(number) if number == number.to_integral_value() else format(number, "f")


def to_document(rules: RuleSet) -> dict[str, object]:
    """The rule set as plain dicts, lists, text and whole numbers; ``from_document`` undoes it."""
    scale: dict[str, object] = {
        "lowest": _plain(rules.scale.lowest),
        "highest": _plain(rules.scale.highest),
        "step": _plain(rules.scale.step),
    }
    if rules.scale.penalty is not None:
        scale["penalty"] = _plain(rules.scale.penalty)
    if rules.scale.words:
        scale["words"] = {number_text(mark): word for mark, word in rules.scale.words}
    drop: dict[str, object] = {
        "rule": rules.drop.rule,
        "count": rules.drop.count,
        "when_short": rules.drop.when_short,
    }
    if rules.drop.rule == "grubbs" or rules.drop.alpha != DEFAULT_ALPHA:
        drop["alpha"] = format(rules.drop.alpha, "f")
    if rules.drop.rule == "median_distance" or rules.drop.limit != DEFAULT_LIMIT:
        drop["limit"] = format(rules.drop.limit, "f")
    return {
        "name": rules.name,
        "about": rules.about,
        "scale": scale,
        "criterion": [_criterion_document(criterion) for criterion in rules.criteria],
        "cards": {"per_entry": rules.per_entry, "fewest": rules.fewest},
        "drop": drop,
        "total": {"of": rules.total_of, "when_short": rules.total_when_short},
        "disqualified": {"result": rules.disqualified},
        "late": {"result": rules.late},
        "tie_break": [
            {"by": step.by} if step.criterion is None else {"by": step.by, "criterion": step.criterion}
            for step in rules.tie_breaks
        ],
        "overall": {"needs": rules.needs},
    }


def _criterion_document(criterion: Criterion) -> dict[str, object]:
    document: dict[str, object] = {
        "key": criterion.key,
        "name": criterion.name,
        "weight": format(criterion.weight, "f"),
    }
    if criterion.step is not None:
        document["step"] = _plain(criterion.step)
    return document
