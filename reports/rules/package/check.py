#!/usr/bin/env python3
"""Check a results package without Fairbox: Python 3.11 or newer, nothing to install, no network.

    python3 check.py [PACKAGE] [--draw FINGERPRINT] [--log HEAD] [--sum SUM]

PACKAGE: the zip, or the folder it was unpacked to (left out: that of this file). The values, noted on the day, have 64
hex digits or are the first 20. Exit status: 0 all holds, 1 something fails, 2 a missing path or wrong usage.
With --tally CARDS.csv --rules RULES.toml [--rules-for CATEGORY=RULES.toml] [--turnins TURNINS.csv] [--overall a,b]
[--seed TEXT] [--format json|csv] it works out a result. It follows FORMAT.txt and shares no code with Fairbox.
"""

import argparse
import csv
import hashlib
import io
import json
import re
import sys
import tomllib
import unicodedata
import zipfile
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal, localcontext
from fractions import Fraction
from functools import cache
from itertools import groupby
from operator import attrgetter
from pathlib import Path
from statistics import mean, median
from typing import Any

FORMAT, ALGORITHM, SUMS = "fairbox-package-2", "fairbox-draw-1", "SHA256SUMS"
LOGS = {"day": "log-day.csv", "cards": "log-cards.csv"}
PLAIN_FILES = ["contest.json", "rules/contest.toml", "cards.csv", "turnins.csv", "labels.csv", "secret.txt", "draw.txt"]
PLAIN_FILES += ["results.csv", "READ-ME.txt", "FORMAT.txt", "check.py", SUMS, *LOGS.values()]
COLUMNS = "category,rank,box,team,total,status,decided_by,counted,dropped,why,ties,eligible"
LOG_COLUMNS = "number,at,what,facts,previous,hash"
STATUSES = ("accepted", "late", "absent", "refused", "disqualified")
ENDS: Mapping[str, tuple[int, ...]] = {"lowest": (0,), "highest": (-1,), "highest_and_lowest": (0, -1)}
STATISTICAL, MEANS = ("grubbs", "median_distance"), ("counted_criterion", "criterion")
Claims = Iterator[tuple[bool, str]]  # whether it holds, and what
Result = tuple[dict[str, list["Entry"]], list["Entry"]]  # the boxes by category, and the teams, in their order


def sha256(data: bytes | str) -> str:
    return hashlib.sha256(data.encode() if isinstance(data, str) else data).hexdigest()


def number_text(value: Fraction) -> str:
    """Return the exact decimal, or p/q in lowest terms where no decimal is exact."""
    top, bottom = value.as_integer_ratio()
    places = next((n for n in range(bottom.bit_length()) if 10**n % bottom == 0), None)
    return f"{top}/{bottom}" if places is None else f"{Decimal(f'{top * 10**places // bottom}e-{places}'):f}"


def exact(value: object) -> Fraction | None:
    """Return the number that a TOML value or a text holds, None where it holds none."""
    text = "" if isinstance(value, bool | float) else str(value).strip()
    return Fraction(text) if re.fullmatch(r"[+-]?[0-9]+(\.[0-9]+)?", text) else None


@cache
def critical_square(n: int, alpha: Fraction) -> Fraction:
    """Return the square of Grubbs' two-sided critical value for n values, at 12 significant digits.

    With s = sin(atan(t / √(n - 2))) the formula of NIST/SEMATECH e-Handbook 1.3.5.17.1 becomes (n - 1)² / n · s².
    P(|T| < t) is 26.7.3 or 26.7.4 of Abramowitz and Stegun; the angle is found by halving an interval.
    """
    with localcontext() as context:
        context.prec = 60
        pi = Decimal("3.14159265358979323846264338327950288419716939937510582097494")
        both_tails, low, high, odd = Decimal(alpha.numerator) / alpha.denominator / n, Decimal(0), pi / 2, n % 2
        for _ in range(150):
            angle = (low + high) / 2
            sums, term = [Decimal(0), Decimal(0)], Decimal(1)
            for power in range(70):  # the series of cosine and sine
                sums[power % 2] += term if power % 4 < 2 else -term
                term = term * angle / (power + 1)
            (cosine, sine), total, term = sums, Decimal(0), sums[0] if odd else Decimal(1)
            for power in range(odd, n - 3, 2):  # the cosine's powers up to n - 4
                total += term
                term = term * cosine * cosine * (power + 1) / (power + 2)
            inside = 2 / pi * (angle + sine * total) if odd else sine * total
            low, high = (angle, high) if 1 - inside > both_tails else (low, angle)
        return Fraction(f"{Decimal(f'{(n - 1) ** 2 * sine * sine / n:.40e}'):.11e}")  # so that an exact half is one


