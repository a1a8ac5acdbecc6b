"""A team's cooks beside their marks: which box had which result, and what differed between the best and the worst."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from typing import Any
from uuid import UUID

from contest.models import Category, Entry, Team
from contest.selectors.rules import category_rules
from reports.cook.cooklog import in_unit
from reports.cook.days import Noted, logs_of, noted_in
from reports.models import CookLog
from reports.rules.compare import FEWEST, Comparison, Difference, Logged, compare
from reports.rules.package.contest import possible_points
from reports.rules.timeline import SPRITZ, STAGES, TURN_IN, WORDS
from reports.season.boxes import Adjusted, adjusted, adjusted_past, weighted_fits
from reports.season.elsewhere import past_boxes
from reports.season.seasons import PastGroups, group_key, groups_of, published_tallies

_ORDER = [*STAGES, TURN_IN]


@dataclass(frozen=True, slots=True)
class Marked:
    """The result of a box: exact totals as text, "" where there is none; `sheet_key` where its sheet is here."""

    place: int | None
    of: int | None
    total: str
    possible: str
    slug: str = ""
    sheet_key: UUID | None = None
    adjusted: Adjusted | None = None

    @property
    def share(self) -> float | None:
        """Points as a share of the most possible: what boxes under different rules have in common."""
        if not self.total or not self.possible or not Fraction(self.possible):
            return None
        return float(Fraction(self.total) / Fraction(self.possible))

    @property
    def adjusted_share(self) -> float | None:
        """The same with the table's hardness taken out, where a season's fit knows it."""
        if self.adjusted is None or self.share is None:
            return None
        return self.adjusted.total / float(Fraction(self.possible))

    @property
    def percent(self) -> str:
        return "" if self.share is None else f"{100 * self.share:.1f}"


@dataclass(frozen=True, slots=True)
class Cook:
    log: CookLog
    result: Marked | None

    @property
    def is_begun(self) -> bool:
        """Something was noted."""
        row: Any = self.log  # of `days.logs_of`, which adds it
        return bool(row.is_begun)

    @property
    def day_uid(self) -> UUID:
        """What the addresses of its day name."""
        day = self.log.day
        return day.contest.uid if day.contest is not None else day.uid


@dataclass(frozen=True, slots=True)
class Said:
    """A difference in words and figures for reading."""

    name: str
    best: str
    worst: str
    difference: str
    word: str
    clear: bool


@dataclass(frozen=True, slots=True)
class Compared:
    """One category's logged boxes with a result; `missing`: how many more it takes before anything is compared.

    `adjusted`: of how many a fit knows how hard their table was. Adjusted totals are never set beside raw ones: where
    `by_adjusted`, those alone were compared, else all boxes as they were marked.
    """

    name: str
    boxes: int
    missing: int
    comparison: Comparison | None
    said: list[Said]
    adjusted: int
    by_adjusted: bool

    @property
    def clear(self) -> list[Said]:
        return [each for each in self.said if each.clear]

    @property
    def unclear(self) -> list[Said]:
        return [each for each in self.said if not each.clear]


def cooks_of(team: Team) -> list[Cook]:
    """All logs of the team, newest first, each with its published or past result."""
    logs = logs_of(team)
    here = results_here(team, {(log.day.contest_id, log.key) for log in logs if log.day.contest_id is not None})
    elsewhere = _results_elsewhere(team)
    return [Cook(log, _result(log, here, elsewhere)) for log in logs]


def result_of(team: Team, log: CookLog) -> Marked | None:
    """The published or past result of one log."""
    contest = log.day.contest
    return _result(
        log, results_here(team, {(contest.pk, log.key)}) if contest is not None else {}, _results_elsewhere(team)
    )


def _result(log: CookLog, here: Mapping[Any, Marked], elsewhere: Mapping[Any, Marked]) -> Marked | None:
    contest = log.day.contest
    if contest is not None:
        return here.get((contest.pk, log.key))
    return elsewhere.get((log.day.date.isoformat(), log.key))


def results_here(team: Team, slots: Collection[tuple[int, str]]) -> dict[tuple[int, str], Marked]:
    """(contest's pk, category key) → the result of the team's box, of those `slots` whose contest is published."""
    found: dict[tuple[int, str], Marked] = {}
    contests, keys = {pk for pk, _ in slots}, {key for _, key in slots}
    published = Entry.objects.filter(team=team, contest__in=contests, contest__publications__isnull=False).distinct()
    entries = list(published.select_related("contest"))
    fits = weighted_fits(team, {group_key(entry.contest) for entry in entries})
    tallies = published_tallies([entry.contest for entry in entries], "inputs")
    categories = {
        (each.contest_id, each.key): each
        for each in Category.objects.filter(contest__in=contests, key__in=keys).select_related(
            "rule_set", "contest__rule_set"
        )
    }
    for entry in entries:
        tally = tallies.get(entry.contest_id)
        if tally is None:
            continue
        fit = fits.get(group_key(entry.contest))
        for key in keys:
            category = tally.category(key) if (entry.contest_id, key) in slots else None
            if category is None:
                continue
            for box in category.boxes:
                if box.team == str(entry.number):
                    most = possible_points(category_rules(categories[entry.contest_id, key]))
                    found[entry.contest_id, key] = Marked(
                        place=box.rank,
                        of=sum(other.total is not None for other in category.boxes),
                        total=box.total or "",
                        possible=str(most),
                        slug=entry.contest.slug,
                        sheet_key=entry.sheet_key,
                        adjusted=adjusted(fit, entry.contest.uid, key, box.box, box.table, box.total),
                    )
    return found


def _results_elsewhere(team: Team) -> dict[tuple[str, str], Marked]:
    """(date, category key) → the result of a box elsewhere; of two on one day neither, for nobody could tell which."""
    found: dict[tuple[str, str], Marked | None] = {}
    boxes = past_boxes(team)
    whole = [box for box in boxes if box.has_field]
    group_of = PastGroups(group.key for group in (groups_of(team) if whole else ()))
    fits = weighted_fits(team, {group_of(box.date) for box in whole})
    for box in boxes:
        slot = (box.date.isoformat(), box.key)
        known = adjusted_past(fits.get(group_of(box.date)), box) if box.has_field else None
        result = Marked(box.place, box.field, box.total, box.possible, adjusted=known)
        found[slot] = None if slot in found else result
    return {slot: result for slot, result in found.items() if result is not None}


def compared(cooks: list[Cook], unit: str) -> list[Compared]:
    """Each category by itself: its best third of boxes against its worst."""
    by_key: dict[str, list[Cook]] = {}
    for cook in cooks:
        by_key.setdefault(cook.log.key, []).append(cook)
    # What was noted is compared where there is a result, and there alone.
    noted = noted_in([cook.log for cook in cooks if cook.result is not None])
    found = []
    for group in by_key.values():
        results = [(cook.log, cook.result) for cook in group if cook.result is not None]
        marked = [(log, result.share) for log, result in results if result.share is not None]
        known = [(log, result.adjusted_share) for log, result in results if result.adjusted_share is not None]
        by_adjusted = len(known) >= FEWEST
        comparison = compare(
            [
                Logged(score, _figures(noted[log.pk], unit), noted[log.pk].fields)
                for log, score in (known if by_adjusted else marked)
                if score is not None
            ]
        )
        said = [_said(each) for each in comparison.differences] if comparison is not None else []
        missing = max(0, FEWEST - len(marked))
        found.append(Compared(group[0].log.name, len(marked), missing, comparison, said, len(known), by_adjusted))
    return sorted(found, key=lambda each: (-each.boxes, each.name))


def _said(found: Difference) -> Said:
    if found.value:
        best, worst = _share(found.best, found.of_best), _share(found.worst, found.of_worst)
        difference = f"{100 * found.difference:+.0f} points of 100"
        bounds = _bounds(found, 100)
        words = "went together with better boxes", "went together with poorer boxes"
        name = f"{found.name}: {found.value}"
    else:
        best, worst = f"{found.best:.0f}", f"{found.worst:.0f}"
        difference, bounds = f"{found.difference:+.0f}", _bounds(found, 1)
        words = "more went together with better boxes", "less went together with better boxes"
        name = found.name
    if found.is_clear:
        word = words[found.difference < 0]
    else:
        word = "" if found.low is not None else "no difference" if not found.difference else "too few to tell"
    text = f"{difference} {bounds}".strip().replace("-", "−")
    return Said(name, best, worst, text, word, found.is_clear)


def _share(share: float, of: int) -> str:
    return f"{round(share * of)} of {of}"


def _bounds(found: Difference, times: int) -> str:
    if found.low is None or found.high is None:
        return ""
    return f"({times * found.low:+.0f} to {times * found.high:+.0f})"


def _figures(noted: Noted, unit: str) -> dict[str, float]:
    """How long it was from each noted stage to the next, in minutes, and what the thermometers showed, in `unit`."""
    began = {row.stage: row.at for row in noted.stages if row.stage != SPRITZ}
    known = [key for key in _ORDER if key in began]
    found = {
        f"{WORDS[key]} to {WORDS[after].lower()}, minutes": (began[after] - began[key]).total_seconds() / 60
        for key, after in pairwise(known)
        if key not in ("off", "sauce") and began[after] >= began[key]
    }
    if "season" in began and "turn_in" in began:
        found["From seasoning to turn-in, minutes"] = (began["turn_in"] - began["season"]).total_seconds() / 60
    readings = noted.temperatures
    pit = [float(in_unit(row.degrees, row.unit, unit)) for row in readings if row.where == "pit"]
    if pit:
        found[f"Pit, mean, °{unit}"] = sum(pit) / len(pit)
    off = next((began[key] for key in ("off", "rest", "hold") if key in began), None)
    meat = [row for row in readings if row.where == "meat" and (off is None or row.at <= off)]
    if meat:
        found[f"Meat, last on the pit, °{unit}"] = float(in_unit(meat[-1].degrees, meat[-1].unit, unit))
    return found
