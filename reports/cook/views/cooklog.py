"""The team's private cook log: noted with one or two taps at the cook, set beside the marks afterwards."""

from collections.abc import Callable
from datetime import datetime, time, timedelta
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.db import transaction
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.dateparse import parse_time
from django.views.decorators.http import require_GET, require_http_methods

from contest.access import Request, for_team
from contest.lists import list_page
from contest.models import Team
from reports.cook import cooklog
from reports.cook.comparison import Cook, compared, cooks_of, result_of
from reports.cook.days import Day, Dish, days_of, lengths_of
from reports.cook.forms import SettingsForm, TemperatureForm
from reports.cook.views.plan import in_words, the_day
from reports.models import CookLog, CookSettings
from reports.practice import shown as practice
from reports.rules.safety import caution
from reports.rules.timeline import SPRITZ, TURN_IN, WORDS, clock_text, kind_of, nearest_moment, next_step, plan_back

#: "Done now" is offered from this long before the first step until this long after turn-in.
EARLY, AFTER = timedelta(hours=12), timedelta(hours=6)
LATE = timedelta(minutes=45)  # a stage that is this much past its time is not asked for first
SLACK = timedelta(minutes=5)  # a device's clock may run ahead of the server's


@require_GET
@for_team
def cook_log(request: Request, team: Team) -> HttpResponse:
    """All cooks beside their marks, the days to note next, and what differed between good and poor boxes."""
    now = timezone.now()
    cooks = cooks_of(team)
    unit = cooklog.unit_of(team)
    days = days_of(team)
    evenings = {each.contest_id: each for each in practice.closed_of(team)}
    of_contests = [cook for cook in cooks if not practice.is_practice(cook.log)]
    begun = [cook for cook in of_contests if cook.result is not None or cook.is_begun]
    context = {
        "team": team,
        "cooks": list_page(request, begun, "All cooks", text=_cook_text),
        "practices": list_page(
            request,
            [(cook, evenings[cook.log.day.contest_id]) for cook in cooks if cook.log.day.contest_id in evenings],
            "Practice",
            name="practices",
        ),
        "days": [day for day in reversed(days) if day.dishes and not day.is_over(now)],
        "without_log": _days_without_log(days, now),
        "compared": [each for each in compared(of_contests, unit) if each.boxes],
    }
    return render(request, "reports/cook_log.html", context)


def _cook_text(cook: Cook) -> str:
    day = cook.log.day
    return f"{cook.log.name} {day.name} {day.date.isoformat()}"


def _days_without_log(days: list[Day], now: datetime) -> list[Day]:
    """Past days for which nothing is noted: it is not too late."""
    return [day for day in days if day.dishes and day.is_over(now) and day.row is None][:6]


@require_http_methods(["GET", "POST"])
@for_team
def cook_log_of(request: Request, team: Team, day: UUID, key: str) -> HttpResponse:
    """One category of one day: stages, temperatures, the team's own fields, notes."""
    found = the_day(team, day)
    dish = found.dish(key)
    if dish is None:
        raise Http404("No such page.")
    error = ""
    if request.method == "POST":
        write = _WRITERS.get(request.POST.get("do", ""))
        if write is None:
            raise Http404("No such page.")
        try:
            with transaction.atomic():  # a refusal leaves no empty log behind
                anchor = write(request, team, found, dish)
        except ValidationError as refused:
            error = " ".join(refused.messages)
        else:
            return redirect(f"{reverse('reports:cook_log_of', args=[team.uid, day, key])}#{anchor}")
    context = _page(team, found, dish, timezone.now()) | {"practice": practice.of_day(found)}
    if error:
        context |= {"error": error, "given": request.POST}
    return render(request, "reports/cook_log_of.html", context, status=422 if error else 200)


# What is noted: each writer answers with the part of the page to return to


def _typed(text: str) -> time:
    found = parse_time(text.strip())
    if found is None:
        raise ValidationError(f"“{text}” is no time: type it as hours and minutes, for example 10:40.")
    return found


