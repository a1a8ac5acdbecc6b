"""What the arguments of an address and the fields of a form may name in one contest."""

import json
from functools import cached_property
from uuid import UUID

from contest.models import Account, Box, Contest, Entry, Judge
from judging.services.tally import newest_tally
from reports.models import CookDay, ImportedContest, PastResult, Practice


class Sample:
    """Something of everything in one contest that an address or a form may name, never chosen by the pairing."""

    def __init__(self, contest: Contest) -> None:
        self.contest = contest

    @cached_property
    def entry(self) -> Entry:
        return self.contest.entries.select_related("team").order_by("number")[0]

    @cached_property
    def boxes(self) -> list[Box]:
        """The first table's lead, those of the category that is judged last before the others'."""
        found = self.contest.boxes.filter(draw__standing=True).select_related("category", "table")
        return list(found.order_by("table__number", "-category__order", "number"))

    @property
    def box(self) -> str:
        """The number of a box; of none where none is drawn."""
        return self.boxes[0].number if self.boxes else "201"

    @property
    def box_judged_first(self) -> str:
        """Of the same table."""
        first = (
            box.number for box in self.boxes if box.table.number == self.table and box.category.key != self.category
        )
        return next(first, self.box)

    @cached_property
    def category(self) -> str:
        return self.boxes[0].category.key if self.boxes else self.contest.categories.all()[0].key

    @cached_property
    def table(self) -> int:
        return self.boxes[0].table.number if self.boxes else 1

    @property
    def judge(self) -> Judge:
        return self.contest.attendances.order_by("judge__name")[0].judge

    @property
    def organiser(self) -> Account:
        return self.contest.roles.filter(organiser=True).order_by("pk")[0].account

    @property
    def revision(self) -> int:
        tally = newest_tally(self.contest)
        return tally.revision if tally else 1

    # What the first team has of its own: `tests/site/belongings.py`

    @property
    def practice(self) -> UUID:
        return Practice.objects.get(team=self.entry.team).contest.uid

    @property
    def own_day(self) -> UUID:
        return CookDay.objects.get(team=self.entry.team, contest=None).uid

    @property
    def past(self) -> int:
        return PastResult.objects.get(team=self.entry.team, imported=None).pk

    @property
    def past_of_package(self) -> int:
        return PastResult.objects.filter(team=self.entry.team).exclude(imported=None).order_by("pk")[0].pk

    @property
    def package(self) -> int:
        return ImportedContest.objects.get(team=self.entry.team, pending=None).pk

    @property
    def package_aside(self) -> int:
        return ImportedContest.objects.get(team=self.entry.team, pending__isnull=False).pk

    @cached_property
    def names(self) -> dict[str, object]:
        """What the arguments of an address stand for where the page says nothing else."""
        return {
            "slug": self.contest.slug,
            "key": self.category,
            "number": self.entry.number,
            "uid": self.judge.uid,
            "account": self.organiser.pk,
            "table": self.table,
            "seat": "A",
            "category": self.category,
            "revision": self.revision,
            "team": self.entry.team.uid,
            "group": ("year-2026", "year-2025"),  # with contests of here; with packages alone
            "day": (self.contest.uid, self.own_day),
            "practice": self.practice,
        }

    def card(self, **fields: object) -> str:
        """A card as the phone of seat 1A sends it."""
        at_table = sorted(box.number for box in self.boxes if box.table.number == 1)
        marks = {"appearance": "8", "taste": "7", "tenderness": "8"}
        named = {"key": "0" * 31 + "1", "number": 1, "seat": "1A", "box": (at_table or ["201"])[-1], "marks": marks}
        return json.dumps({**named, **fields})
