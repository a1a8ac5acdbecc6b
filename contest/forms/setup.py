"""Forms of the two ways in and of the set-up."""

import re
import uuid
from datetime import datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django import forms
from django.core.exceptions import ValidationError
from django.utils import timezone

from contest.day import in_the_way
from contest.forms.choices import choice_field, field_of, row_field
from contest.models import Account, Category, Contest, RuleSet, Season
from contest.selectors.people import fold
from contest.selectors.setup import in_library_order, likely_zone, rule_sets_for, zone_choices

USUAL_ORDER = (("chicken", "Chicken"), ("ribs", "Ribs"), ("pork", "Pork"), ("brisket", "Brisket"))
MOST_TEAMS = 40
APART = timedelta(minutes=30)
LATEST_START = time(20)  # after this, today is over for somebody who sets up now
_COUNT = re.compile(r"(\d{1,3})\s*(?:teams?)?", re.IGNORECASE)


def day_field(**options: Any) -> forms.DateField:
    return forms.DateField(widget=forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"}), **options)


def time_field(**options: Any) -> forms.TimeField:
    return forms.TimeField(
        widget=forms.TimeInput(format="%H:%M", attrs={"type": "time"}),
        error_messages={"invalid": "Type a time as hours and minutes, for example 12:30."},
        **options,
    )


def zone_field() -> forms.ChoiceField:
    return forms.ChoiceField(
        label="Clock of the contest",
        choices=zone_choices,
        help_text="The time zone of the place; taken from this device where the browser tells.",
        widget=forms.Select(attrs={"data-zone": ""}),
    )


def first_turn_in(now: datetime) -> tuple[bool, time]:
    """Whether the contest is likelier tomorrow, and when its first box could come in: noon, or an hour from now.

    >>> first_turn_in(datetime(2026, 6, 13, 14, 10))
    (False, datetime.time(15, 30))
    """
    if now.time() > LATEST_START:
        return True, time(12)
    if now.hour < 11:
        return False, time(12)
    start = now + timedelta(hours=1)
    minutes = -(-(start.hour * 60 + start.minute) // 30) * 30
    return False, time(minutes // 60, minutes % 60)


def read_team_names(text: str) -> list[str]:
    """Names, one a line, or a bare count. Raises ValidationError that names the lines to mend.

    >>> read_team_names("3 teams")
    ['Team 1', 'Team 2', 'Team 3']
    """
    counted = _COUNT.fullmatch(text.strip())
    if counted:
        names = [f"Team {number}" for number in range(1, int(counted[1]) + 1)]
        lines = list(range(1, len(names) + 1))
    else:
        named = [(number, " ".join(line.split())) for number, line in enumerate(text.splitlines(), start=1)]
        lines = [number for number, name in named if name]
        names = [name for _, name in named if name]
    wrong = [
        f"Line {line} is longer than 120 characters."
        for line, name in zip(lines, names, strict=True)
        if len(name) > 120
    ]
    seen: dict[str, int] = {}
    for line, name in zip(lines, names, strict=True):
        first = seen.setdefault(fold(name), line)
        if first != line:
            wrong.append(f"Lines {first} and {line} are the same team, {name}. Remove one, or tell them apart.")
    if len(names) > MOST_TEAMS:
        wrong.append(
            f"These are {len(names)} teams. A small contest takes {MOST_TEAMS}: set up a full contest instead."
        )
    if len(names) < 2:
        wrong.append("Type at least two teams, one a line, or just how many there are, for example: 12 teams.")
    if wrong:
        raise ValidationError(wrong)
    return names


class SmallContestForm(forms.Form):
    """Everything a small contest asks, on one page."""

    uid = forms.UUIDField(widget=forms.HiddenInput)
    name = forms.CharField(label="Name", max_length=120, widget=forms.TextInput(attrs={"autocomplete": "off"}))
    date = day_field(label="Date")
    teams = forms.CharField(
        label="Teams",
        max_length=MOST_TEAMS * 200,
        help_text="One name a line; they get their numbers in this order. Or just how many: 12 teams.",
        widget=forms.Textarea(attrs={"rows": 6, "spellcheck": "false"}),
        error_messages={"required": "Type the teams, one a line, or how many there are, for example: 12 teams."},
    )
    judges = forms.TypedChoiceField(
        label="Judges",
        choices=[(number, str(number)) for number in range(3, 7)],
        coerce=int,
        widget=forms.RadioSelect,
        help_text="All sit at one table and mark every box.",
        error_messages={"required": "Choose how many judges sit at the table."},
    )
    judge_names = forms.CharField(
        label="Names of the judges",
        required=False,
        max_length=2000,
        help_text="One a line, in any order: who sits where is drawn by lot. Without names they are seats A, B, C …",
        widget=forms.Textarea(attrs={"rows": 4, "spellcheck": "false"}),
    )
    time_zone = zone_field()
    one_person = forms.BooleanField(
        required=False,
        label="One person runs it all",
        help_text="Then nothing seals the numbers from the marks. The result says so, and it cannot be taken back.",
    )
    other_name = forms.CharField(label="Another category", required=False, max_length=60)
    other_time = time_field(label="Its turn-in", required=False)
    already_in = forms.BooleanField(required=False, label="These times are right: the boxes came in already")

    def __init__(self, data: Any = None, *, account: Account | None = None, **options: Any) -> None:
        zone = likely_zone(account)
        tomorrow, start = first_turn_in(timezone.now().astimezone(ZoneInfo(zone)).replace(tzinfo=None))
        today = timezone.now().astimezone(ZoneInfo(zone)).date()
        initial = {"uid": uuid.uuid4(), "date": today + timedelta(days=tomorrow), "time_zone": zone, "ribs": True}
        super().__init__(data, initial={**initial, **options.pop("initial", {})}, **options)
        noon = datetime.combine(today, start)
        for place, (key, label) in enumerate(USUAL_ORDER):
            self.fields[key] = forms.BooleanField(required=False, label=label)
            self.fields[f"{key}_time"] = time_field(
                label=f"{label}: turn-in", required=False, initial=(noon + place * APART).time()
            )
        self.fields["other_time"].initial = (noon + len(USUAL_ORDER) * APART).time()

    def category_rows(self) -> list[tuple[forms.BoundField, forms.BoundField]]:
        return [(self[key], self[f"{key}_time"]) for key, _ in USUAL_ORDER]

    def asks_about_times(self) -> bool:
        return "already_in" in self.errors or bool(self["already_in"].value())

    def clean_teams(self) -> list[str]:
        return read_team_names(self.cleaned_data["teams"])

    def clean_judge_names(self) -> list[str]:
        names = [" ".join(line.split()) for line in self.cleaned_data["judge_names"].splitlines()]
        names = [name for name in names if name]
        seen: dict[str, str] = {}
        for name in names:
            if fold(name) in seen:
                raise ValidationError(f"{name} stands here twice. Two of one name? Add an initial.")
            if len(name) > 120:
                raise ValidationError("A judge's name is longer than 120 characters.")
            seen[fold(name)] = name
        return names

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        cleaned["categories"] = self._chosen(cleaned)
        if not cleaned["categories"] and not self.errors:
            self.add_error(USUAL_ORDER[1][0], "Tick at least one category.")
        judges, names = cleaned.get("judges"), cleaned.get("judge_names") or []
        if judges and len(names) > judges:
            self.add_error("judge_names", f"These are {len(names)} names for {judges} judges.")
        self._check_clock(cleaned)
        return cleaned

    def _chosen(self, cleaned: dict[str, Any]) -> list[tuple[str, time]]:
        rows = [(label, key, f"{key}_time") for key, label in USUAL_ORDER if cleaned.get(key)]
        other = " ".join(cleaned.get("other_name", "").split())
        if other:
            rows.append((other, "other_name", "other_time"))
        chosen: dict[str, tuple[str, time]] = {}
        for label, field, time_name in rows:
            if cleaned.get(time_name) is None and time_name not in self.errors:
                self.add_error(time_name, f"Type when {label} is turned in.")
            elif fold(label) in chosen:
                self.add_error(field, f"{label} is ticked above already.")
            elif cleaned.get(time_name) is not None:
                chosen[fold(label)] = (label, cleaned[time_name])
        return list(chosen.values())

    def _check_clock(self, cleaned: dict[str, Any]) -> None:
        """A turn-in that is over already today would make every box late: ask once."""
        if self.errors or cleaned.get("already_in"):
            return
        now = timezone.now().astimezone(ZoneInfo(cleaned["time_zone"])).replace(tzinfo=None)
        over = [
            name
            for name, at in cleaned["categories"]
            if cleaned["date"] == now.date() and datetime.combine(cleaned["date"], at) + timedelta(minutes=5) < now
        ]
        if over:
            self.add_error(
                "already_in",
                f"It is {now:%H:%M} in {cleaned['time_zone']}: the turn-in of {' and '.join(over)} is over, and every "
                "box would be late. Type a later time, or tick below.",
            )


class RuleSetChoice(forms.ModelChoiceField):
    """Rule sets in the library's order: shipped first, then own."""

    def __init__(self, **options: Any) -> None:
        super().__init__(queryset=RuleSet.objects.none(), **options)

    def offer(self, account: Account | None, also: list[int]) -> None:
        self.queryset = rule_sets_for(account, also)
        ordered = [(each.pk, each.name) for each in in_library_order(self.queryset)]
        self.choices = [("", self.empty_label), *ordered] if self.empty_label else ordered


class ContestForm(forms.Form):
    """A full contest's first page: the rest follows in the set-up."""

    uid = forms.UUIDField(widget=forms.HiddenInput)
    name = forms.CharField(label="Name", max_length=120, widget=forms.TextInput(attrs={"autocomplete": "off"}))
    date = day_field(label="Date")
    place = forms.CharField(label="Place", max_length=120, required=False)
    time_zone = zone_field()
    rule_set = RuleSetChoice(label="Rule set", empty_label=None, help_text="Each is explained under Rule sets.")

    def __init__(self, data: Any = None, *, account: Account, **options: Any) -> None:
        zone = likely_zone(account)
        today = timezone.now().astimezone(ZoneInfo(zone)).date()
        super().__init__(data, initial={"uid": uuid.uuid4(), "date": today, "time_zone": zone}, **options)
        field_of(self, "rule_set", RuleSetChoice).offer(account, [])


class DetailsForm(forms.ModelForm):
    """The particulars of a contest; after the draw those that are fixed are not asked."""

    date = day_field(label="Date")
    time_zone = zone_field()
    rule_set = RuleSetChoice(label="Rule set", empty_label=None)
    season_name = forms.CharField(
        label="… or a new season",
        max_length=80,
        required=False,
        help_text="Its name without the year, for example: Valley circuit. The year is the contest's.",
    )

    class Meta:
        model = Contest
        fields = ["name", "place", "date", "time_zone", "rule_set", "season", "conflicts", "most_boxes", "keying"]
        labels = {
            "most_boxes": "Most boxes a table",
            "conflicts": "Judges with a competing team",
            "keying": "Paper score sheets are keyed",
        }
        help_texts = {
            "most_boxes": "In one category; empty for no limit.",
            "conflicts": "Fixed by the draw.",
            "keying": "The second time by somebody else, who does not see the first; the draw picks the sample. "
            "Chosen before the first card.",
        }
        widgets = {"conflicts": forms.RadioSelect, "keying": forms.RadioSelect}

    def __init__(self, *args: Any, account: Account, **options: Any) -> None:
        super().__init__(*args, **options)
        self.order_fields(["name", "place", "date", "time_zone", "rule_set", "season", "season_name"])
        self.fields["time_zone"].help_text = "All times of the contest are by it."
        season = row_field(self, "season")
        season.queryset, season.empty_label = Season.objects.all(), "none"
        field_of(self, "rule_set", RuleSetChoice).offer(account, [self.instance.rule_set_id])
        zones = dict(zone_choices())
        if self.instance.time_zone not in zones:
            choice_field(self, "time_zone").choices = [
                (self.instance.time_zone, self.instance.time_zone),
                *zone_choices(),
            ]
        self.fields["keying"].required = False
        if self.instance.small or (self.instance.is_drawn and in_the_way("keying", self.instance)):
            del self.fields["keying"]
        if self.instance.is_drawn:
            for name in ("date", "time_zone", "rule_set", "conflicts", "most_boxes"):
                del self.fields[name]

    def validate_unique(self) -> None:
        """The service checks the whole row."""

    def _post_clean(self) -> None:
        """Leave the row alone: the service changes it, under a lock."""

    def clean_most_boxes(self) -> int | None:
        most = self.cleaned_data["most_boxes"]
        if most == 0:
            raise ValidationError("Type at least 1, or leave it empty for no limit.")
        return most

    def changes(self) -> dict[str, Any]:
        """The fields of the service, with a new season made where one was named."""
        data = dict(self.cleaned_data)
        if not data.get("keying"):
            data.pop("keying", None)
        new = " ".join(data.pop("season_name", "").split())
        if new:
            year = data.get("date", self.instance.date).year
            data["season"] = Season.objects.get_or_create(name=new, year=year)[0]
        return data


class CategoryForm(forms.Form):
    name = forms.CharField(label="Name", max_length=60)
    time = time_field(label="Turn-in")
    next_day = forms.BooleanField(required=False, label="the next day: after midnight")
    minutes_before = forms.IntegerField(label="Window opens, minutes before", min_value=0, max_value=120)
    minutes_after = forms.IntegerField(label="Window closes, minutes after", min_value=0, max_value=120)
    rule_set = RuleSetChoice(label="Rules", required=False, empty_label="the contest's")
    counts_overall = forms.BooleanField(required=False, label="Counts toward the overall")
    places_called = forms.IntegerField(
        label="Places called", min_value=0, max_value=100, help_text="How many places are called at the awards."
    )

    def __init__(
        self, data: Any = None, *, contest: Contest, account: Account, category: Category | None = None
    ) -> None:
        initial: dict[str, Any] = {"minutes_before": 5, "minutes_after": 5, "counts_overall": True, "places_called": 3}
        if category is not None:
            local = contest.local(category.turn_in_at)
            initial = {name: getattr(category, name) for name in (*initial, "name", "rule_set")}
            initial |= {"time": local.time(), "next_day": local.date() > contest.date}
        elif contest.categories.exists():
            last = contest.local(contest.categories.order_by("-turn_in_at")[0].turn_in_at) + APART
            initial |= {"time": last.time(), "next_day": last.date() > contest.date}
        else:
            initial |= {"time": time(12)}
        super().__init__(data, initial=initial)
        field_of(self, "rule_set", RuleSetChoice).offer(
            account, [category.rule_set_id] if category and category.rule_set_id else []
        )
        if contest.is_drawn:
            for name in set(self.fields) - {"name", "places_called"}:
                del self.fields[name]
            self.fields["name"].help_text = "After the draw, the result will say that you corrected it."


class TablesForm(forms.Form):
    tables = forms.IntegerField(label="Tables", min_value=1, max_value=99)
    seats = forms.IntegerField(label="Seats at each", min_value=1, max_value=26, help_text="One judge, one card a box.")


class OnePersonForm(forms.Form):
    sure = forms.BooleanField(
        label="I work the desk and the tally alone, and know that the result will say so",
        error_messages={"required": "Tick the box first: this cannot be taken back."},
    )


class DeleteForm(forms.Form):
    sure = forms.BooleanField(
        label="Delete this contest with its lists of teams and judges",
        error_messages={"required": "Tick the box first: a deleted contest does not come back."},
    )
