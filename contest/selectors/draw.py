"""What will be drawn, what still hinders it, and, once drawn, the numbers at each table. Never a pairing."""

import json
from collections import Counter, defaultdict
from dataclasses import dataclass, replace

from contest import day
from contest.models import (
    Box,
    Category,
    Contest,
    Draw,
    DrawCeremony,
    Entered,
    LogRow,
    Seat,
    Sitting,
    Table,
    TurnIn,
)
from contest.present import present
from contest.rules import draw as rules
from contest.rules.namelists import CORRECTED, ListedEntry, NameLists, apply_corrections, read_lists
from contest.rules.ruleset import RuleSet, RuleSetError
from contest.selectors.boxes import standing_boxes
from contest.selectors.categories import held_categories
from contest.selectors.rules import category_rules, contest_rules
from contest.selectors.seating import forbidden_tables

#: What no page loads before publishing, and the lists, which are long.
SEALED_TEXTS = ("secret_text", "seed", "draw_text", "entries_text", "categories_text")


@dataclass(frozen=True)
class Plan:
    """One category before the draw."""

    category: Category
    boxes: int
    tables: int

    @property
    def a_table(self) -> str:
        """How many boxes a table gets: `6`, or `6 or 7`."""
        if not self.tables:
            return "–"
        fewest, rest = divmod(self.boxes, self.tables)
        return f"{fewest} or {fewest + 1}" if rest else str(fewest)


@dataclass(frozen=True)
class Flight:
    """The boxes of one category at one table, in serving order."""

    table: Table
    boxes: list[Box]


def draw_request(contest: Contest) -> rules.DrawRequest:
    """Entries less withdrawals, tables, places, and the tables a team must not meet."""
    categories = held_categories(contest)
    entries: dict[str, list[int]] = {category.key: [] for category in categories}
    rows = Entered.objects.filter(category__in=categories, withdrawn_at__isnull=True)
    for key, number in rows.order_by("entry__number").values_list("category__key", "entry__number"):
        entries[key].append(number)
    tables = tuple(contest.tables.values_list("number", flat=True))
    return rules.DrawRequest(
        categories=tuple(entries),
        entries={key: tuple(numbers) for key, numbers in entries.items()},
        tables=dict.fromkeys(entries, tables),
        most_boxes=contest.most_boxes,
        forbidden=forbidden_tables(contest),
        excluded_numbers=frozenset(Box.objects.filter(contest=contest).values_list("number", flat=True)),
    )


def name_lists(contest: Contest) -> NameLists:
    """Return the names of all entries, withdrawn ones too, and of all categories, cancelled ones too."""
    entries = contest.entries.order_by("number").values_list("number", "team__uid", "team__name")
    return NameLists(
        tuple(ListedEntry(number, str(uid), name) for number, uid, name in entries),
        tuple(contest.categories.values_list("key", "name")),
    )


def logged_names(contest: Contest) -> NameLists | None:
    """Return the names that the current draw and the log bind; None where no draw binds any."""
    texts = contest.draws.filter(standing=True).values_list("entries_text", "categories_text").first()
    if texts is None or not texts[0]:
        return None
    rows = LogRow.objects.filter(chain__contest=contest, chain__name="day").order_by("number")
    drawn = rows.filter(what="boxes drawn").values_list("number", flat=True).last() or 0
    facts = rows.filter(what=CORRECTED, number__gt=drawn).values_list("facts", flat=True)
    return apply_corrections(read_lists(*texts), map(json.loads, facts))


def plans(contest: Contest) -> list[Plan]:
    request = draw_request(contest)
    return [
        Plan(category, boxes=len(request.entries[category.key]), tables=len(request.tables[category.key]))
        for category in held_categories(contest)
    ]


def problems(contest: Contest) -> list[str]:
    """Everything that hinders the draw, each as a sentence that says how to mend it; empty when nothing does."""
    found = _what_is_missing(contest) + _what_does_not_fit(contest)
    return found or _what_has_no_place(contest)


def _what_has_no_place(contest: Contest) -> list[str]:
    """What the draw itself would refuse: every category on its own first, then all of them together."""
    request = draw_request(contest)
    found = []
    for category in held_categories(contest):
        key = category.key
        alone = replace(
            request, categories=(key,), entries={key: request.entries[key]}, tables={key: request.tables[key]}
        )
        said = _refusal(alone)
        if said:
            found.append(f"{category.name}: {said.removeprefix(f'{key}: ')}.")
    together = "" if found else _refusal(request)
    return [*found, f"{together[:1].upper()}{together[1:]}."] if together else found