# Rule sets: table → key → its default; of words the first is the default, NEEDED has none.
NEEDED, TEXTS, RESULT = "", ("key", "name", "words", "criterion"), {"result": ("unranked", "penalty_marks")}
SHAPE: Mapping[str, Mapping[str, Any]] = {
    "scale": {"lowest": NEEDED, "highest": NEEDED, "step": Fraction(1), "penalty": None, "words": None},
    "criterion": {"key": NEEDED, "name": None, "weight": NEEDED, "step": None},
    "cards": {"per_entry": NEEDED, "fewest": NEEDED},
    "drop": {"rule": ("none", *ENDS, *STATISTICAL), "count": Fraction(1), "when_short": ("keep", "drop"),
             "alpha": Fraction("0.05"), "limit": Fraction("3.5")},
    "total": {"of": ("sum", "mean"), "when_short": ("scale", "as_is")},
    "disqualified": RESULT, "late": RESULT,
    "tie_break": {"by": (*MEANS, "dropped_cards", "highest_card", "lot"), "criterion": None},
    "overall": {"needs": ("all_judged", "all_entered", "any")},
}  # fmt: skip


@dataclass(frozen=True)
class Rules:
    """A rule set: its single tables, weight and step by criterion, and the tie-breaks as (by, criterion)."""

    tables: Mapping[str, Any]
    weights: Mapping[str, Fraction]
    spacing: Mapping[str, Fraction]
    steps: Sequence[tuple[str, str | None]]

    def __getitem__(self, path: str) -> Any:
        return self.tables[path]

    @property
    def full(self) -> int:
        """Cards that count of a full box, before any statistical drop."""
        return int(self["cards.per_entry"] - self["drop.count"] * len(ENDS.get(self["drop.rule"], ())))

    def card(self, marks: Sequence[Fraction], seat: str) -> "Card":
        points = (weight * mark for weight, mark in zip(self.weights.values(), marks, strict=True))
        return Card(sum(points, Fraction(0)), tuple(marks), seat)

    def mark(self, text: str, key: str, place: str) -> Fraction:
        """Return the score in a cell. Raises ValueError."""
        value, lowest = exact(re.sub(r"^([+-]?[0-9]+),([0-9]{1,2})$", r"\1.\2", text)), self["scale.lowest"]
        if value is not None and lowest <= value <= self["scale.highest"] and not (value - lowest) % self.spacing[key]:
            return value
        if value is None or value != self["scale.penalty"]:
            raise ValueError(f"{place} column {key}: {text or 'nothing'} is not a score of the scale; correct it")
        return value


def read_table(name: str, table: Mapping[str, Any]) -> dict[str, Any]:
    """Return a table's values by table.key, with the defaults in place. Raises ValueError."""
    values = {}
    for key in (*SHAPE[name], *table):
        default = SHAPE[name].get(key, ...)
        words = default if isinstance(default, tuple) else ()
        value = table.get(key, words[0] if words else default)
        if key in table and not words and key not in TEXTS:
            value = exact(value)
        if default is ... or value == NEEDED or (words and value not in words) or (value is None and key in table):
            raise ValueError(f"{name}.{key}: write {' or '.join(words) or ' or '.join(SHAPE[name])}")
        values[f"{name}.{key}"] = value
    return values


