"""Forms of the draw: the words of the teams, and what has changed before the boxes are drawn again."""

from typing import Any

from django import forms

from contest.forms.choices import RowsField, row_field
from contest.models import Category, Contest, Entry, Table
from contest.services.redraw import Changes, LateTeam

LONGEST_WORD = 80


class EntriesField(RowsField):
    def label_from_instance(self, entry: Entry) -> str:
        return f"{entry.number} {entry.team}"


class WordsForm(forms.Form):
    words = forms.CharField(
        required=False,
        strip=False,
        max_length=20_000,
        label="What the teams called out, one a line",
        widget=forms.Textarea(attrs={"rows": 6, "spellcheck": "false", "autocomplete": "off"}),
        help_text="A word or a number from each team that wants to add one. Their order does not matter.",
    )

    def __init__(self, *args: Any, teams: int, **options: Any) -> None:
        super().__init__(*args, **options)
        self.teams = teams

    def clean_words(self) -> list[str]:
        words = [" ".join(line.split()) for line in self.cleaned_data["words"].splitlines() if line.strip()]
        if len(words) > self.teams:
            over = len(words) - self.teams
            raise forms.ValidationError(
                f"{len(words)} lines for {self.teams} teams: each team adds one at most. Take {over} out."
            )
        for number, word in enumerate(words, start=1):
            if len(word) > LONGEST_WORD:
                raise forms.ValidationError(f"Line {number} is longer than {LONGEST_WORD} characters. Shorten it.")
        return words


class RedrawForm(forms.Form):
    """Why the boxes are drawn again, and everything that is different in the new draw."""

    reason = forms.CharField(
        max_length=300,
        label="Why are the boxes drawn again?",
        help_text="Stands on the result, for everybody. For example: one team came late.",
        error_messages={"required": "Say why: the reason stands on the result."},
    )
    withdrawn = EntriesField(
        Entry.objects.none(), required=False, label="Teams that went home", widget=forms.CheckboxSelectMultiple
    )
    late_name = forms.CharField(required=False, max_length=120, label="Name of the team")
    late_number = forms.IntegerField(
        required=False,
        min_value=1,
        max_value=9999,
        label="Team number",
        help_text="Empty: the next free one.",
        widget=forms.NumberInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
    )
    late_categories = RowsField(
        Category.objects.none(), required=False, label="Takes part in", widget=forms.CheckboxSelectMultiple
    )
    tables = RowsField(
        Table.objects.none(),
        label="Tables in use",
        widget=forms.CheckboxSelectMultiple,
        help_text="Untick a table that is lost: its judges then have no seat.",
        error_messages={"required": "Keep at least one table."},
    )
    more_tables = forms.IntegerField(
        required=False,
        min_value=0,
        max_value=20,
        label="More tables",
        help_text="Each gets as many seats as the others; seat judges there afterwards.",
        widget=forms.NumberInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
    )

    def __init__(self, *args: Any, contest: Contest, **options: Any) -> None:
        self.drawn_tables = contest.tables.all()
        categories = contest.categories.filter(cancelled_at=None)
        options["initial"] = {"tables": list(self.drawn_tables), "late_categories": list(categories)}
        super().__init__(*args, **options)
        taking_part = contest.entries.filter(entered__withdrawn_at=None, entered__isnull=False).distinct()
        row_field(self, "withdrawn").queryset = taking_part.select_related("team").order_by("number")
        row_field(self, "late_categories").queryset = categories
        row_field(self, "tables").queryset = self.drawn_tables

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        if cleaned.get("late_number") and not cleaned.get("late_name"):
            self.add_error("late_name", "Type the name of the team that comes with this number.")
        if cleaned.get("late_name") and not cleaned.get("late_categories"):
            self.add_error("late_categories", "Tick at least one category for the late team.")
        return cleaned

    def changes(self) -> Changes:
        data = self.cleaned_data
        late = None
        if data["late_name"]:
            late = LateTeam(data["late_name"], data["late_number"], tuple(data["late_categories"]))
        kept = {table.pk for table in data["tables"]}
        return Changes(
            withdrawn=tuple(data["withdrawn"]),
            late=late,
            lost_tables=tuple(table for table in self.drawn_tables if table.pk not in kept),
            more_tables=data["more_tables"] or 0,
        )

    #: Where the fields of a late team stand among the services' names.
    SERVICE_FIELDS = {
        "team_name": "late_name",
        "name": "late_name",
        "number": "late_number",
        "categories": "late_categories",
    }


class OpenSealForm(forms.Form):
    """Why the seal is opened early, and the last question."""

    reason = forms.CharField(
        label="Why must it be opened now?",
        max_length=300,
        help_text="Stands on the result, word for word. Name no person, no team and no box.",
        error_messages={"required": "Say why the seal must be opened now: the reason stands on the result."},
    )
    name = forms.CharField(
        label="The name of the contest, typed out",
        max_length=200,
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
        error_messages={"required": "Type the name of the contest: it is the last question."},
    )
