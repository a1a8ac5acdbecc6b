"""A rule set as a form, as text and as a file. All three end in the same check of the same document."""

import re
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.text import slugify

from contest.rules.ruleset import TIE_BREAKS, RuleSet, RuleSetError, from_document, to_toml
from contest.rules.say import number_text
from contest.services.rulesets import LONGEST, read_text, refusal

SPARE_CRITERIA = 3
TIE_ROWS = 8

DROP_RULES = (
    ("none", "None. Every card counts."),
    (
        "lowest",
        "The lowest. The variance of a total rises to 1.06 of the plain mean's, and boxes at tables whose judges "
        "disagree more are favoured.",
    ),
    ("highest", "The highest. As the lowest, the other way round: boxes at such tables are put at a disadvantage."),
    ("highest_and_lowest", "The highest and the lowest. The variance rises to 1.11 of the plain mean's."),
    (
        "grubbs",
        "Grubbs’ test: an outlier from the mean. On panels of six where nothing is wrong it still drops a card in "
        "5.0 % of boxes at alpha 0.05 (5.9 % with whole marks).",
    ),
    (
        "median_distance",
        "Distance from the median. On panels of six where nothing is wrong it drops a card in 15.2 % of boxes at "
        "limit 3.5 with fine marks, in 7.4 % with whole marks.",
    ),
)
DROP_WHEN_SHORT = (
    (
        "keep",
        "Keep them all. A full box that keeps its best five of six gains 1.27; a box whose five all count gains "
        "nothing: it is 1.27 behind.",
    ),
    (
        "drop",
        "Drop as always. The best four of five, scaled to five cards, gain 1.45: the short box is 0.19 ahead of a "
        "full one.",
    ),
)
TOTAL_WHEN_SHORT = (
    ("scale", "Scaled to the full number of counted cards"),
    ("as_is", "As it is: a card fewer counts as nothing"),
)
NEEDS = (
    ("all_judged", "A place in every counting category that was held"),
    ("all_entered", "A box entered in every counting category that was held, judged or not"),
    ("any", "Nothing: every team can win"),
)
NOT_JUDGED = (("unranked", "gets no place"), ("penalty_marks", "counts as penalty marks from every judge"))
TIE_LABELS = {
    "counted_criterion": "{}: average of the counted cards",
    "criterion": "{}: average of all cards",
    "dropped_cards": "average points of the dropped cards",
    "highest_card": "the best card, then the next",
    "lot": "a lot",
}


def shape_field(label: str, **options: Any) -> forms.CharField:
    return forms.CharField(
        label=label, max_length=20, widget=forms.TextInput(attrs={"inputmode": "decimal"}), **options
    )


