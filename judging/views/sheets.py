"""The tally desk: which score sheets are missing, and keying one."""

import re

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods

from contest.access import Request, for_parts
from contest.models import Category, Contest, Seat, Table
from contest.selectors.rules import category_rules
from judging.forms.sheet import SheetForm
from judging.selectors.cards import sheet_lines
from judging.selectors.doubtful import again_url, sheet_url
from judging.selectors.flights import Flight, Sheet, flights, is_vacant, next_missing
from judging.selectors.keying import differences, next_for, second_sheets
from judging.selectors.tables import table_news
from judging.services.cards import HandedIn, SheetRefused, hand_in_sheet, marks_text


@require_GET
@for_parts("tally", "organiser")
def marks(request: Request, contest: Contest) -> HttpResponse:
    """Flights with their score sheets; "table 3 seat B" typed leads straight to a sheet."""
    found = flights(contest)
    typed, error = request.GET.get("go", ""), ""
    following = next_missing(found)
    if "go" in request.GET and not typed.strip() and following is not None and contest.marks_locked_at is None:
        return redirect(sheet_url(contest, following.category, following.table, following.seat))
    if typed.strip():
        sheet, error = find_sheet(found, typed, following, request.GET.get("in", ""))
        if sheet is not None:
            return redirect(sheet_url(contest, sheet.category, sheet.table, sheet.seat))
    missing = [sheet for flight in found for sheet in flight.missing_sheets]
    second = second_sheets(contest, found)
    again = next_for(contest, second, request.viewer.name)
    return render(
        request,
        "judging/marks.html",
        {
            "contest": contest,
            "by_category": _by_category(found),
            "flights_done": sum(flight.done for flight in found),
            "flights_all": len(found),
            "missing": len(missing),
            "next": following,
            "typed": typed,
            "marks_root": reverse("judging:marks", args=[contest.slug]),
            "error": error,
            "second": second,
            "second_left": sum(not each.done for each in second),
            "second_waits": any(each.waits for each in second),
            "again": again_url(contest, again.sheet) if again else "",
            "again_sheet": again.sheet if again else None,
            "differences": len(differences(contest, found)),
            "may_rule": "head_judge" in request.viewer.parts(contest),
        },
        status=422 if error else 200,
    )


def _by_category(found: list[Flight]) -> list[tuple[Category, list[Flight]]]:
    grouped: dict[int, tuple[Category, list[Flight]]] = {}
    for flight in found:
        grouped.setdefault(flight.category.pk, (flight.category, []))[1].append(flight)
    return list(grouped.values())


def find_sheet(found: list[Flight], typed: str, following: Sheet | None, here: str = "") -> tuple[Sheet | None, str]:
    """The sheet that "3B", "table 3 seat B" or "ribs 3 b" names, else what is wrong.

    Without a category it is the one with the key `here`, else the one whose sheets are keyed now.
    """
    text = typed.strip().casefold()
    if re.fullmatch(r"\d{3}", text):
        return None, _sheets_of_box(found, text)
    named = next((flight.category for flight in found if flight.category.key == here), None)
    for each in {flight.category.pk: flight.category for flight in found}.values():
        name = rf"\b({re.escape(each.key)}|{re.escape(each.name.casefold())})\b"
        if re.search(name, text):
            text, named = re.sub(name, " ", text), each
            break
    place = re.fullmatch(r"\W*(?:table)?\W*(\d{1,2})\W*(?:seat)?\W*([a-z])\W*", text)
    if place is None:
        return None, f"“{typed.strip()[:40]}” names no sheet: type table and seat, for example 3B or ribs 3B."
    category = named or (following.category if following else found[-1].category if found else None)
    number, letter = int(place[1]), place[2].upper()
    sheets = [
        sheet
        for flight in found
        if flight.category == category and flight.table.number == number
        for sheet in flight.sheets
    ]
    if not sheets:
        return None, f"There is no table {number} in {category.name.lower() if category else 'this contest'}."
    sheet = next((each for each in sheets if each.seat.letter == letter and not each.vacant), None)
    return sheet, "" if sheet else f"Table {number} has no judge in seat {letter}."


