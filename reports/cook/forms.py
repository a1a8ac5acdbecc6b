"""Forms of a team's plan, cook log and past results."""

from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from django import forms
from django.core.exceptions import ValidationError
from django.utils import timezone

from contest.forms.setup import USUAL_ORDER, day_field, time_field, zone_field
from contest.rules.clock import moment_of
from contest.rules.draw.commitment import read_sum
from reports.cook import cooklog, past
from reports.models import CookDay, CookSettings, CookTemperature, PastResult
from reports.rules.timeline import LONGEST, STAGES, Lengths

LARGEST_PACKAGE = 8 * 1024 * 1024


class OwnDayForm(forms.Form):
    """A contest, or a cook at home, typed in by hand."""

    name = forms.CharField(label="Contest, or what you cook for", max_length=120)
    date = day_field(label="Date of turn-in")
    time_zone = zone_field()

    def __init__(self, data: Any = None, *, row: CookDay | None = None, zone: str = "UTC", **options: Any) -> None:
        self.dishes = dict(USUAL_ORDER)
        initial: dict[str, Any] = {"time_zone": zone}
        others = []
        if row is not None:
            initial = {"name": row.name, "date": row.date, "time_zone": row.time_zone}
            for log in row.logs.all():
                at = log.turn_in_at.astimezone(row.zone).time()
                if log.key in self.dishes:
                    initial[f"at_{log.key}"] = at
                else:
                    others.append((log.name, at))
        super().__init__(data, initial=initial, **options)
        for key, name in USUAL_ORDER:
            self.fields[f"at_{key}"] = time_field(label=f"{name}, turn-in at", required=False)
        for number in range(max(1, len(others))):
            self.fields[f"other_{number}"] = forms.CharField(label="Another category", max_length=60, required=False)
            self.fields[f"other_at_{number}"] = time_field(label="… turn-in at", required=False)
            if number < len(others):
                self.initial[f"other_{number}"], self.initial[f"other_at_{number}"] = others[number]

    def usual_fields(self) -> list[forms.BoundField]:
        return [self[f"at_{key}"] for key, _ in USUAL_ORDER]

    def other_fields(self) -> list[forms.BoundField]:
        return [self[name] for name in self.fields if name.startswith("other_")]

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        if "date" not in data or "time_zone" not in data:
            return data
        zone = ZoneInfo(data["time_zone"])
        found: list[tuple[str, str, datetime]] = []
        named = [(f"at_{key}", key, name, data.get(f"at_{key}")) for key, name in USUAL_ORDER]
        for field in [name for name in self.fields if name.startswith("other_") and "_at_" not in name]:
            at_field = field.replace("other_", "other_at_")
            name, at = data.get(field), data.get(at_field)
            if bool(name) != (at is not None) and at_field not in self.errors:
                self.add_error(at_field if name else field, "Type both, the category and its time.")
            elif name:
                try:
                    named.append((at_field, past.category_key(name), name, at))
                except ValidationError as error:
                    self.add_error(field, error)
        for field, key, name, at in named:
            if at is None:
                continue
            if any(key == other for other, _, _ in found):
                self.add_error(field, f"{name} stands here twice.")
                continue
            try:
                found.append((key, name, moment_of(data["date"], at, zone)))
            except ValueError as error:
                self.add_error(field, f"{str(error)[:1].upper()}{str(error)[1:]}.")
        if not found and not self.errors:
            raise ValidationError("Type the turn-in time of at least one category.")
        data["dishes"] = found
        return data


class LengthsForm(forms.Form):
    """How long each stage takes; a stage whose field is empty is left out."""

    def __init__(self, data: Any = None, *, lengths: Lengths, **options: Any) -> None:
        initial = {key: lengths.minutes.get(key) for key in STAGES}
        super().__init__(data, initial={**initial, "spritz_every": lengths.spritz_every}, **options)
        for key, words in STAGES.items():
            self.fields[key] = forms.IntegerField(
                label=words,
                required=False,
                min_value=0,
                max_value=LONGEST,
                widget=forms.NumberInput(attrs={"inputmode": "numeric"}),
            )
            if key == "pit":
                self.fields["spritz_every"] = forms.IntegerField(
                    label="A spritz every",
                    required=False,
                    min_value=5,
                    max_value=LONGEST,
                    widget=forms.NumberInput(attrs={"inputmode": "numeric"}),
                )

    def minutes(self) -> dict[str, int]:
        return {key: self.cleaned_data[key] for key in STAGES if self.cleaned_data[key] is not None}

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        if not self.errors and not any(data.get(key) for key in STAGES):
            raise ValidationError("Give at least one stage its minutes.")
        return data