def read_rules(text: str) -> Rules:
    """Return the rule set of a TOML text. Raises ValueError; not for every limit of a number that the rules name."""
    document = tomllib.loads(text.removeprefix("\ufeff"), parse_float=Decimal)
    if unknown := set(document) - {*SHAPE, "name", "about"}:
        raise ValueError(f"{min(unknown)}: unknown key; delete it")
    tables: dict[str, Any] = {}
    for name in [name for name in SHAPE if name not in ("criterion", "tie_break")]:
        tables |= read_table(name, document.get(name, {}))
    criteria = [read_table("criterion", table) for table in document.get("criterion", [])]
    breaks = [read_table("tie_break", table) for table in document.get("tie_break", [])]
    weights = {table["criterion.key"]: table["criterion.weight"] for table in criteria}
    spacing = {table["criterion.key"]: table["criterion.step"] or tables["scale.step"] for table in criteria}
    rules = Rules(tables, weights, spacing, [(table["tie_break.by"], table["tie_break.criterion"]) for table in breaks])
    rule, more = rules["drop.rule"], rules["drop.when_short"] == "keep" and rules["cards.per_entry"] - 1 > rules.full
    if (rules["total.of"], rules["total.when_short"]) == ("sum", "as_is") and (rule in STATISTICAL or more):
        raise ValueError(f"total.when_short: with as_is and {rule}, the number of cards would decide; write scale")
    return rules


@dataclass(frozen=True, order=True)
class Card:
    """One judge's card; it sorts in card order: weighted mark, marks in sheet order, seat."""

    points: Fraction
    marks: tuple[Fraction, ...]
    seat: str


@dataclass
class Entry:
    """A box, or a team with its ranked boxes; `gone` holds the cards that do not count, each with its code."""

    name: str
    category: str = "overall"
    team: str = ""
    eligible: bool = True
    total: Fraction | None = None
    boxes: "Sequence[Entry]" = ()
    table = status = ""
    kept: list[Card] = field(default_factory=list)
    column: Mapping[str | None, int] = field(default_factory=dict)
    cards: list[Card] = field(default_factory=list)
    gone: list[tuple[Card, tuple[str, Fraction, Fraction]]] = field(default_factory=list)
    ties: list[str] = field(default_factory=list)
    rank: int | None = None
    decided_by: str | None = None

    def pool(self, by: str) -> list[Card]:
        """Return the cards of this box that a tie-break looks at."""
        gone = [card for card, _ in self.gone]
        return gone if by == "dropped_cards" else self.kept if by == "counted_criterion" else self.kept + gone


def judge(box: Entry, rules: Rules) -> None:
    """Give a box its total, or leave it without one."""
    box.boxes, box.column = [box], {key: place for place, key in enumerate(rules.weights)}
    cards = box.cards
    if box.status in ("", "accepted"):
        box.status = "ranked" if len(cards) >= rules["cards.fewest"] else "short"
    if box.status in ("late", "disqualified") and rules[f"{box.status}.result"] == "penalty_marks":
        cards = [rules.card([rules["scale.penalty"]] * len(rules.weights), "")] * int(rules["cards.per_entry"])
    elif box.status != "ranked":
        return
    drop_cards(box, cards, rules)
    points, counted = sum((card.points for card in box.kept), Fraction(0)), len(box.kept)
    scaled = points * rules.full if rules["total.when_short"] == "scale" else points * counted
    box.total = (points if rules["total.of"] == "mean" else scaled) / counted


def drop_cards(box: Entry, cards: Sequence[Card], rules: Rules) -> None:
    """Split the cards into those that count and those that do not, in the order in which they went."""
    box.kept, rule, ends = sorted(cards), rules["drop.rule"], ENDS.get(rules["drop.rule"], ())
    room = len(cards) - rules["cards.fewest"]
    if len(cards) < rules["cards.per_entry"] and rules["drop.when_short"] == "keep":
        return
    went = [ends[i % len(ends)] for i in range(int(min(rules["drop.count"] * len(ends), room)))]
    for card, end in [(box.kept.pop(end), end) for end in went]:
        box.gone.append((card, ("highest" if end else "lowest", card.points, box.kept[end].points)))
    for _ in range(int(min(rules["drop.count"], room)) if rule in STATISTICAL else 0):
        at, value, limit = furthest([card.points for card in box.kept], rules)
        if value <= limit:
            break
        box.gone.append((box.kept.pop(at), (rule, value, limit)))


