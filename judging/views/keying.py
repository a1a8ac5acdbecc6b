"""Sheets with numbers written by hand, the second keying, and the differences that the paper decides."""

from dataclasses import dataclass, field

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from contest.access import Request, for_parts
from contest.models import Category, Contest, Seat, Table
from contest.refusals import Refused
from contest.rules.say import listed
from contest.selectors.rules import category_rules
from judging.forms.sheet import SheetForm
from judging.forms.written import WrittenForm
from judging.models import Resolution
from judging.rules.keying import DOUBLE_ENTRY, SINGLE_ENTRY
from judging.selectors.cards import places_of_boxes, sheet_lines
from judging.selectors.doubtful import again_url, sheet_url
from judging.selectors.keying import (
    Difference,
    blind_lines,
    differences,
    find_second,
    keying_errors,
    next_for,
    second_sheets,
    why_not_again,
)
from judging.services.cards import SheetRefused, hand_in_sheet
from judging.services.keying import KeyedAgain, key_again, resolve
from judging.views.sheets import after_sheet, by_criterion, said, why_closed


def _find(contest: Contest, category: str, table: Table, seat: str) -> tuple[Category, Seat]:
    found = get_object_or_404(
        Category.objects.select_related("rule_set", "contest__rule_set"), contest=contest, key=category
    )
    return found, get_object_or_404(Seat.objects.select_related("table"), table=table, letter=seat)


@require_http_methods(["GET", "POST"])
@for_parts("tally", "organiser")
def written(request: Request, contest: Contest, category: str, table: Table, seat: str) -> HttpResponse:
    """A sheet whose box numbers the judge wrote by hand: number and marks, line by line."""
    found, place = _find(contest, category, table, seat)
    lines = sheet_lines(contest, found, place)
    if not lines:
        raise Http404("No boxes are judged here.")
    rules, places = category_rules(found), places_of_boxes(contest)
    form = WrittenForm(lines, rules, places, request.POST if request.method == "POST" else None)
    if request.method == "POST" and form.is_valid():
        try:
            done = hand_in_sheet(
                contest=contest,
                category=found,
                seat=place,
                marks=form.marks(),
                by=request.viewer.name,
                expected_versions=form.versions(),
            )
        except SheetRefused as error:
            form = WrittenForm(sheet_lines(contest, found, place), rules, places, request.POST)
            form.refuse(error)
        else:
            messages.success(request, said(contest, found, place, done))
            return redirect(after_sheet(contest, found, place, corrects=False))
    page = {
        "contest": contest,
        "category": found,
        "table": table,
        "seat": place,
        "form": form,
        "refused": why_closed(contest, found, place),
        "by_criterion": by_criterion(request),
    }
    return render(request, "judging/sheet_written.html", page, status=422 if form.message else 200)


@require_http_methods(["GET", "POST"])
@for_parts("tally", "organiser")
def again(request: Request, contest: Contest, category: str, table: Table, seat: str) -> HttpResponse:
    """The second keying of a sheet, blind to the first."""
    found, place = _find(contest, category, table, seat)
    second = find_second(contest, found, place)
    if second is None:
        raise Http404("This sheet is keyed once.")
    refused = why_closed(contest, found, place) or why_not_again(contest, second, request.viewer.name)
    lines = blind_lines(contest, found, place, second.due)
    form = SheetForm(lines, category_rules(found), request.POST if request.method == "POST" and not refused else None)
    if request.method == "POST" and not refused and form.is_valid():
        without: dict[str, dict[str, str]] = {column.number: {} for column in form.taking if column.no_marks}
        marks = without | form.marks()
        try:
            done = key_again(contest=contest, category=found, seat=place, marks=marks, by=request.viewer.name)
        except SheetRefused as error:
            form.refuse(error)
        except Refused as error:
            form.message = str(error)
        else:
            (messages.warning if done.differ else messages.success)(request, _compared(found, place, done))
            return redirect(_after_second(contest, request.viewer.name))
    page = {
        "contest": contest,
        "category": found,
        "table": table,
        "seat": place,
        "form": form,
        "refused": refused,
        "alone": request.viewer.name in second.keyed_by,
        "by_criterion": by_criterion(request),
    }
    refuses = form.message or (refused and request.method == "POST")
    return render(request, "judging/sheet_again.html", page, status=422 if refuses else 200)


def _compared(category: Category, seat: Seat, done: KeyedAgain) -> str:
    where = f"{category.name}, table {seat.table.number}, seat {seat.letter}, second keying"
    if not done.differ:
        return f"{where}: every mark agrees."
    verb = "differs" if len(done.differ) == 1 else "differ"
    return f"{where}: {listed(done.differ)} {verb} from the first. The paper decides, under Differences."


def _after_second(contest: Contest, by: str) -> str:
    """The next sheet that this clerk may key again, else the list of flights."""
    following = next_for(contest, second_sheets(contest), by)
    return again_url(contest, following.sheet) if following else reverse("judging:marks", args=[contest.slug])


@dataclass
class Side:
    """One difference as a form: its two readings, what was chosen and said, and what was wrong with that."""

    sides: list[tuple[str, tuple[tuple[str, str, bool], ...], str]] = field(default_factory=list)
    chosen: str = ""
    reason: str = ""
    refused: str = ""


@require_http_methods(["GET", "POST"])
@for_parts("tally", "organiser")
def differences_page(request: Request, contest: Contest) -> HttpResponse:
    """Second keyings and conflicts that differ, each settled by the paper."""
    refused = ""
    if request.method == "POST":
        try:
            made = resolve(
                contest=contest,
                reading=int(request.POST.get("reading", "")) if request.POST.get("reading", "").isdecimal() else 0,
                chosen=request.POST.get("chosen", ""),
                reason=request.POST.get("reason", ""),
                by=request.viewer.name,
            )
        except Refused as error:
            refused = str(error)
        else:
            box = made.reading.card.box.number
            corrected = made.chosen == Resolution.Chosen.OTHER
            text = f"{box} is settled: {'the marks are corrected' if corrected else 'what stood stays'}."
            messages.success(request, text)
            return redirect("judging:differences", contest.slug)
    found = differences(contest)
    rows = [
        (each, _side(each, request, refused), sheet_url(contest, each.category, each.table, each.seat))
        for each in found
    ]
    page = {
        "contest": contest,
        "rows": rows,
        "errors": keying_errors(contest),
        "single": SINGLE_ENTRY,
        "double": DOUBLE_ENTRY,
        "refused": refused if not any(side.refused for _, side, _ in rows) else "",
    }
    return render(request, "judging/differences.html", page, status=422 if refused else 200)


def _side(each: Difference, request: Request, refused: str) -> Side:
    whose = "keyed" if each.kind == "second" else "handed in"
    sides = [(Resolution.Chosen.STANDING.value, each.standing, f"stands now, by {each.standing_by or 'somebody'}")]
    if not each.other_is_empty:
        sides.append((Resolution.Chosen.OTHER.value, each.other, f"{whose} by {each.other_by or 'somebody'}"))
    if request.method == "POST" and request.POST.get("reading") == str(each.reading):
        return Side(sides, request.POST.get("chosen", ""), request.POST.get("reason", "")[:250], refused)
    return Side(sides)