def _when(text: str, near: datetime, day: Day) -> datetime:
    """Now, or the typed clock time that lies nearest to `near`; nothing that is still to come."""
    now = timezone.now()
    if not text.strip():
        return now
    found = nearest_moment(_typed(text), near, day.zone)
    if found > now + SLACK:
        raise ValidationError(f"{clock_text(found, day.zone, day.date)} is still to come: note what is done.")
    return found


def _write_stage(request: Request, team: Team, day: Day, dish: Dish) -> str:
    stage = request.POST.get("stage", "")
    if stage not in WORDS:
        raise ValidationError("There is no such stage.")
    log = cooklog.log_of(team=team, day=day, key=dish.key)
    if "remove" in request.POST:
        cooklog.remove_stage(log=log, number=request.POST.get("remove", ""))
        return "stages"
    steps = plan_back(dish.turn_in_at, lengths_of(team, [dish.key])[dish.key].lengths)
    planned = [step.at for step in steps if step.key == stage]
    near = planned[0] if planned else dish.turn_in_at - timedelta(hours=4)
    at = _when(request.POST.get("at", ""), near, day)
    cooklog.note_stage(log=log, stage=stage, at=at)
    return "stages"


def _write_temperature(request: Request, team: Team, day: Day, dish: Dish) -> str:
    log = cooklog.log_of(team=team, day=day, key=dish.key)
    if "remove" in request.POST:
        cooklog.remove_temperature(log=log, number=request.POST["remove"])
        return "temperatures"
    form = TemperatureForm(request.POST)
    if not form.is_valid():
        raise ValidationError([text for texts in form.errors.values() for text in texts])
    data, now = form.cleaned_data, timezone.now()
    near = now if now < dish.turn_in_at + AFTER else dish.turn_in_at - timedelta(hours=5)
    at = _when(request.POST.get("at", ""), near, day)
    cooklog.note_temperature(log=log, where=data["where"], degrees=data["degrees"], unit=cooklog.unit_of(team), at=at)
    return "temperatures"


def _write_field(request: Request, team: Team, day: Day, dish: Dish) -> str:
    log = cooklog.log_of(team=team, day=day, key=dish.key)
    value = request.POST.get("used") or request.POST.get("value", "")
    if len(value) > 60:
        raise ValidationError("At most 60 characters: put the rest into the notes.")
    cooklog.note_field(log=log, name=request.POST.get("field", ""), value=value)
    return "fields"


def _write_notes(request: Request, team: Team, day: Day, dish: Dish) -> str:
    notes = request.POST.get("notes", "")
    if len(notes) > 4000:
        raise ValidationError("The notes are longer than 4000 characters: shorten them.")
    cooklog.keep_notes(log=cooklog.log_of(team=team, day=day, key=dish.key), notes=notes)
    messages.success(request, "Notes saved.")
    return "notes"


_WRITERS: dict[str, Callable[[Request, Team, Day, Dish], str]] = {
    "stage": _write_stage,
    "temperature": _write_temperature,
    "field": _write_field,
    "notes": _write_notes,
}


# What is shown


def _page(team: Team, day: Day, dish: Dish, now: datetime) -> dict[str, Any]:
    log = CookLog.objects.filter(day=day.row, key=dish.key).first() if day.row is not None else None
    steps = plan_back(dish.turn_in_at, lengths_of(team, [dish.key])[dish.key].lengths)
    done = list(log.stages.all()) if log is not None else []
    began = {row.stage: row for row in done if row.stage != SPRITZ}
    is_on = steps[0].at - EARLY <= now <= dish.turn_in_at + AFTER
    return {
        "team": team,
        "day": day,
        "dish": dish,
        "log": log,
        "turn_in_clock": clock_text(dish.turn_in_at, day.zone, day.date),
        "is_on": is_on,
        "next": _next_stage(steps, began, day, now) if is_on else None,
        "next_spritz": _next_spritz(steps, began, day, now) if is_on else None,
        "stages": [_stage(step, began, day) for step in steps if step.key != SPRITZ],
        "spritzes": [(row.pk, clock_text(row.at, day.zone, day.date)) for row in done if row.stage == SPRITZ],
        "has_spritz": any(step.key == SPRITZ for step in steps),
        "temperatures": _temperatures(log, dish, began, day),
        "unit": cooklog.unit_of(team),
        "fields": _fields(team, log),
        "result": result_of(team, log) if log is not None else None,
    }


