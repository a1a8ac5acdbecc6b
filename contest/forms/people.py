"""Forms for teams, judges, lists of them, and check-in."""

from collections.abc import Mapping
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator

from contest.forms.choices import RowsField, field_of, row_field
from contest.models import Category, Contest, Entry, Judge, Team
from contest.selectors.people import entries


def show_refusal(form: forms.BaseForm, error: ValidationError) -> None:
    """Put a service's refusal beside the fields it names, or above the form."""
    if not hasattr(error, "error_dict"):
        form.add_error(None, error)
        return
    for name, problems in error.error_dict.items():
        form.add_error(name if name in form.fields else None, problems)


class TeamsField(RowsField):
    """Teams with their numbers in the contest, by primary key."""

    numbers: Mapping[int, int] = {}

    def label_from_instance(self, team: Team) -> str:
        return f"{self.numbers[team.pk]} {team}"


class TeamForm(forms.Form):
    """A team's particulars; the number may stay empty for a new team."""

    number = forms.IntegerField(
        label="Team number",
        min_value=1,
        max_value=9999,
        widget=forms.NumberInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
    )
    team_name = forms.CharField(label="Team", max_length=120)
    head_cook = forms.CharField(label="Head cook", max_length=120, required=False)
    home = forms.CharField(label="Home", max_length=120, required=False)

    def __init__(self, *args: Any, contest: Contest, entry: Entry | None = None, **options: Any) -> None:
        if entry is not None:
            options["initial"] = {
                "number": entry.number,
                "team_name": entry.team.name,
                "head_cook": entry.team.head_cook,
                "home": entry.team.home,
            }
        super().__init__(*args, **options)
        if entry is None:
            self.fields["number"].required = False
            self.fields["number"].help_text = "Empty: the next free one."
        elif contest.is_drawn:
            self.fields["number"].disabled = True
            self.fields["number"].help_text = "The boxes are drawn from the numbers, so it stays."
            self.fields["team_name"].help_text = "If you correct it now, after the draw, the result will say so."


class WithdrawForm(forms.Form):
    category = forms.ModelChoiceField(
        queryset=Category.objects.none(), required=False, empty_label="All that are left", label="From"
    )
    reason = forms.CharField(max_length=300, label="Reason", help_text="For example: ill, no meat, cooker broke.")

    def __init__(self, *args: Any, entry: Entry, **options: Any) -> None:
        super().__init__(*args, **options)
        row_field(self, "category").queryset = Category.objects.filter(
            entered__entry=entry, entered__withdrawn_at=None, cancelled_at=None
        )


class JudgeForm(forms.Form):
    name = forms.CharField(label="Name", max_length=120)
    contests_judged = forms.IntegerField(
        label="Contests judged before",
        required=False,
        min_value=0,
        validators=[MaxValueValidator(2000)],
        widget=forms.NumberInput(attrs={"inputmode": "numeric"}),
        help_text="Spreads experience evenly over the tables. Empty: none.",
    )
    conflicts = TeamsField(
        Team.objects.none(),
        required=False,
        label="Close to these teams",
        widget=forms.CheckboxSelectMultiple,
        help_text="Family, member, sponsor: a judge says so once.",
    )

    def __init__(self, *args: Any, contest: Contest, judge: Judge | None = None, **options: Any) -> None:
        numbers = {entry.team_id: entry.number for entry in entries(contest)}
        if judge is not None:
            options["initial"] = {
                "name": judge.name,
                "contests_judged": judge.contests_judged,
                "conflicts": [team.pk for team in judge.conflicts.all() if team.pk in numbers],
                "absent": contest.attendances.filter(judge=judge, absent=True).exists(),
            }
        super().__init__(*args, **options)
        field = field_of(self, "conflicts", TeamsField)
        field.queryset = Team.objects.filter(entries__contest=contest).order_by("entries__number")
        field.numbers = numbers
        if not numbers:
            field.help_text = "There are no teams yet; conflicts can be ticked once they are entered."
        if judge is not None:
            self.fields["absent"] = forms.BooleanField(label="Absent today", required=False)

    def clean_contests_judged(self) -> int:
        return self.cleaned_data["contests_judged"] or 0


class ListForm(forms.Form):
    """Many at once: pasted lines or a file."""

    text = forms.CharField(
        label="Paste or type, one line each",
        required=False,
        max_length=1_000_000,
        strip=False,
        widget=forms.Textarea(attrs={"rows": 10, "spellcheck": "false", "autocomplete": "off"}),
    )
    file = forms.FileField(
        label="Or a file",
        required=False,
        help_text="CSV or Excel (.xlsx), up to 1 MB.",
        widget=forms.FileInput(attrs={"accept": ".csv,.txt,.tsv,.xlsx"}),
    )

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        if not self.errors and not data.get("file") and not data.get("text", "").strip():
            raise ValidationError("Paste some lines, or choose a file.")
        return data


class CheckInForm(forms.Form):
    """One team at check-in. Each field carries what was shown, so that only what was changed is written."""

    arrived = forms.BooleanField(label="Arrived", required=False, show_hidden_initial=True)
    raw = forms.BooleanField(label="Raw", required=False, show_hidden_initial=True)
    unseasoned = forms.BooleanField(label="Unseasoned", required=False, show_hidden_initial=True)
    cold = forms.BooleanField(label="Cold", required=False, show_hidden_initial=True)
    problem = forms.CharField(
        label="Problem",
        required=False,
        max_length=300,
        show_hidden_initial=True,
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )

    def __init__(self, data: Any = None, *, entry: Entry) -> None:
        self.entry = entry
        super().__init__(
            data,
            prefix=f"team-{entry.number}",
            initial={
                "arrived": entry.arrived_at is not None,
                "raw": entry.meat_raw,
                "unseasoned": entry.meat_unseasoned,
                "cold": entry.meat_cold,
                "problem": entry.problem,
            },
        )

    def changes(self) -> dict[str, Any]:
        """What the person changed since the page was shown."""
        return {name: self.cleaned_data[name] for name in self.changed_data}
