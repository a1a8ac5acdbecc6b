"""How it is printed: the paper's size, the sheet of labels, and what a printer needs to be put right."""

from typing import Any

from django import forms

from contest.models import Contest
from reports.paper.grids import GRID_NAMES, PAGE_NAMES, GridError
from reports.paper.look import Options


class PrintForm(forms.Form):
    """All of it has a usable default: nothing need be filled in. `labels` and `teams` add what those papers take."""

    size = forms.ChoiceField(label="Paper size", choices=PAGE_NAMES.items(), initial="a4")

    def __init__(self, *args: Any, contest: Contest, labels: bool, teams: bool, **more: Any) -> None:
        super().__init__(*args, **more)
        if labels:
            self._add_labels()
        if teams:
            entries = contest.entries.select_related("team").order_by("number")
            choices = [("", "all teams"), *((entry.number, f"{entry.number} {entry.team}") for entry in entries)]
            self.fields["team"] = forms.TypedChoiceField(
                label="Score sheets of",
                choices=choices,
                required=False,
                coerce=int,
                empty_value=0,  # type: ignore[arg-type]  # Django takes any value; its stubs know text only
            )

    def _add_labels(self) -> None:
        self.fields["grid"] = forms.ChoiceField(label="Sheet of labels", choices=GRID_NAMES.items(), required=False)
        self.fields["right"] = _millimetres("Move to the right, mm", -30, 30, "less than 0: to the left")
        self.fields["down"] = _millimetres("Move down, mm", -30, 30, "less than 0: up")
        self.fields["scale"] = _millimetres("Scale, %", 90, 110, "100 unless labels drift along the page")
        for name, label, most in (
            ("columns", "Labels across", 10),
            ("rows", "Labels down", 30),
        ):
            self.fields[name] = forms.IntegerField(label=label, min_value=1, max_value=most, required=False)
        for name, label, least, most in (
            ("width", "Width of a label, mm", 25, 216),
            ("height", "Height of a label, mm", 14, 297),
            ("left", "Margin at the left, mm", 0, 100),
            ("top", "Margin at the top, mm", 0, 100),
            ("across", "Gap between two across, mm", 0, 50),
            ("between", "Gap between two down, mm", 0, 50),
        ):
            self.fields[name] = _millimetres(label, least, most)

    #: The fields of a sheet of one's own, folded away.
    OWN = ("columns", "rows", "width", "height", "left", "top", "across", "between")

    @property
    def plain_fields(self) -> list[forms.BoundField]:
        return [self[name] for name in self.fields if name not in self.OWN]

    @property
    def own_fields(self) -> list[forms.BoundField]:
        return [self[name] for name in self.fields if name in self.OWN]

    @property
    def own_wrong(self) -> bool:
        return any(name in self.errors for name in self.OWN) or self["grid"].value() == "custom"

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if not self.errors and "grid" in self.fields:
            options = self.options()
            try:
                options.plain_grid.check(options.size)
            except GridError as error:
                self.add_error("width", str(error))
        return cleaned

    def options(self, address: str = "") -> Options:
        return Options.of({**self.cleaned_data, "address": address})


def _millimetres(label: str, least: int, most: int, help_text: str = "") -> forms.FloatField:
    widget = forms.NumberInput(attrs={"step": "any", "inputmode": "decimal"})
    return forms.FloatField(
        label=label, min_value=least, max_value=most, required=False, help_text=help_text, widget=widget
    )
