"""Writing a team's days, stage lengths and cook log. Everything here is the team's own: edits leave no trace."""

from collections.abc import Mapping, Sequence
from datetime import date, datetime
from decimal import Decimal

from django.core.exceptions import ValidationError
from django.db import transaction

from contest.models import Team
from reports.cook.days import Day
from reports.models import (
    CookDay,
    CookLog,
    CookNote,
    CookSettings,
    CookStage,
    CookTemperature,
    TeamField,
    TeamStages,
)
from reports.rules.timeline import SPRITZ, STAGES, Lengths

USUAL_FIELDS = ("Rub", "Wood", "Sauce", "Cut")
MOST_FIELDS = 8
#: What a thermometer at a cooker can show; outside it is a slip of the keys.
COLDEST, HOTTEST = Decimal(-30), Decimal(450)  # °C


@transaction.atomic
def keep_own_day(
    *,
    team: Team,
    row: CookDay | None,
    name: str,
    date: date,
    time_zone: str,
    dishes: Sequence[tuple[str, str, datetime]],
) -> CookDay:
    """A day that the team typed in, or its change; `dishes` are key, name and turn-in time.

    Raises ValidationError where a category would go whose log has entries.
    """
    row = row or CookDay(team=team)
    row.name, row.date, row.time_zone = name, date, time_zone
    row.full_clean()
    row.save()
    going = row.logs.exclude(key__in=[key for key, _, _ in dishes])
    for log in going:
        if log.notes or log.stages.exists() or log.temperatures.exists() or log.noted.exists():
            raise ValidationError(f"The log of {log.name} has entries: keep its time, or delete the whole day.")
    going.delete()
    for key, dish, at in dishes:
        CookLog.objects.update_or_create(day=row, key=key, defaults={"name": dish, "turn_in_at": at})
    return row


def delete_day(*, row: CookDay) -> None:
    """The day and its logs."""
    row.delete()


@transaction.atomic
def log_of(*, team: Team, day: Day, key: str) -> CookLog:
    """The log of one category, begun if it is not there yet."""
    dish = day.dish(key)
    if dish is None:
        raise ValidationError("The team does not cook this category that day.")
    row = day.row
    if row is None:
        row, _ = CookDay.objects.get_or_create(
            team=team,
            contest=day.contest,
            defaults={"name": day.name, "date": day.date, "time_zone": day.zone.key},
        )
    log, made = CookLog.objects.get_or_create(
        day=row, key=key, defaults={"name": dish.name, "turn_in_at": dish.turn_in_at}
    )
    if not made and log.turn_in_at != dish.turn_in_at:  # the contest's windows were delayed
        log.turn_in_at = dish.turn_in_at
        log.save(update_fields=["turn_in_at"])
    return log


def note_stage(*, log: CookLog, stage: str, at: datetime) -> None:
    """A stage began `at`; said again, the newer time stands. Each spritz is a row of its own."""
    if stage == SPRITZ:
        CookStage.objects.get_or_create(log=log, stage=stage, at=at)
    elif stage in STAGES or stage == "turn_in":
        CookStage.objects.update_or_create(log=log, stage=stage, defaults={"at": at})
    else:
        raise ValidationError("There is no such stage.")


def remove_stage(*, log: CookLog, number: str) -> None:
    """Take a noted stage away by its row's number."""
    log.stages.filter(pk=_row_number(number)).delete()


def remove_temperature(*, log: CookLog, number: str) -> None:
    log.temperatures.filter(pk=_row_number(number)).delete()


def _row_number(text: str) -> int:
    if not text.isdecimal() or len(text) > 15:
        raise ValidationError("There is no such row.")
    return int(text)


def note_temperature(*, log: CookLog, where: str, degrees: Decimal, unit: str, at: datetime) -> CookTemperature:
    if not COLDEST <= celsius(degrees, unit) <= HOTTEST:
        other = "C" if unit == "F" else "F"
        raise ValidationError(f"{degrees} °{unit} is no temperature of a cook: look again, or is it °{other}?")
    row = CookTemperature(log=log, where=where, degrees=degrees, unit=unit, at=at)
    row.full_clean()
    row.save()
    return row