class RuleSetForm(forms.Form):
    """Everything a rule set holds. `rules` fills it; `document()` reads it back; `text()` is the checked TOML."""

    name = forms.CharField(label="Name", max_length=80)
    about = forms.CharField(
        label="What it is for", max_length=2000, required=False, widget=forms.Textarea(attrs={"rows": 2})
    )
    lowest = shape_field("Lowest mark")
    highest = shape_field("Highest mark")
    step = shape_field("Step", help_text="1 for whole marks, 0.5 for halves.")
    penalty = shape_field("Penalty mark", required=False, help_text="Below the scale, by ruling only; empty for none.")
    words = forms.CharField(
        label="Words for marks",
        required=False,
        max_length=4000,
        help_text="One a line: 9 = outstanding",
        widget=forms.Textarea(attrs={"rows": 4, "spellcheck": "false"}),
    )
    per_entry = shape_field("Cards a box", help_text="One from each judge at the table.")
    fewest = shape_field("Fewest cards", help_text="With fewer, the box waits for a ruling.")
    drop_rule = forms.ChoiceField(label="Which cards are dropped", choices=DROP_RULES, widget=forms.RadioSelect)
    drop_count = shape_field("How many", help_text="At each named end; for the two tests the most that may go.")
    alpha = shape_field("Alpha of Grubbs’ test", required=False, help_text="Two-sided; 0.05 where empty.")
    limit = shape_field("Limit of the distance", required=False, help_text="Modified z-score; 3.5 where empty.")
    drop_when_short = forms.ChoiceField(
        label="A box with fewer cards than it should have",
        choices=DROP_WHEN_SHORT,
        widget=forms.RadioSelect,
        help_text="Gains over the plain sum are in standard deviations of a card, for dropping the lowest of six.",
    )
    total_of = forms.ChoiceField(
        label="A box's total",
        choices=(("sum", "The sum of its counted cards"), ("mean", "Their mean: panels of different sizes compare")),
        widget=forms.RadioSelect,
    )
    total_when_short = forms.ChoiceField(
        label="The sum of fewer counted cards", choices=TOTAL_WHEN_SHORT, widget=forms.RadioSelect
    )
    disqualified = forms.ChoiceField(label="A disqualified box", choices=NOT_JUDGED)
    late = forms.ChoiceField(label="A late box", choices=NOT_JUDGED)
    needs = forms.ChoiceField(label="What grand champion and reserve need", choices=NEEDS, widget=forms.RadioSelect)

    def __init__(self, data: Any = None, *, rules: RuleSet) -> None:
        initial, keys = self._initial(rules)
        super().__init__(data, initial=initial)
        if data is not None:
            keys = []
            while f"criterion_{len(keys)}_name" in data and len(keys) < 20:
                row = len(keys)
                keys.append((data.get(f"criterion_{row}_key", ""), data.get(f"criterion_{row}_name", "")))
        self.rows = len(keys) if data is not None else len(keys) + SPARE_CRITERIA
        for row in range(self.rows):
            self.fields[f"criterion_{row}_key"] = forms.CharField(required=False, widget=forms.HiddenInput)
            self.fields[f"criterion_{row}_name"] = forms.CharField(label="Criterion", required=False, max_length=60)
            self.fields[f"criterion_{row}_weight"] = shape_field("Weight", required=False)
            self.fields[f"criterion_{row}_step"] = shape_field("Own step", required=False)
        choices = self._tie_choices([(key or key_of(name), name) for key, name in keys if name.strip()])
        self.ties = max(TIE_ROWS, len(rules.tie_breaks))
        for row in range(self.ties):
            self.fields[f"tie_{row}"] = forms.ChoiceField(label=f"{row + 1}.", choices=choices, required=False)

    def _initial(self, rules: RuleSet) -> tuple[dict[str, Any], list[tuple[str, str]]]:
        drop = rules.drop
        initial: dict[str, Any] = {
            "name": rules.name,
            "about": rules.about,
            "lowest": number_text(rules.scale.lowest),
            "highest": number_text(rules.scale.highest),
            "step": number_text(rules.scale.step),
            "penalty": "" if rules.scale.penalty is None else number_text(rules.scale.penalty),
            "words": "\n".join(f"{number_text(mark)} = {word}" for mark, word in rules.scale.words),
            "per_entry": rules.per_entry,
            "fewest": rules.fewest,
            "drop_rule": drop.rule,
            "drop_count": drop.count,
            "alpha": format(drop.alpha, "f"),
            "limit": format(drop.limit, "f"),
            "drop_when_short": drop.when_short,
            "total_of": rules.total_of,
            "total_when_short": rules.total_when_short,
            "disqualified": rules.disqualified,
            "late": rules.late,
            "needs": rules.needs,
        }
        for row, each in enumerate(rules.criteria):
            initial[f"criterion_{row}_key"] = each.key
            initial[f"criterion_{row}_name"] = each.name
            initial[f"criterion_{row}_weight"] = format(each.weight, "f")
            initial[f"criterion_{row}_step"] = "" if each.step is None else number_text(each.step)
        for row, step in enumerate(rules.tie_breaks):
            initial[f"tie_{row}"] = step.label
        return initial, [(each.key, each.name) for each in rules.criteria]

    def _tie_choices(self, criteria: list[tuple[str, str]]) -> list[tuple[str, str]]:
        choices = [("", "– nothing more –")]
        for by, names_one in TIE_BREAKS.items():
            if names_one:
                choices += [(f"{by}:{key}", TIE_LABELS[by].format(name)) for key, name in criteria]
            else:
                choices.append((by, TIE_LABELS[by]))
        return choices

    def criteria_rows(self) -> list[dict[str, forms.BoundField]]:
        parts = ("key", "name", "weight", "step")
        return [{part: self[f"criterion_{row}_{part}"] for part in parts} for row in range(self.rows)]

    def tie_rows(self) -> list[forms.BoundField]:
        return [self[f"tie_{row}"] for row in range(self.ties)]

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        if not self.errors:
            try:
                self.rules = from_document(self.document())
            except RuleSetError as error:
                self.add_error(self._blamed(error.key), refusal(error))
        return cleaned

    def text(self) -> str:
        """The checked set as TOML."""
        return to_toml(self.rules)

    def document(self) -> dict[str, Any]:
        """What was typed, as the document that a file would hold."""
        data = self.cleaned_data
        scale = {name: data[name] for name in ("lowest", "highest", "step", "penalty") if data[name]}
        if data["words"].strip():
            scale["words"] = self._words(data["words"])
        drop = {"rule": data["drop_rule"], "count": whole(data["drop_count"]), "when_short": data["drop_when_short"]}
        drop |= {name: data[name] for name in ("alpha", "limit") if data[name]}
        return {
            "name": data["name"],
            "about": data["about"],
            "scale": scale,
            "criterion": [self._criterion(row) for row in self._filled(self.rows, "criterion_{}_name")],
            "cards": {"per_entry": whole(data["per_entry"]), "fewest": whole(data["fewest"])},
            "drop": drop,
            "total": {"of": data["total_of"], "when_short": data["total_when_short"]},
            "disqualified": {"result": data["disqualified"]},
            "late": {"result": data["late"]},
            "tie_break": [tie_break(data[f"tie_{row}"]) for row in self._filled(self.ties, "tie_{}")],
            "overall": {"needs": data["needs"]},
        }

    def _filled(self, rows: int, name: str) -> list[int]:
        return [row for row in range(rows) if str(self.cleaned_data.get(name.format(row), "")).strip()]

    def _criterion(self, row: int) -> dict[str, Any]:
        data = {part: self.cleaned_data[f"criterion_{row}_{part}"] for part in ("key", "name", "weight", "step")}
        made = {"key": data["key"] or key_of(data["name"]), "name": data["name"], "weight": data["weight"] or None}
        return made | ({"step": data["step"]} if data["step"] else {})

    def _words(self, text: str) -> dict[str, str]:
        words = {}
        for number, line in enumerate(text.splitlines(), start=1):
            if line.strip():
                mark, equals, word = line.partition("=")
                if not equals:
                    raise RuleSetError("scale.words", line.strip(), f"in line {number} write mark = word")
                words[mark.strip()] = word.strip().strip('"')
        return words

    def _blamed(self, key: str) -> str | None:
        """The field that a refused key was typed in."""
        row = re.fullmatch(r"(criterion|tie_break)\[(\d+)\](?:\.(\w+))?", key)
        if row:
            kind, place, part = row[1], int(row[2]) - 1, row[3]
            name = "criterion_{}_name" if kind == "criterion" else "tie_{}"
            number = self._filled(self.rows if kind == "criterion" else self.ties, name)[place]
            named = f"criterion_{number}_{part if part in ('name', 'weight', 'step') else 'name'}"
            return named if kind == "criterion" else f"tie_{number}"
        if key.startswith("scale.words"):
            return "words"
        renamed = {
            "drop.rule": "drop_rule",
            "drop.count": "drop_count",
            "drop.when_short": "drop_when_short",
            "total.of": "total_of",
            "total.when_short": "total_when_short",
            "disqualified.result": "disqualified",
            "late.result": "late",
            "criterion": "criterion_0_name",
        }
        name = renamed.get(key, key.rpartition(".")[2])
        return name if name in self.fields else None