def furthest(points: Sequence[Fraction], rules: Rules) -> tuple[int, Fraction, Fraction]:
    """Return the place of the outermost card, its G² or modified z-score, and what that may be at most."""
    n, is_grubbs = len(points), rules["drop.rule"] == "grubbs"
    centre = mean(points) if is_grubbs else median(points)
    away = [abs(point - centre) for point in points]
    if (is_grubbs and n < 3) or not any(away):
        return 0, Fraction(0), Fraction(0)
    at, most = away.index(max(away)), max(away)
    if is_grubbs:
        return at, most**2 * (n - 1) / sum(distance**2 for distance in away), critical_square(n, rules["drop.alpha"])
    spread = median(away)
    score = Fraction("0.6745") * most / spread if spread else Fraction("0.7979") * most / mean(away)
    return at, score, rules["drop.limit"]


def tie_values(by: str, criterion: str | None, group: Sequence[Entry], seed: str | None, category: str) -> Any:
    """Return what a tie-break compares, a tuple each; None where it is passed over. Raises ValueError."""
    if by == "lot":
        if seed is None:
            tied = " and ".join(entry.name for entry in group)
            raise ValueError(f"{category}: {tied} tie after every other tie-break; give --seed TEXT for the lot")
        return [(sha256(f"{seed}:{category}:{entry.name}"),) for entry in group]
    if by in MEANS:
        owned = [[box for box in entry.boxes if criterion in box.column] for entry in group]
        means = [[mean([card.marks[box.column[criterion]] for card in box.pool(by)]) for box in own] for own in owned]
        return [(sum(values, Fraction(0)),) for values in means]
    pools = [[card.points for box in entry.boxes for card in box.pool(by)] for entry in group]
    shortest = min(map(len, pools))
    if by == "dropped_cards" and shortest:
        return [(mean(pool),) for pool in pools]
    return [tuple(sorted(pool, reverse=True)[:shortest]) for pool in pools] if shortest else None


def settle(group: list[Entry], steps: Sequence[tuple[str, str | None]], seed: str | None) -> list[list[Entry]]:
    """Return those of one total in groups, best first; those that stay together share their rank."""
    if len(group) == 1 or not steps:
        return [group]
    (by, criterion), later = steps[0], steps[1:]
    values = tie_values(by, criterion, group, seed, group[0].category)
    if values is None:
        return settle(group, later, seed)
    label = by if criterion is None else f"{by}:{criterion}"
    parts: dict[Any, list[Entry]] = {}
    for entry, value in zip(group, values, strict=True):
        parts.setdefault(value, []).append(entry)
        shown = ",".join(item if by == "lot" else number_text(item) for item in value)
        entry.ties.append(f"{label}={shown}")
    for entry in group if len(parts) > 1 else []:
        entry.decided_by = label
    ordered = [parts[value] for value in sorted(parts, reverse=by != "lot")]
    return [smaller for part in ordered for smaller in settle(part, later, seed)]


def rank(entries: Iterable[Entry], rules: Rules, seed: str | None) -> list[Entry]:
    """Return boxes or teams in their order, with ranks; those without a total come last."""
    by_name = sorted(entries, key=lambda entry: entry.name)
    ranked = sorted((entry for entry in by_name if entry.total is not None), key=attrgetter("total"), reverse=True)
    ordered: list[Entry] = []
    for _, level in groupby(ranked, key=attrgetter("total")):
        for group in settle(list(level), rules.steps, seed):
            for entry in group:
                entry.rank = len(ordered) + 1
            ordered += group
    return ordered + [entry for entry in by_name if entry.total is None]


def tally(rules: Mapping[str, Rules], boxes: Iterable[Entry], overall: Any, contest: Rules, seed: str | None) -> Result:
    """Rank the boxes of each category, and the teams where `overall` lists the counting categories."""
    entered: dict[str, list[Entry]] = {category: [] for category in rules}
    teams: dict[str, list[Entry]] = {}
    for box in boxes:
        judge(box, rules[box.category])
        entered[box.category].append(box)
        teams.setdefault(box.team, []).append(box)
    results = {category: rank(listed, rules[category], seed) for category, listed in entered.items()}
    open_categories, needs = [category for category in overall or () if entered[category]], contest["overall.needs"]
    ranking = []
    for name, own in teams.items():
        counting = [box for box in own if box.category in open_categories]
        judged = [box for box in counting if box.total is not None]
        eligible = needs == "any" or len(judged if needs == "all_judged" else counting) == len(open_categories)
        total = sum((box.total or Fraction(0) for box in judged), Fraction(0))
        if any(box.status != "absent" for box in own):
            ranking.append(Entry(name, team=name, boxes=judged, total=total, eligible=eligible))
    return results, [] if overall is None else rank(ranking, contest, seed)