def _sheets_of_box(found: list[Flight], number: str) -> str:
    for flight in found:
        if any(box.number == number for box in flight.boxes):
            table, name = flight.table.number, flight.category.name.lower()
            return f"{number} is judged at table {table} ({name}): type a seat as well, such as {name} {table}B."
    return f"There is no box {number} in this contest."


@require_http_methods(["GET", "POST"])
@for_parts("tally", "organiser")
def sheet(request: Request, contest: Contest, category: str, table: Table, seat: str) -> HttpResponse:
    """One score sheet; handing it in opens the next that is missing."""
    found_category = get_object_or_404(
        Category.objects.select_related("rule_set", "contest__rule_set"), contest=contest, key=category
    )
    found_seat = get_object_or_404(Seat.objects.select_related("table"), table=table, letter=seat)
    lines = sheet_lines(contest, found_category, found_seat)
    if not lines:
        raise Http404("No boxes are judged here.")
    rules = category_rules(found_category)
    form = SheetForm(lines, rules, request.POST if request.method == "POST" else None)
    if request.method == "POST" and form.is_valid():
        corrects = form.asks_reason
        try:
            done = hand_in_sheet(
                contest=contest,
                category=found_category,
                seat=found_seat,
                marks=form.marks(),
                by=request.viewer.name,
                reason=form.reason,
                expected_versions=form.versions(),
            )
        except SheetRefused as error:
            form = SheetForm(sheet_lines(contest, found_category, found_seat), rules, request.POST)
            form.refuse(error)
        else:
            messages.success(request, said(contest, found_category, found_seat, done))
            return redirect(after_sheet(contest, found_category, found_seat, corrects=corrects))
    flight = next(iter(flights(contest, category=found_category, table=table)), None)
    return render(
        request,
        "judging/sheet.html",
        {
            "contest": contest,
            "category": found_category,
            "table": table,
            "seat": found_seat,
            "form": form,
            "flight": flight,
            "news": table_news(contest, table, found_category),
            "refused": why_closed(contest, found_category, found_seat),
            "may_rule": "head_judge" in request.viewer.parts(contest),
            "by_criterion": by_criterion(request),
        },
        status=422 if form.message else 200,
    )


def by_criterion(request: Request) -> bool:
    """Whether this person keys criterion by criterion; the page's script keeps the choice in a cookie."""
    return request.COOKIES.get("sheet_order") == "criterion"


def why_closed(contest: Contest, category: Category, seat: Seat) -> str:
    """Why nothing can be handed in on this page; empty where it can."""
    if contest.marks_locked_at is not None:
        return "The marks are locked."
    if category.is_cancelled:
        return f"{category.name} was cancelled."
    if is_vacant(category, seat):
        return f"Nobody sits in seat {seat.letter} in {category.name.lower()}: no card is expected."
    return ""


def said(contest: Contest, category: Category, seat: Seat, done: HandedIn) -> str:
    """The read-back of what is stored now."""
    lines = {line.box.number: line for line in sheet_lines(contest, category, seat)}
    keys = {criterion.key: None for criterion in category_rules(category).criteria}
    stored = " · ".join(
        f"{number}: {marks_text(lines[number].marks, keys)}" for number in (*done.first, *done.corrected)
    )
    where = f"{category.name}, table {seat.table.number}, seat {seat.letter}"
    if not stored:
        return f"{where}: nothing new was handed in."
    return f"{where} is handed in. {stored}"


def after_sheet(contest: Contest, category: Category, seat: Seat, *, corrects: bool) -> str:
    """The next missing sheet; after a correction, and when all are in, the list of flights."""
    found = flights(contest)
    here = next(
        (each for flight in found for each in flight.sheets if (each.category, each.seat) == (category, seat)), None
    )
    following = None if corrects and here and here.done else next_missing(found, after=here)
    if following is None:
        return reverse("judging:marks", args=[contest.slug])
    return sheet_url(contest, following.category, following.table, following.seat)