def _next_stage(steps: list[Any], began: dict[str, Any], day: Day, now: datetime) -> dict[str, Any] | None:
    """The stage to note next: of those after the last noted one the first that is not long past."""
    stages = [step for step in steps if step.key != SPRITZ]
    last = max((place for place, step in enumerate(stages) if step.key in began), default=-1)
    waiting = stages[last + 1 :]
    if not waiting:
        return None
    return _next(next((step for step in waiting if step.at > now - LATE), waiting[-1]), day, now)


def _next(step: Any, day: Day, now: datetime) -> dict[str, Any]:
    return {
        "key": step.key,
        "words": step.words,
        "at": step.at,
        "clock": clock_text(step.at, day.zone, day.date),
        "wait": in_words(step.at - now),
    }


def _next_spritz(steps: list[Any], began: dict[str, Any], day: Day, now: datetime) -> dict[str, Any] | None:
    """The planned spritz that comes next while the meat is in the smoke."""
    if "pit" not in began or "wrap" in began or "off" in began:
        return None
    step = next_step([step for step in steps if step.key == SPRITZ], now)
    return _next(step, day, now) if step is not None else None


def _stage(step: Any, began: dict[str, Any], day: Day) -> dict[str, Any]:
    row = began.get(step.key)
    return {
        "key": step.key,
        "words": WORDS[TURN_IN] if step.key == TURN_IN else step.words,
        "planned": clock_text(step.at, day.zone, day.date),
        "row": row,
        "done": clock_text(row.at, day.zone, day.date) if row is not None else "",
        "typed": f"{row.at.astimezone(day.zone):%H:%M}" if row is not None else "",
        "off_by": _off_by(row.at - step.at) if row is not None else "",
    }


def _off_by(late: timedelta) -> str:
    minutes = round(late.total_seconds() / 60)
    if not minutes:
        return "on time"
    return f"{abs(minutes)} min {'later' if minutes > 0 else 'earlier'} than planned"


def _temperatures(log: CookLog | None, dish: Dish, began: dict[str, Any], day: Day) -> list[dict[str, Any]]:
    """Newest first, each with the caution that it asks for."""
    if log is None:
        return []
    off = next((began[key].at for key in ("off", "rest", "hold") if key in began), None)
    kind = kind_of(dish.key)
    return [
        {
            "row": row,
            "clock": clock_text(row.at, day.zone, day.date),
            "degrees": f"{row.degrees.normalize():f}",
            "caution": caution(
                kind,
                cooklog.in_unit(row.degrees, row.unit, CookSettings.Unit.FAHRENHEIT),
                off is not None and row.at >= off,
            )
            if row.where == "meat"
            else "",
        }
        for row in reversed(log.temperatures.all())
    ]


def _fields(team: Team, log: CookLog | None) -> list[dict[str, Any]]:
    noted = {row.field.name: row.value for row in log.noted.select_related("field")} if log is not None else {}
    return [
        {"name": name, "value": noted.get(name, ""), "used": cooklog.used_values(team, name)}
        for name in dict.fromkeys([*cooklog.field_names(team), *noted])
    ]


@require_http_methods(["GET", "POST"])
@for_team
def cook_settings(request: Request, team: Team) -> HttpResponse:
    """The unit of temperatures and the team's own fields."""
    initial = {"unit": cooklog.unit_of(team), "fields_text": "\n".join(cooklog.field_names(team))}
    form = SettingsForm(request.POST or None, initial=initial)
    if request.method == "POST" and form.is_valid():
        cooklog.keep_settings(team=team, unit=form.cleaned_data["unit"], fields=form.cleaned_data["fields_text"])
        messages.success(request, "Saved.")
        return redirect("reports:cook_log", team.uid)
    context = {"team": team, "form": form}
    return render(request, "reports/cook_settings.html", context, status=422 if form.errors else 200)