def result_rows(result: Result) -> Iterator[list[Any]]:
    """Yield a row for each box, then for each team; lists where the text has several items."""
    for entry in [*(box for listed in result[0].values() for box in listed), *result[1]]:
        total = None if entry.total is None else number_text(entry.total)
        judged = entry.status == "ranked"  # of penalty marks no card is named
        counted = sorted(card.seat for card in entry.kept) if judged else []
        gone = entry.gone if judged else []
        why = [f"{rule}:{number_text(value)}:{number_text(limit)}" for _, (rule, value, limit) in gone]
        box, eligible = (entry.name, None) if entry.status else (None, entry.eligible)
        head = [entry.category, entry.rank, box, entry.team, total, entry.status, entry.decided_by]
        yield [*head, counted, [card.seat for card, _ in gone], why, entry.ties, eligible]


def result_json(result: Result) -> str:
    """Return the result as the open command `tally` prints it."""
    shown: dict[str, Any] = {"categories": {category: [] for category in result[0]}, "overall": []}
    for values in result_rows(result):
        row = dict(zip(COLUMNS.split(","), values, strict=True))
        row["dropped"] = [{"seat": seat, "why": why} for seat, why in zip(row["dropped"], row["why"], strict=True)]
        keys, listed = "team rank total eligible decided_by", shown["overall"]
        if row["box"] is not None:
            keys, listed = "box rank total status counted dropped decided_by", shown["categories"][row["category"]]
        listed.append({key: row[key] for key in keys.split()})
    return json.dumps(shown, ensure_ascii=False, indent=1) + "\n"


def result_csv(result: Result) -> str:
    """Return the text of results.csv."""
    cell = {None: "", True: "yes", False: "no"}
    rows = [
        [*(" ".join(v) if isinstance(v, list) else v for v in row[:-1]), cell[row[-1]]] for row in result_rows(result)
    ]
    return csv_text([COLUMNS.split(","), *rows])


def csv_text(rows: Iterable[Sequence[Any]]) -> str:
    """Return the text of a CSV file as the files of a package are written."""
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerows(rows)
    return out.getvalue()


def read_csv(name: str, data: bytes) -> Iterator[tuple[str, dict[str, str]]]:
    """Yield each row that is not blank, with its place. Raises ValueError."""
    try:
        text = data.decode("utf-8-sig")
        sign = max(",;\t", key=text.partition("\n")[0].count)
        rows = list(csv.reader(io.StringIO(text, ""), delimiter=sign, strict=True))
    except (UnicodeDecodeError, csv.Error) as error:
        raise ValueError(f"{name}: {error}; save it as CSV UTF-8") from None
    header, *others = [[cell.strip() for cell in row] for row in rows]
    for number, row in enumerate(others, 2):
        if any(row):
            yield f"{name} row {number}", {"team": "", **dict(zip(header, row, strict=False))}


def read_boxes(files: Sequence[tuple[str, bytes]], contest: Rules, own: Mapping[str, Rules]) -> list[Entry]:
    """Return the boxes of cards and turn-ins, in the order in which they are named first. Raises ValueError."""
    boxes: dict[tuple[str, str], Entry] = {}
    for place, row in [row for file in files for row in read_csv(*file)]:
        rules, number, seat = own.get(row["category"], contest), row["box"], row.get("seat")
        box = boxes.setdefault((row["category"], number), Entry(number, row["category"]))
        for key in ("team", "table"):
            known, new = getattr(box, key), row.get(key, "")
            if known and new and known != new:
                raise ValueError(f"{place} column {key}: box {number} has {known} in another row, here {new}")
            setattr(box, key, known or new)
        if seat is not None:
            strange = any(row[key] for key in {*row} - {*rules.weights, "category", "box", "table", "seat", "team", ""})
            if strange or seat in [card.seat for card in box.cards] or len(box.cards) == rules["cards.per_entry"]:
                raise ValueError(f"{place}: a card too many of box {number}, or a score that its rules do not have")
            box.cards.append(rules.card([rules.mark(row[key], key, place) for key in rules.weights], seat))
        elif box.status or row["status"].casefold() not in STATUSES:
            raise ValueError(f"{place} column status: write one for a box, {' or '.join(STATUSES)}")
        else:
            box.status = row["status"].casefold()
    return list(boxes.values())