class TemperatureForm(forms.Form):
    where = forms.ChoiceField(choices=CookTemperature.Where.choices)
    degrees = forms.DecimalField(
        label="Degrees", max_digits=5, decimal_places=1, error_messages={"invalid": "Type degrees as a number: 275."}
    )
    at = time_field(label="At", required=False)


class SettingsForm(forms.Form):
    """The unit, and the team's own fields."""

    unit = forms.ChoiceField(label="Temperatures in", choices=CookSettings.Unit.choices, widget=forms.RadioSelect)
    fields_text = forms.CharField(
        label="What you note at each cook, one a line",
        max_length=600,
        widget=forms.Textarea(attrs={"rows": 6}),
        help_text="A field you take out is no longer asked; what was noted in it stays.",
    )

    def clean_fields_text(self) -> list[str]:
        names = [" ".join(line.split()) for line in self.cleaned_data["fields_text"].splitlines() if line.strip()]
        long = [name for name in names if len(name) > 40]
        if long:
            raise ValidationError(f"“{long[0]}” is longer than 40 characters.")
        if len({name.casefold() for name in names}) < len(names):
            raise ValidationError("Two lines have the same name.")
        if len(names) > cooklog.MOST_FIELDS:
            raise ValidationError(f"At most {cooklog.MOST_FIELDS} fields: more is never kept up at a cook.")
        return names


class PastResultForm(forms.Form):
    """One score sheet of a contest elsewhere."""

    contest_name = forms.CharField(label="Contest", max_length=120)
    date = day_field(label="Date")
    category = forms.CharField(
        label="Category", max_length=60, widget=forms.TextInput(attrs={"list": "usual-categories"})
    )
    place = forms.IntegerField(label="Your place", required=False, min_value=1, max_value=9999)
    field = forms.IntegerField(label="Boxes ranked", required=False, min_value=1, max_value=9999)
    total = forms.CharField(label="Your points", required=False, max_length=20)
    possible = forms.CharField(label="Most points possible", required=False, max_length=20)
    table = forms.CharField(label="Table", required=False, max_length=20)
    marks = forms.CharField(
        label="Marks, judge by judge",
        required=False,
        max_length=400,
        help_text="In the order of the score sheet, judges parted by a stroke: 8 9 8 / 7 8 8",
    )

    def __init__(self, *args: Any, row: PastResult | None = None, **options: Any) -> None:
        if row is not None:
            names = ("contest_name", "date", "category", "place", "field", "total", "possible", "table")
            options["initial"] = {name: getattr(row, name) for name in names}
            options["initial"]["marks"] = past.marks_text(row.marks)
        super().__init__(*args, **options)
        for name in ("place", "field"):
            self.fields[name].widget.attrs["inputmode"] = "numeric"
        for name in ("total", "possible"):
            self.fields[name].widget.attrs["inputmode"] = "decimal"

    def clean_date(self) -> Any:
        found = self.cleaned_data["date"]
        if found > timezone.now().date():
            raise ValidationError("That day is still to come: plan it instead.")
        return found

    def clean_total(self) -> str:
        return past.parse_points("points", self.cleaned_data["total"]) if self.cleaned_data["total"] else ""

    def clean_possible(self) -> str:
        text = self.cleaned_data["possible"]
        return past.parse_points("points", text) if text else ""

    def clean_marks(self) -> list[list[str]]:
        return past.parse_marks(self.cleaned_data["marks"])


class PackageForm(forms.Form):
    package = forms.FileField(
        label="Results package",
        help_text="The zip that was published with the result, up to 8 MB.",
        widget=forms.FileInput(attrs={"accept": ".zip,application/zip"}),
    )
    draw = forms.CharField(
        label="Fingerprint of the draw, as printed that day",
        required=False,
        max_length=80,
        help_text="If you have it, in full or the five groups of four. Without it a package only shows that it agrees "
        "with itself.",
    )

    def clean_draw(self) -> str:
        typed = self.cleaned_data["draw"]
        try:
            return read_sum(typed) if typed.strip() else ""
        except ValueError as error:
            raise ValidationError(f"This is not a fingerprint: {error}.") from error

    def clean_package(self) -> Any:
        file = self.cleaned_data["package"]
        if file.size > LARGEST_PACKAGE:
            raise ValidationError(f"{file.name} is larger than 8 MB, which no contest needs.")
        return file
