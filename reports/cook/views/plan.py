"""A cook planned back from its turn-in: the team's days, a day's plan, the team's stage lengths."""

from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from contest.access import Request, for_team
from contest.forms.people import show_refusal
from contest.lists import list_page
from contest.models import Team
from contest.selectors.setup import likely_zone
from reports.cook import cooklog
from reports.cook.days import Day, Planned, days_of, find_day, lengths_of, plan_of
from reports.cook.forms import LengthsForm, OwnDayForm
from reports.models import CookDay
from reports.rules.timeline import STAGES, clock_text, minutes_text


def the_day(team: Team, uid: UUID) -> Day:
    day = find_day(team, uid)
    if day is None:
        raise Http404("No such page.")
    return day


@require_http_methods(["GET", "POST"])
@for_team
def plan(request: Request, team: Team) -> HttpResponse:
    """The team's coming cook days, and one more typed in by hand."""
    form = OwnDayForm(request.POST or None, zone=likely_zone(request.viewer.account))
    if request.method == "POST" and form.is_valid():
        made = _keep(form, team, None)
        if made is not None:
            return redirect("reports:plan_day", team.uid, made.uid)
    now = timezone.now()
    days = days_of(team)
    over = [day for day in days if day.is_over(now)]
    context = {
        "team": team,
        "coming": [day for day in reversed(days) if not day.is_over(now)],
        "over": list_page(request, over, "Days that are over", text=lambda day: f"{day.name} {day.date.isoformat()}"),
        "form": form,
        "form_open": bool(form.errors),
    }
    return render(request, "reports/plan.html", context, status=422 if form.errors else 200)


def _keep(form: OwnDayForm, team: Team, row: CookDay | None) -> CookDay | None:
    data = form.cleaned_data
    try:
        return cooklog.keep_own_day(
            team=team,
            row=row,
            name=data["name"],
            date=data["date"],
            time_zone=data["time_zone"],
            dishes=data["dishes"],
        )
    except ValidationError as error:
        show_refusal(form, error)
        return None


@require_GET
@for_team
def plan_day(request: Request, team: Team, day: UUID) -> HttpResponse:
    """What to do when, of all the day's categories in one line of time, with the next step on top."""
    found = the_day(team, day)
    now = timezone.now()
    lengths = lengths_of(team, [dish.key for dish in found.dishes])
    steps = grouped(plan_of(found, lengths), found, now)
    context = {
        "team": team,
        "day": found,
        "past": [step for step in steps if step["past"]],
        "coming": [step for step in steps if not step["past"]],
        "next": next((step for step in steps if step["at"] > now), None),
        "dishes": [
            {
                "dish": dish,
                "clock": clock_text(dish.turn_in_at, found.zone, found.date),
                "own": lengths[dish.key].own,
                "stages": _in_words(lengths[dish.key].lengths.minutes),
            }
            for dish in found.dishes
        ],
        "is_over": found.is_over(now),
    }
    return render(request, "reports/plan_day.html", context)


def grouped(planned: list[Planned], day: Day, now: datetime) -> list[dict[str, Any]]:
    """The steps of one category at one moment as one line: "Off the pit, rest"."""
    lines: list[dict[str, Any]] = []
    for each in planned:
        last = lines[-1] if lines else None
        if last is not None and (last["at"], last["dish"]) == (each.step.at, each.dish):
            last["words"] += f", {each.step.words.lower()}"
            last["minutes"] = each.step.minutes
        else:
            clock = clock_text(each.step.at, day.zone, day.date)
            line: dict[str, Any] = {"at": each.step.at, "dish": each.dish, "clock": clock, "words": each.step.words}
            lines.append({**line, "minutes": each.step.minutes})
    for line in lines:
        line["lasts"] = minutes_text(line["minutes"]) if line["minutes"] else ""
        line["past"] = line["at"] <= now
        line["wait"] = in_words(line["at"] - now)
    return lines


def in_words(wait: timedelta) -> str:
    """ "in 12 min"; "" for what is over or more than two days off."""
    minutes = -(-int(wait.total_seconds()) // 60)
    return f"in {minutes_text(minutes)}" if 0 < minutes <= 48 * 60 else ""


def _in_words(minutes: Any) -> str:
    return " · ".join(f"{STAGES[key].lower()} {minutes_text(minutes[key])}" for key in STAGES if minutes.get(key))


@require_http_methods(["GET", "POST"])
@for_team
def own_day(request: Request, team: Team, day: UUID) -> HttpResponse:
    """Change a day that was typed in."""
    row = get_object_or_404(CookDay, team=team, uid=day, contest=None)
    form = OwnDayForm(request.POST or None, row=row)
    if request.method == "POST" and form.is_valid() and _keep(form, team, row) is not None:
        messages.success(request, "Saved.")
        return redirect("reports:plan_day", team.uid, row.uid)
    context = {"team": team, "row": row, "form": form}
    return render(request, "reports/own_day.html", context, status=422 if form.errors else 200)


@require_POST
@for_team
def own_day_delete(request: Request, team: Team, day: UUID) -> HttpResponse:
    row = get_object_or_404(CookDay, team=team, uid=day, contest=None)
    cooklog.delete_day(row=row)
    messages.success(request, f"{row.name} is deleted, with its log.")
    return redirect("reports:plan", team.uid)


@require_http_methods(["GET", "POST"])
@for_team
def stages(request: Request, team: Team, day: UUID, key: str) -> HttpResponse:
    """How long each stage of a category takes this team, from now on."""
    found = the_day(team, day)
    dish = found.dish(key)
    if dish is None:
        raise Http404("No such page.")
    kept = lengths_of(team, [key])[key]
    if request.method == "POST" and "common" in request.POST:
        cooklog.forget_lengths(team=team, category=key)
        messages.success(request, f"{dish.name} is planned with the common lengths again.")
        return redirect("reports:plan_day", team.uid, day)
    form = LengthsForm(request.POST or None, lengths=kept.lengths)
    if request.method == "POST" and form.is_valid():
        try:
            cooklog.keep_lengths(
                team=team, category=key, minutes=form.minutes(), spritz_every=form.cleaned_data["spritz_every"]
            )
        except ValidationError as error:
            show_refusal(form, error)
        else:
            messages.success(request, f"Every plan for {dish.name.lower()} uses these lengths from now on.")
            return redirect("reports:plan_day", team.uid, day)
    context = {"team": team, "day": found, "dish": dish, "own": kept.own, "form": form}
    return render(request, "reports/stages.html", context, status=422 if form.errors else 200)