def celsius(degrees: Decimal, unit: str) -> Decimal:
    return degrees if unit == "C" else (degrees - 32) * 5 / 9


def in_unit(degrees: Decimal, unit: str, wanted: str) -> Decimal:
    """A temperature in the unit `wanted`, to a tenth."""
    if unit == wanted:
        return degrees
    found = celsius(degrees, unit) if wanted == "C" else degrees * 9 / 5 + 32
    return found.quantize(Decimal("0.1"))


@transaction.atomic
def note_field(*, log: CookLog, name: str, value: str) -> None:
    """What a field of the team was at this cook; an empty value takes the note away."""
    field = TeamField.objects.filter(team=log.day.team, name=name, shown=True).first()
    if field is None:
        keep_usual_fields(team=log.day.team)
        field = TeamField.objects.filter(team=log.day.team, name=name, shown=True).first()
    if field is None:
        raise ValidationError("There is no such field.")
    value = " ".join(value.split())
    if not value:
        CookNote.objects.filter(log=log, field=field).delete()
        return
    same = CookNote.objects.filter(field__team=log.day.team, field=field, value__iexact=value).first()
    row = CookNote.objects.filter(log=log, field=field).first() or CookNote(log=log, field=field)
    row.value = same.value if same is not None else value  # "Oak" and "oak" are one wood
    row.full_clean()
    row.save()


def keep_usual_fields(*, team: Team) -> None:
    """Rub, wood, sauce, cut: for a team that has named no fields yet."""
    if not TeamField.objects.filter(team=team).exists():
        TeamField.objects.bulk_create(
            TeamField(team=team, name=name, order=order) for order, name in enumerate(USUAL_FIELDS)
        )


@transaction.atomic
def keep_settings(*, team: Team, unit: str, fields: Sequence[str]) -> None:
    """The unit, and the fields in order. A field that is left out is no longer asked; what was noted stays."""
    CookSettings.objects.update_or_create(team=team, defaults={"unit": unit})
    keep_usual_fields(team=team)
    TeamField.objects.filter(team=team).update(shown=False)
    for order, name in enumerate(fields):
        found = TeamField.objects.filter(team=team, name__iexact=name).first() or TeamField(team=team)
        found.name, found.order, found.shown = name, order, True
        found.save()


def keep_notes(*, log: CookLog, notes: str) -> None:
    log.notes = notes
    log.save(update_fields=["notes"])


def keep_lengths(*, team: Team, category: str, minutes: Mapping[str, int], spritz_every: int | None) -> None:
    """The team's own stage lengths for a category. Raises ValidationError for impossible ones."""
    try:
        Lengths(minutes, spritz_every)
    except ValueError as error:
        raise ValidationError(str(error)) from error
    TeamStages.objects.update_or_create(
        team=team, category=category, defaults={"lengths": dict(minutes), "spritz_every": spritz_every}
    )


def forget_lengths(*, team: Team, category: str) -> None:
    """Back to the common lengths."""
    TeamStages.objects.filter(team=team, category=category).delete()


def unit_of(team: Team) -> str:
    kept = CookSettings.objects.filter(team=team).first()
    return kept.unit if kept is not None else CookSettings.Unit.FAHRENHEIT


def field_names(team: Team) -> list[str]:
    """The fields that are asked, in order."""
    names = list(TeamField.objects.filter(team=team).values_list("name", "shown"))
    return [name for name, shown in names if shown] if names else list(USUAL_FIELDS)


def used_values(team: Team, name: str, most: int = 6) -> list[str]:
    """What a field was before, the newest first."""
    noted = CookNote.objects.filter(field__team=team, field__name=name).order_by("-log__day__date", "-id")
    return list(dict.fromkeys(noted.values_list("value", flat=True)))[:most]
