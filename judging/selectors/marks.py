"""Loading marks from the database: every part of the site reads them here, as exact decimals."""

from collections import defaultdict
from collections.abc import Collection
from decimal import Decimal

from django.db.models import QuerySet, TextField
from django.db.models.functions import Cast

from contest.rules.say import number_text
from judging.models import Mark, Reading

_AT_ONCE = 500  # SQLite takes a limited number of values in one query


def marks_by_reading(readings: "QuerySet[Reading] | Collection[int]") -> dict[int, dict[str, Decimal]]:
    """Return reading's primary key → criterion key → mark; readings without marks are left out.

    One query for a query of readings, however many marks; one for each 500 of a list of primary keys.
    """
    values, marks = _Values(), defaultdict[int, dict[str, Decimal]](dict)
    for part in _parts(readings):
        # As text: the database's own digits, without a detour through binary fractions, and several times faster.
        rows = Mark.objects.filter(reading__in=part).annotate(text=Cast("value", TextField()))
        for reading, criterion, text in rows.order_by("id").values_list("reading_id", "criterion", "text"):
            marks[reading][criterion] = values[text]
    return dict(marks)


def marks_of(reading: Reading) -> dict[str, Decimal]:
    """Return criterion key → mark of one reading; empty for a card without marks."""
    return marks_by_reading([reading.pk]).get(reading.pk, {})


def _parts(readings: "QuerySet[Reading] | Collection[int]") -> "list[QuerySet[Reading, int] | list[int]]":
    if isinstance(readings, QuerySet):
        return [readings.order_by().values_list("id", flat=True)]
    listed = list(readings)
    return [listed[start : start + _AT_ONCE] for start in range(0, len(listed), _AT_ONCE)]


class _Values(dict[str, Decimal]):
    """From a stored mark's text to its decimal, each text read once."""

    def __missing__(self, text: str) -> Decimal:
        value = self[text] = Decimal(number_text(Decimal(text)))
        return value
