"""A team's season: its boxes in one table, its tables, its trends. Published contests only, for the team only."""

from typing import Any

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_GET, require_POST

from contest.access import Request, for_team
from contest.exports import csv_answer, xlsx_answer
from contest.lists import list_page
from contest.models import Contest, Entry, Team
from reports.cook.days import zone_of
from reports.models import PastResult
from reports.practice import shown as practice
from reports.results.tables import sort_as_asked
from reports.season import flights, trends, work
from reports.season.boxes import SeasonBox, TeamSeason, season_of, usable
from reports.season.own import members_of
from reports.season.seasons import group_key
from reports.season.tables import HEADER, box_table, export_rows
from reports.season.words import telling_box


def _find(team: Team, group: str | None) -> TeamSeason:
    found = season_of(team, group)
    if found is None:
        raise Http404("No such season.")
    return found


def _shown(request: Request, found: TeamSeason) -> tuple[list[SeasonBox], dict[str, str]]:
    """The boxes that the filter lets through, and what it was set to."""
    wanted = {name: request.GET.get(name, "").strip() for name in ("category", "contest", "table")}
    boxes = [
        box
        for box in found.boxes
        if wanted["category"] in ("", box.key)
        and wanted["contest"] in ("", box.contest)
        and wanted["table"] in ("", box.table)
    ]
    return boxes, wanted


def _state(found: TeamSeason) -> dict[str, Any]:
    """From when the figures are, and whether newer ones are on their way."""
    published = len(members_of(found.work_key))
    return {
        "fit": found.fit,
        "zone": zone_of(found.team),
        "published": published,
        "up_to_date": published < 2 or work.is_up_to_date(found.work_key),
        "work": work.last_work(found.work_key),
        # Only whole contests: a box that came alone cannot be worked out with anything.
        "packages_wait": bool(found.imported) and (found.fit is None or found.fit.group != found.work_key),
    }


@require_GET
@for_team
def season(request: Request, team: Team, group: str | None = None) -> HttpResponse:
    """A sentence first, the chart second, the table third."""
    found = season_of(team, group)
    if found is None:
        if group is not None:
            raise Http404("No such season.")
        return render(request, "reports/season/empty.html", {"team": team, **practice.for_season(team)})
    boxes, wanted = _shown(request, found)
    trend = trends.trend_of(found, wanted["category"] if wanted["category"] in found.categories else "")
    table = box_table(boxes, modelled=found.fit is not None)
    sort_as_asked(request, table)
    others = [each for each in found.groups if each.key != found.group.key]
    context = {
        "team": team,
        "season": found,
        "boxes": boxes,
        "wanted": wanted,
        "contests": list(dict.fromkeys(box.contest for box in found.boxes)),
        "tables": sorted({box.table for box in found.boxes if box.table}, key=lambda name: (len(name), name)),
        "trend": trend,
        "telling": telling_box(boxes),
        "table": table,
        "others": list_page(request, others, "Other seasons", text=lambda each: each.title),
        "alone": any(not box.has_field for box in boxes),
        **practice.for_season(team, found.group.key, [each.key for each in found.groups]),
        **_state(found),
    }
    return render(request, "reports/season/season.html", context)


@require_GET
@for_team
def season_csv(request: Request, team: Team, group: str) -> HttpResponse:
    """The filtered boxes as a file."""
    boxes, _ = _shown(request, _find(team, group))
    return csv_answer(f"{group}-boxes.csv", HEADER, export_rows(boxes))


@require_GET
@for_team
def season_xlsx(request: Request, team: Team, group: str) -> HttpResponse:
    """The filtered boxes as a workbook."""
    boxes, _ = _shown(request, _find(team, group))
    return xlsx_answer(f"{group}-boxes.xlsx", {"Boxes": (HEADER, export_rows(boxes))})


@require_POST
@for_team
def season_work(request: Request, team: Team, group: str) -> HttpResponse:
    """Have the season worked out again."""
    found = _find(team, group)
    if len(members_of(found.work_key)) >= 2:
        work.ask(found.work_key)
        messages.success(request, "The season is being worked out. It takes a minute or so; look again then.")
    return redirect("reports:season_of", team.uid, found.group.key)


@require_GET
@for_team
def season_tables(request: Request, team: Team, group: str) -> HttpResponse:
    """The same history by contest and judges' table."""
    found = _find(team, group)
    context = {"team": team, "season": found, "contests": flights.tables_of(found), **_state(found)}
    return render(request, "reports/season/tables.html", context)


@require_GET
@for_team
def season_trends(request: Request, team: Team, group: str) -> HttpResponse:
    """Points against the field over the season: all boxes, then by category, then by criterion."""
    found = _find(team, group)
    context = {"team": team, "season": found, "trends": trends.all_trends(found), **_state(found)}
    return render(request, "reports/season/trends.html", context)


@require_GET
@for_team
def season_box(request: Request, team: Team, slug: str, key: str) -> HttpResponse:
    """One box and its flight: the marks seat by seat, the table's other boxes as dots."""
    entry = get_object_or_404(
        Entry.objects.select_related("contest__season", "team").filter(contest__publications__isnull=False).distinct(),
        team=team,
        contest__slug=slug,
    )
    box = flights.flight_of(entry, key)
    if box is None:
        raise Http404("No such box.")
    context = {
        "team": team,
        "entry": entry,
        "contest_shown": entry.contest,
        "group": group_key(entry.contest),
        "practice": entry.contest.kind == Contest.Kind.PRACTICE,
        "box": box,
        "zone": zone_of(team),
        "fit": usable(box.fit),
    }
    return render(request, "reports/season/box.html", context)


@require_GET
@for_team
def past_flight(request: Request, team: Team, number: int) -> HttpResponse:
    """The same of a box that came with a results package."""
    result = get_object_or_404(
        PastResult.objects.select_related("imported", "team"), pk=number, team=team, imported__isnull=False
    )
    box = flights.past_flight_of(result)
    if box is None:
        raise Http404("No such box.")
    context = {
        "team": team,
        "contest_shown": result.imported,
        "group": flights.season_of_past(result),
        "elsewhere": True,
        "box": box,
        "zone": zone_of(team),
        "fit": usable(box.fit),
    }
    return render(request, "reports/season/box.html", context)