class Package:
    """The files of a package, and the parts that several checks need."""

    def __init__(self, files: Mapping[str, bytes]) -> None:
        self.files, self.facts = files, json.loads(files["contest.json"].decode())
        if self.facts["format"] != FORMAT:
            raise ValueError(f"this package is of format {self.facts['format']}; this program reads {FORMAT}")
        rows = [row for row in self.facts["categories"] if not row["cancelled"]]
        self.rules = {row["key"]: read_rules(files[f"rules/{row['key']}.toml"].decode()) for row in rows}
        self.counting = [row["key"] for row in rows if row["counts"]]
        number = sum(bool(re.fullmatch(r"public(-[0-9]+)?\.txt", name)) for name in files)
        self.publics = ["public.txt", *(f"public-{n}.txt" for n in range(2, number + 1))]
        lines = [line.split("\t") for line in self.files["draw.txt"].decode().split("\n")]
        self.head = dict(line for line in lines if len(line) == 2)
        self.drawn = [line for line in lines if len(line) == 5]
        self.contest = read_rules(files["rules/contest.toml"].decode())
        criteria = dict.fromkeys(key for rules in (self.contest, *self.rules.values()) for key in rules.weights)
        self.rows("cards.csv", ",".join(("category,box,table,seat", *criteria, "team")))
        self.logs = {key: self.rows(name, LOG_COLUMNS) for key, name in LOGS.items()}
        self.boxes = read_boxes([(n, files[n]) for n in ("cards.csv", "turnins.csv")], self.contest, self.rules)

    def rows(self, name: str, columns: str) -> list[dict[str, str]]:
        """Return the rows of a file as they are. Raises ValueError for one that is not written as the format says."""
        text = self.files[name].decode()
        header, *rows = csv.reader(io.StringIO(text, ""), strict=True)
        if csv_text([columns.split(","), *rows]) != text:
            raise ValueError(f"{name} does not have the columns {columns}, or is not written as FORMAT.txt says")
        return [dict(zip(header, row, strict=True)) for row in rows]

    def events(self, *names: str) -> list[tuple[str, Any]]:
        """Return (what, facts) of the rows of the day's log that have one of the names."""
        return [(row["what"], json.loads(row["facts"])) for row in self.logs["day"] if row["what"] in names]


def check_files(package: Package) -> Claims:
    expected = {*PLAIN_FILES, *package.publics, *(f"rules/{key}.toml" for key in package.rules)}
    sums = {name: sha256(data) for name, data in package.files.items() if name != SUMS}
    stated = dict(line.split("  ", 1)[::-1] for line in package.files[SUMS].decode().split("\n")[:-1])
    wrong = expected ^ {*package.files} | {name for name in {*stated, *sums} if stated.get(name) != sums.get(name)}
    listed = "".join(f"{sums[name]}  {name}\n" for name in sorted(sums)) == package.files[SUMS].decode()
    yield listed and not wrong, f"The files are those of the format, with the sums of {SUMS}. {' '.join(sorted(wrong))}"
    sums.pop(LOGS["day"])
    tallied = [facts for _, facts in package.events("tally closed", "tally revised")]
    inputs = [facts["inputs"] for facts in tallied if facts["revision"] == package.facts["revision"]]
    last, facts = package.logs["day"][-1], json.loads(package.logs["day"][-1]["facts"])
    bound = (last["what"], facts["revision"]) == ("result published", package.facts["revision"])
    bound = bound and facts["files"] == sums and inputs[:1] == [facts["inputs"]]
    yield bound, "The last row of log-day.csv, which publishes, binds all other files and what was tallied."


def check_logs(package: Package) -> Claims:
    for name, rows in package.logs.items():
        before, whole = "0" * 64, True
        for number, row in enumerate(rows, 1):
            text = "\n".join((str(number), row["at"], row["what"], row["facts"], before))
            whole = whole and (row["number"], row["previous"], row["hash"]) == (str(number), before, sha256(text))
            before = row["hash"]
        yield whole, f"log-{name}.csv is a whole chain of {len(rows)} rows."