def whole(text: str) -> int | str:
    """A number where it is one; else the text, for the check of the document to refuse by name."""
    return int(text) if re.fullmatch(r"\d{1,6}", text.strip()) else text


def key_of(name: str) -> str:
    return slugify(name).replace("-", "_")[:40] or "criterion"


def tie_break(label: str) -> dict[str, str]:
    by, colon, criterion = label.partition(":")
    return {"by": by, "criterion": criterion} if colon else {"by": by}


def text_area(rows: int = 24) -> forms.Textarea:
    return forms.Textarea(attrs={"rows": rows, "spellcheck": "false", "class": "code"})


class RuleTextForm(forms.Form):
    """A rule set as its TOML text."""

    text = forms.CharField(label="The rule set as TOML", max_length=LONGEST, widget=text_area(), strip=False)

    def clean_text(self) -> str:
        read_text(self.cleaned_data["text"])
        return self.cleaned_data["text"]


class UploadForm(forms.Form):
    """A TOML file. When it cannot be used, its text stands in the field below to be mended, nothing is lost."""

    file = forms.FileField(
        label="TOML file", required=False, widget=forms.FileInput(attrs={"accept": ".toml,text/plain"})
    )
    text = forms.CharField(label="… or its text", required=False, max_length=LONGEST, widget=text_area(12), strip=False)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        file = cleaned.get("file")
        if file is not None:
            cleaned["text"] = self._decoded(file)
            posted: Any = self.data  # a QueryDict, which is changed in a copy only
            posted = posted.copy()
            posted["text"] = cleaned["text"]
            self.data = posted
        if not self.errors:
            if not cleaned["text"].strip():
                raise ValidationError("Choose a file, or paste its text.")
            try:
                read_text(cleaned["text"])
            except ValidationError as error:
                self.add_error("text" if file is None else "file", error)
        return cleaned

    def _decoded(self, file: Any) -> str:
        if file.size > LONGEST:
            self.add_error("file", f"{file.name} has {file.size} bytes. A rule set needs at most {LONGEST}.")
            return ""
        try:
            return file.read().decode("utf-8-sig")
        except UnicodeDecodeError:
            self.add_error(
                "file", f"{file.name} is not UTF-8 text. Save it as plain text in UTF-8, then upload it again."
            )
            return ""
