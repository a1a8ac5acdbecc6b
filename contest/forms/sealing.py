from django import forms


class OpenSealForm(forms.Form):
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
