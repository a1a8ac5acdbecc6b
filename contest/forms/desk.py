from typing import Any

from django import forms

from contest.services.desk import WORDS
from contest.services.windows import MOST_MINUTES


def reason_field(label: str, help_text: str = "") -> forms.CharField:
    return forms.CharField(
        label=label,
        help_text=help_text,
        max_length=300,
        error_messages={"required": "Give the reason in a few words."},
    )


class RecordForm(forms.Form):
    """What became of one box; category, team and box are what the person saw when pressing the button."""

    category = forms.CharField(widget=forms.HiddenInput)
    team = forms.IntegerField(widget=forms.HiddenInput)
    box = forms.CharField(widget=forms.HiddenInput)
    status = forms.ChoiceField(choices=[(key, key) for key in WORDS])
    handed_in = forms.TimeField(
        required=False,
        error_messages={"invalid": "Type the time as hours and minutes by the contest's clock, for example 12:28."},
    )
    reason = forms.CharField(required=False, max_length=300)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        if cleaned.get("status") == "refused" and not cleaned.get("reason"):
            self.add_error("reason", f"Say why box {cleaned.get('box')} is refused; the team will ask.")
        return cleaned


class UndoForm(forms.Form):
    reason = reason_field("Another reason")


class LabelsForm(forms.Form):
    one = forms.RegexField(
        r"^\d{3}$",
        label="One box number",
        widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
        error_messages={"invalid": "A box number has three digits."},
    )
    other = forms.RegexField(
        r"^\d{3}$",
        label="The other box number",
        widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
        error_messages={"invalid": "A box number has three digits."},
    )
    reason = reason_field("How was it noticed?")


class DelayForm(forms.Form):
    minutes = forms.IntegerField(
        label="Minutes",
        min_value=-MOST_MINUTES,
        max_value=MOST_MINUTES,
        initial=15,
        help_text="A minus sign takes a delay back.",
    )
    include_open = forms.BooleanField(required=False, label="Also the window that is open now")


class CancelForm(forms.Form):
    reason = reason_field("Why is it cancelled?", "Stands in the log and beside the result. Name no team.")
