"""What the head judge rules on a box, and what a captain calls about."""

from collections.abc import Iterable
from typing import Any

from django import forms

from contest.forms.choices import choice_field
from contest.models import Box, Seat
from contest.rules.ruleset import RuleSet
from judging.models import Call

#: What is chosen → (kind, scope) of the ruling.
KINDS = {
    "portions": ("lost", "card"),
    "lost": ("lost", "card"),
    "dismissal": ("dismissal", "card"),
    "penalty-criterion": ("penalty", "criterion"),
    "penalty-card": ("penalty", "card"),
    "penalty-box": ("penalty", "box"),
    "out-box": ("disqualification", "box"),
    "out-team": ("disqualification", "team"),
}
_ALWAYS = [
    ("portions", "Too few portions: no card from the seats that got none"),
    ("lost", "Card lost: the marks of this judge will not come"),
    ("dismissal", "Card dismissed: its marks do not stand, the judge marks anew"),
]
_PENALTIES = [
    ("penalty-criterion", "Penalty mark in one criterion, from every judge"),
    ("penalty-card", "Penalty marks on a card"),
    ("penalty-box", "Penalty marks for the whole box, from every judge"),
]
_OUT = [
    ("out-box", "Box disqualified"),
    ("out-team", "Team disqualified: its other boxes follow when the tally closes"),
]


class RulingForm(forms.Form):
    what = forms.ChoiceField(label="What do you rule?", widget=forms.RadioSelect)
    seats = forms.MultipleChoiceField(
        label="Seats", required=False, widget=forms.CheckboxSelectMultiple, help_text="For portions and cards."
    )
    criterion = forms.ChoiceField(label="Criterion", required=False)
    reason = forms.CharField(
        label="Reason",
        required=False,
        max_length=300,
        help_text="Kept with the ruling. No names. For too few portions it may stay empty.",
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )

    def __init__(self, *args: Any, rules: RuleSet, seats: Iterable[Seat], **options: Any) -> None:
        super().__init__(*args, **options)
        self.has_penalty = rules.scale.penalty is not None
        choice_field(self, "what").choices = [*_ALWAYS, *(_PENALTIES if self.has_penalty else []), *_OUT]
        choice_field(self, "seats").choices = [(seat.letter, seat.letter) for seat in seats]
        choice_field(self, "criterion").choices = [("", "–"), *((each.key, each.name) for each in rules.criteria)]
        if not self.has_penalty:
            del self.fields["criterion"]


class CallForm(forms.Form):
    about = forms.ChoiceField(label="What about?", choices=Call.About.choices, widget=forms.RadioSelect)
    box = forms.ChoiceField(label="Which box?", required=False)
    text = forms.CharField(
        label="In a few words",
        required=False,
        max_length=300,
        help_text="For a number that is wrong: write it as it stands on the box.",
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )

    def __init__(self, *args: Any, boxes: Iterable[Box], **options: Any) -> None:
        super().__init__(*args, **options)
        choice_field(self, "box").choices = [("", "none of them"), *((box.number, box.number) for box in boxes)]
