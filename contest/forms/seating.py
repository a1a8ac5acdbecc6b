"""Forms of the seating page."""

from typing import Any

from django import forms

from contest.forms.choices import choice_field, row_field
from contest.models import Category, Judge, Seat
from contest.selectors.seating import Seating


class SeatField(forms.ModelChoiceField):
    def label_from_instance(self, seat: Seat) -> str:
        return f"Table {seat.table.number}, seat {seat.letter}"


class _SeatingForm(forms.Form):
    """What every change by hand asks: from which category on, and, once drawn, why."""

    def __init__(self, *args: Any, seating: Seating, **options: Any) -> None:
        super().__init__(*args, **options)
        contest = seating.contest
        chosen = Seat.objects.filter(table__contest=contest).select_related("table").order_by("table__number", "letter")
        for name in ("seat", "one", "other"):
            if name in self.fields:
                row_field(self, name).queryset = chosen
        self.fields["from_category"] = forms.ModelChoiceField(
            queryset=Category.objects.filter(contest=contest, cancelled_at=None),
            required=False,
            empty_label="The whole day",
            label="From",
            help_text="Earlier categories keep their judge.",
        )
        self.fields["reason"] = forms.CharField(
            label="Reason" if contest.is_drawn else "Reason (needed for an empty seat)",
            max_length=300,
            required=False,
        )


class SeatForm(_SeatingForm):
    """Somebody else at one seat, nobody by name, or nobody at all."""

    VACANT, UNNAMED = "vacant", "unnamed"

    seat = SeatField(queryset=Seat.objects.none(), empty_label="Choose a seat")
    judge = forms.ChoiceField(label="Who sits there now")

    def __init__(self, *args: Any, seating: Seating, **options: Any) -> None:
        super().__init__(*args, seating=seating, auto_id="seat_%s", **options)
        self.free = {str(judge.pk): judge for judge in seating.free}
        choice_field(self, "judge").choices = [
            ("", "Choose"),
            *((key, f"{judge} ({judge.contests_judged} judged)") for key, judge in self.free.items()),
            (self.UNNAMED, "A judge without a name: cards are expected"),
            (self.VACANT, "Nobody: no cards are expected"),
        ]

    @property
    def chosen(self) -> Judge | None:
        return self.free.get(self.cleaned_data["judge"])


class ExchangeForm(_SeatingForm):
    one = SeatField(queryset=Seat.objects.none(), label="This seat", empty_label="Choose a seat")
    other = SeatField(queryset=Seat.objects.none(), label="and this one", empty_label="Choose a seat")

    def __init__(self, *args: Any, seating: Seating, **options: Any) -> None:
        super().__init__(*args, seating=seating, auto_id="exchange_%s", **options)
        self.order_fields(["one", "other", "from_category", "reason"])