def _refusal(request: rules.DrawRequest) -> str:
    try:
        rules.check(request)
    except rules.DrawRefused as refusal:
        return str(refusal).rstrip(".")
    return ""


def _what_is_missing(contest: Contest) -> list[str]:
    found = []
    if not contest.categories.exists():
        found.append("There is no category yet. Add one in the set-up.")
    if not contest.tables.exists():
        found.append("There is no table yet. Say in the set-up how many tables there are.")
    found += [
        f"{plan.category.name}: no team has entered. Enter teams, or cancel the category."
        for plan in plans(contest)
        if not plan.boxes
    ]
    return found


def _what_does_not_fit(contest: Contest) -> list[str]:
    """Rule sets that cannot be read, and tables whose seats do not fit the cards a rule set wants."""
    found = []
    try:
        contest_rules(contest)
    except RuleSetError as error:
        found.append(f"The contest's rule set cannot be used: {error}")
    seats = _seats_taken(contest)
    for category in held_categories(contest):
        try:
            wanted = category_rules(category)
        except RuleSetError as error:
            found.append(f"{category.name}: its rule set cannot be used: {error}")
            continue
        for table in contest.tables.all():
            sentence = _seats_fit(wanted, seats[category.pk, table.pk])
            if sentence:
                found.append(f"{category.name}, table {table.number}: {sentence}")
    return found


def _seats_taken(contest: Contest) -> dict[tuple[int, int], int]:
    """(category pk, table pk) → seats that hand in cards: all but those left vacant in the category."""
    vacant = set(Sitting.objects.filter(category__contest=contest, vacant=True).values_list("category_id", "seat_id"))
    taken: dict[tuple[int, int], int] = defaultdict(int)
    categories = list(contest.categories.values_list("pk", flat=True))
    for seat, table in Seat.objects.filter(table__contest=contest).values_list("pk", "table_id"):
        for category in categories:
            taken[category, table] += (category, seat) not in vacant
    return taken


def _seats_fit(wanted: RuleSet, seats: int) -> str:
    words = f"{seats} judge" if seats == 1 else f"{seats} judges"
    if seats > wanted.per_entry:
        return (
            f"{words}, but {wanted.name} takes {wanted.per_entry} cards for a box at most. "
            "Leave seats out, or choose another rule set."
        )
    if seats < wanted.fewest:
        return (
            f"{words}, but {wanted.name} ranks no box with fewer than {wanted.fewest} cards. "
            "Add seats, or choose another rule set."
        )
    return ""


def commitment_before_draw(contest: Contest) -> str:
    """The commitment to the secret where the ceremony has begun; else empty."""
    return DrawCeremony.objects.filter(contest=contest).values_list("commitment", flat=True).first() or ""


def standing_draw(contest: Contest) -> Draw | None:
    """The draw as it may be shown: the secret, the seed and the drawn text stay in the database."""
    return contest.draws.filter(standing=True).defer(*SEALED_TEXTS).first()


def earlier_draws(contest: Contest) -> list[Draw]:
    """The draws that were superseded, as they may be shown."""
    return list(contest.draws.filter(standing=False).defer(*SEALED_TEXTS))


def against_redraw(contest: Contest) -> list[str]:
    """Why the boxes cannot be drawn again, a sentence each; empty when they can."""
    if not contest.is_drawn:
        return ["The boxes are not drawn yet: draw them, nothing needs drawing again."]
    if not contest.is_sealed:
        return ["The tally is closed: the boxes that were judged stay as they were drawn."]
    if contest.marks_locked_at is not None:
        return ["The marks are locked: the boxes stay as they are drawn."]
    rows = TurnIn.objects.filter(box__contest=contest, box__draw__standing=True, standing=True)
    recorded = Counter(rows.exclude(status=TurnIn.Status.UNDONE).values_list("box__category__name", flat=True))
    found = [
        f"{name}: {number} {'box is' if number == 1 else 'boxes are'} recorded at the turn-in desk, so the draw stays."
        for name, number in recorded.items()
    ]
    return found + [todo.text for todo in day.in_the_way("redraw", contest)]


def flights(contest: Contest) -> list[tuple[Category, list[Flight]]]:
    """For each category the box numbers at every table, in serving order."""
    found: dict[Category, dict[Table, list[Box]]] = {}
    for box in standing_boxes(contest):
        found.setdefault(box.category, {}).setdefault(present(box.table), []).append(box)
    return [(category, [Flight(table, boxes) for table, boxes in tables.items()]) for category, tables in found.items()]
