"""Forms of a practice: one page to set it up, and the few ticks and words of the evening."""

import uuid
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from contest.forms.choices import field_of
from contest.forms.setup import RuleSetChoice, zone_field
from contest.models import Account, Entry, RuleSet, Team
from contest.selectors.setup import likely_zone
from contest.services.rulesets import shipped_rule_set
from reports.cook.past import category_key
from reports.models import Practice
from reports.rules.sensory.tasting import MOST_ROUNDS, MOST_TASTERS, MOST_VERSIONS, SCORE, TRIANGLE

LONGEST = 40  # characters of a name


def usual_rule_set(team: Team) -> RuleSet:
    """The set of the team's newest contest, so that practice is marked as the next contest will be."""
    newest = (
        Entry.objects.filter(team=team).select_related("contest__rule_set").order_by("-contest__date", "-id").first()
    )
    return newest.contest.rule_set if newest is not None else shipped_rule_set("taste-double")


def _lines(rows: int, **options: Any) -> forms.CharField:
    widget = forms.Textarea(attrs={"rows": rows, "spellcheck": "false", "class": "few"})
    return forms.CharField(max_length=3000, widget=widget, **options)


class PracticeForm(forms.Form):
    """What is asked fits a phone; rounds, rules and the clock have usual values and are folded away."""

    uid = forms.UUIDField(widget=forms.HiddenInput)
    dish = forms.CharField(
        label="What do you serve?",
        max_length=30,
        widget=forms.TextInput(attrs={"list": "dishes", "autocomplete": "off"}),
    )
    versions = _lines(
        2,
        label="Versions",
        help_text=f"One a line, for example two woods or two rubs: cherry, hickory. At most {MOST_VERSIONS}.",
        error_messages={"required": "Name two versions, one a line."},
    )
    tasters = _lines(
        3,
        label="Tasters",
        help_text=f"A first name a line. At most {MOST_TASTERS}.",
        error_messages={"required": "Name the tasters, one a line."},
    )
    question = forms.ChoiceField(
        label="What do you want to know?", choices=Practice.Question.choices, widget=forms.RadioSelect, initial=SCORE
    )
    rounds = forms.TypedChoiceField(
        label="Rounds",
        choices=[(number, str(number)) for number in range(1, MOST_ROUNDS + 1)],
        coerce=int,
        initial=1,
        help_text="Of “can they tell the difference?” only. Three friends in four rounds are twelve tastings; between "
        "rounds: water, bread, a pause.",
    )
    rule_set = RuleSetChoice(label="Marked by", empty_label=None, help_text="For “how do the versions score?”.")
    time_zone = zone_field()

    def __init__(self, data: Any = None, *, team: Team, account: Account, **options: Any) -> None:
        usual = usual_rule_set(team)
        initial = {"uid": uuid.uuid4(), "time_zone": likely_zone(account), "rule_set": usual.pk}
        super().__init__(data, initial=initial, **options)
        field_of(self, "rule_set", RuleSetChoice).offer(account, [usual.pk])
        self.fields["time_zone"].label = "Clock of the tasting"

    def clean_dish(self) -> str:
        dish = " ".join(self.cleaned_data["dish"].split())
        try:
            category_key(dish)
        except ValidationError:
            raise ValidationError("Begin it with a letter, for example Ribs.") from None
        return dish

    def clean_versions(self) -> list[str]:
        return self._named("versions")

    def clean_tasters(self) -> list[str]:
        return self._named("tasters")

    def _named(self, field: str) -> list[str]:
        names = [" ".join(line.split()) for line in self.cleaned_data[field].splitlines()]
        names = [name for name in names if name]
        long = [str(place) for place, name in enumerate(names, 1) if len(name) > LONGEST]
        if long:
            raise ValidationError(f"Line {', '.join(long)} is longer than {LONGEST} characters. Shorten it.")
        if not names:
            raise ValidationError(self.fields[field].error_messages["required"])
        return names

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if cleaned.get("question") != TRIANGLE and cleaned.get("rounds", 1) != 1:
            self.add_error(
                "rounds", "Only “can they tell the difference?” takes more rounds: elsewhere a taster counts once."
            )
        return cleaned


class KeyForm(forms.Form):
    """Why the key is opened while tasters taste."""

    reason = forms.CharField(
        label="Why",
        max_length=300,
        error_messages={"required": "Say why the key is opened now: the result shows it."},
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )


class CloseForm(forms.Form):
    """`unfinished_too` is asked while somebody still tastes."""

    unfinished_too = forms.BooleanField(
        label="Show the result although not everybody is finished. It will say so.", required=False
    )