def check_draw(package: Package) -> Claims:
    secret, publics = package.files["secret.txt"], [package.files[name].decode() for name in package.publics]
    rows = [facts for _, facts in package.events("boxes drawn")]
    commitment, texts = sha256(secret), []
    words = sorted(one_line(word) for word in re.findall(r"^word\t(.+)\n", publics[0], re.MULTILINE))
    for number, row in enumerate(rows, 1):
        reason = [f"reason\t{one_line(row['reason'])}"] if row.get("reason") else []
        lines = [f"commitment\t{commitment}", f"draw\t{number}", *reason, *(f"word\t{word}" for word in words), ""]
        texts.append("\n".join(lines))
    fits = texts == publics and [row["draw"] for row in rows] == [*range(1, len(rows) + 1)]
    yield fits, f"Public text and log of each draw ({len(rows)}) agree, with the commitment to secret.txt."
    begun = package.events(made := "secret of the draw made", "boxes drawn")
    early = begun[0][0] == made or not (words or made in dict(begun))
    fits = early and all(facts["commitment"] == commitment for _, facts in begun)
    yield fits, f"The commitment is in the log before the words that were called out ({len(words)})."
    seed_line = (ALGORITHM, sha256(secret + publics[-1].encode()))
    yield (package.head["algorithm"], package.head["seed"]) == seed_line, "The seed is that of secret and public text."
    drawn = sha256(package.files["draw.txt"])
    yield rows[-1]["fingerprint"] == drawn, f"The log of the day names the draw's fingerprint, {drawn}."
    fixed = {key: sha256(package.files[f"rules/{key}.toml"]) for key in ("contest", *package.rules)}
    yield fixed.items() <= rows[-1]["rules"].items(), "The rule sets are those that were fixed at the draw."


def check_lists(package: Package) -> Claims:
    """Undo the corrected names one by one, the last first, down to the lists that draw.txt binds."""
    corrections: list[Any] = []
    for what, facts in package.events("boxes drawn", "name corrected"):
        corrections = [] if what == "boxes drawn" else [*corrections, facts]
    teams = sorted(package.facts["teams"], key=lambda team: team["number"])
    for kind, key, listed in (("entries", "entry", teams), ("categories", "category", package.facts["categories"])):
        columns = ("number", "uid", "name") if kind == "entries" else ("key", "name")
        table = {str(row[columns[0]]): [one_line(str(row[name])) for name in columns] for row in listed}
        rows, holds = [row for row in corrections if key in row], len(table) == len(listed)
        for row in [*reversed(rows), package.head]:
            holds = holds and row[kind] == sha256("".join("\t".join(line) + "\n" for line in table.values()))
            if key in row:
                line = table[str(row[key])]
                holds, line[-1] = holds and line[-1] == one_line(row["to"]), one_line(row["from"])
        yield holds, f"The list of {kind} is the one that draw.txt binds; names corrected since: {len(rows)}."


def one_line(text: str) -> str:
    return " ".join(unicodedata.normalize("NFC", text).split())


def check_boxes(package: Package) -> Claims:
    owner = {box: [key, team, table] for key, box, table, _, team in package.drawn}
    for row in package.rows("labels.csv", "number,one,other,reason"):
        one, other = owner[row["one"]], owner[row["other"]]
        one[1], other[1] = other[1], one[1]
    held = {box: place for box, place in owner.items() if place[0] in package.rules}
    stated = {box.name: [box.category, box.team, box.table or owner[box.name][2]] for box in package.boxes}
    listed = [row["box"] for row in package.rows("turnins.csv", "category,box,status,team")]
    yield (
        stated == held and listed == [*held],
        f"All {len(held)} boxes have the team and the table of the draw and of labels.csv.",
    )
    result = tally(package.rules, package.boxes, package.counting or None, package.contest, package.head["seed"])
    yield result_csv(result) == package.files["results.csv"].decode(), "Worked out again, the result is results.csv."


def check_noted(package: Package, noted: Mapping[str, str]) -> Claims:
    heads = [row["hash"] for rows in package.logs.values() for row in rows]
    sums = {name: [sha256(package.files[file])] for name, file in (("draw", "draw.txt"), ("sum", SUMS))}
    for name, value in noted.items():
        yield any(full.startswith(value) for full in {**sums, "log": heads}[name]), f"The package has --{name} {value}."


def load(path: Path) -> tuple[dict[str, bytes], int]:
    """Return the files of a zip or a folder, and how many names there are."""
    if path.is_dir():
        paths = [file for file in path.rglob("*") if not file.is_dir() or file.is_symlink()]
        files = {file.relative_to(path).as_posix(): file.read_bytes() if file.is_file() else b"" for file in paths}
        return files, len(files)
    with zipfile.ZipFile(path) as archive:
        infos = [info for info in archive.infolist() if not info.is_dir() or info.file_size]
        if len(infos) > 200 or sum(info.file_size for info in infos) > 64 * 2**20:
            raise ValueError("it holds more than 200 files or 64 MB")
        return {info.filename: archive.read(info) for info in infos}, len(infos)


def check(path: Path, noted: Mapping[str, str]) -> Claims:
    """Yield what holds and what fails; nothing that a package holds ends the program."""
    try:
        files, names = load(path)
        yield len(files) == names, "No file is in the package twice."
        package = Package(files)
        for part in (check_files, check_logs, check_draw, check_lists, check_boxes):
            yield from part(package)
        yield from check_noted(package, noted)
    except Exception as error:
        yield False, f"The rest cannot be read ({type(error).__name__}: {error})."


def run_tally(options: argparse.Namespace) -> str:
    """Return the result of the files that the options name. Raises ValueError or OSError."""
    contest = read_rules(Path(options.rules).read_text("utf-8-sig"))
    named = (option.partition("=") for option in options.rules_for)
    own = {category: read_rules(Path(path).read_text("utf-8-sig")) for category, _, path in named}
    files = [(path, Path(path).read_bytes()) for path in (options.tally, options.turnins) if path]
    boxes = read_boxes(files, contest, own)
    rules = {box.category: own.get(box.category, contest) for box in boxes}
    chosen = options.overall.split(",") if options.overall else list(rules) if boxes[0].team else None
    result = tally(rules, boxes, chosen, contest, options.seed)
    return result_csv(result) if options.format == "csv" else result_json(result)


def main() -> int:
    sys.stdout.reconfigure(encoding="utf-8", newline="")  # type: ignore[union-attr]  # a program's own output
    parser = argparse.ArgumentParser(description="Check a results package, or tally a file of cards.")
    parser.add_argument("package", nargs="?", type=Path, default=Path(__file__).resolve().parent)
    for name in ("draw", "log", "sum"):
        parser.add_argument(f"--{name}", help="noted on the day: 64 hex digits or the first 20")
    for name in ("tally", "rules", "turnins", "overall", "seed", "format"):
        parser.add_argument(f"--{name}")
    parser.add_argument("--rules-for", action="append", default=[])
    options = parser.parse_args()
    if options.tally:
        try:
            sys.stdout.write(run_tally(options))
            return 0
        except (OSError, ValueError, KeyError, TypeError) as error:
            parser.error(" ".join(str(error).split()))
    if not options.package.exists():
        parser.error(f"{options.package}: no such file or folder; check the path")
    typed = {name: value for name in ("draw", "log", "sum") if (value := getattr(options, name)) is not None}
    noted = {name: re.sub(r"[\s\u00ad\u2010-\u2015\u2212-]", "", value).lower() for name, value in typed.items()}
    if any(not re.fullmatch(r"[0-9a-f]{20}|[0-9a-f]{64}", value) for value in noted.values()):
        parser.error("--draw, --log and --sum: type all 64 hex digits, or the first 20")
    claims = list(check(options.package, noted))
    for holds, text in claims:
        print(f"{'holds' if holds else 'FAILS'}  {text}")
    if not noted:
        print("note   Only a value noted on the day (--draw, --log, --sum) shows that not all of it was replaced.")
    print("note   Not checked here: drawing again, and what the logs say of cards and turn-ins; see FORMAT.txt.")
    return 0 if all(holds for holds, _ in claims) else 1


if __name__ == "__main__":
    sys.exit(main())
