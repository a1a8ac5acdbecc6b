"""Results from contests elsewhere: typed, from a table, or from a results package."""

from collections.abc import Sequence

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from contest.access import Request, for_team
from contest.forms.people import show_refusal
from contest.lists import list_page
from contest.models import Team
from contest.present import present
from contest.tablefile import Rows
from contest.views.listimport import ListImport, empty_table_answer
from reports.cook import packages, past
from reports.cook.forms import PackageForm, PastResultForm
from reports.models import ImportedContest, PastResult

EXAMPLE = (
    "contest, date, category, place, field, total, possible, table, marks\n"
    "Example Cook-off Zero, 2025-09-20, ribs, 5, 24, 168.5, 180\n"
    "Example Cook-off Zero, 2025-09-20, pork, 12, 24,,, 3, 8 9 8 / 7 8 8"
)


@require_http_methods(["GET", "POST"])
@for_team
def past_results(request: Request, team: Team) -> HttpResponse:
    """What is kept from elsewhere, and one more score sheet keyed by hand."""
    form = PastResultForm(request.POST or None)
    if request.method == "POST" and form.is_valid() and _keep(form, team, None):
        messages.success(request, f"{form.cleaned_data['category']} at {form.cleaned_data['contest_name']} is kept.")
        return redirect("reports:past", team.uid)
    rows = PastResult.objects.filter(team=team).select_related("imported").defer("imported__boxes", "imported__pending")
    imported = ImportedContest.objects.filter(team=team, pending=None).defer("boxes")
    context = {
        "team": team,
        "rows": list_page(request, rows, "Past results", fields=("contest_name", "category", "date")),
        "pending": ImportedContest.objects.filter(team=team, pending__isnull=False).defer("pending", "boxes"),
        "imported": list_page(request, imported, "Results packages", fields=("name", "date"), name="packages"),
        "form": form,
    }
    return render(request, "reports/past.html", context, status=422 if form.errors else 200)


def _keep(form: PastResultForm, team: Team, row: PastResult | None) -> bool:
    try:
        past.keep_result(team=team, row=row, **form.cleaned_data)
    except ValidationError as error:
        show_refusal(form, error)
        return False
    return True


@require_http_methods(["GET", "POST"])
@for_team
def past_result(request: Request, team: Team, number: int) -> HttpResponse:
    """Change or delete one result that was typed in."""
    row = get_object_or_404(PastResult, pk=number, team=team, imported=None)
    if request.method == "POST" and "delete" in request.POST:
        past.delete_result(row=row)
        messages.success(request, f"{row} is deleted.")
        return redirect("reports:past", team.uid)
    form = PastResultForm(request.POST or None, row=row)
    if request.method == "POST" and form.is_valid() and _keep(form, team, row):
        messages.success(request, "Saved.")
        return redirect("reports:past", team.uid)
    context = {"team": team, "row": row, "form": form}
    return render(request, "reports/past_result.html", context, status=422 if form.errors else 200)


# Many from a table


@require_GET
@for_team
def past_table(request: Request, team: Team, ending: str) -> HttpResponse:
    """A table to fill in."""
    return empty_table_answer("past-results", "Past results", list(past.COLUMNS), past.HINTS, ending)


@require_http_methods(["GET", "POST"])
@for_team
def past_import(request: Request, team: Team) -> HttpResponse:
    """Paste or upload, look at every row, confirm."""
    today = timezone.now().date()

    def write(rows: Rows, shown: Sequence[int]) -> int:
        return past.import_results(team=team, rows=rows, shown=shown, today=today)

    def done(number: int, left_out: int) -> HttpResponse:
        messages.success(request, f"{number} result{'' if number == 1 else 's'} imported.")
        return redirect("reports:past", team.uid)

    legend = list(zip(past.COLUMNS, past.HINTS, strict=True))
    return ListImport(
        about=f"import of past results into {team.uid}",
        check=lambda rows: past.check_results(team, rows, today),
        write=write,
        done=done,
        template="reports/past_import.html",
        context={"team": team, "legend": legend, "example": EXAMPLE},
    ).answer(request)


# A results package


@require_http_methods(["GET", "POST"])
@for_team
def past_package(request: Request, team: Team) -> HttpResponse:
    """Upload a package: it is verified first, and kept at once where the team in it is known."""
    form = PackageForm(request.POST or None, request.FILES or None)
    read = None
    if request.method == "POST" and form.is_valid():
        data, printed = form.cleaned_data["package"].read(), form.cleaned_data["draw"]
        try:
            read = packages.read_package(data, draw=printed)
            if read.contest is not None:
                known = packages.known_team(team, read.contest)
                if known is not None:
                    kept = packages.keep_package(
                        team=team, read=read, number=known.number, against_print=bool(printed.strip())
                    )
                    messages.success(request, _kept_words(kept))
                    return redirect("reports:past", team.uid)
                packages.refuse_known(team, read.contest)
                aside = packages.keep_pending(team=team, read=read, data=data, against_print=bool(printed.strip()))
                return redirect("reports:past_package_team", team.uid, aside.pk)
        except ValidationError as error:
            form.add_error("package", error)
    context = {"team": team, "form": form, "read": read if read is not None and read.failing else None}
    return render(request, "reports/past_package.html", context, status=422 if form.errors or context["read"] else 200)


def _kept_words(kept: ImportedContest) -> str:
    number = kept.results.count()
    return (
        f"{kept.name} is kept: {number} box{'' if number == 1 else 'es'} of yours, and the field's cards without names."
    )


@require_http_methods(["GET", "POST"])
@for_team
def past_package_team(request: Request, team: Team, number: int) -> HttpResponse:
    """Which of a package's teams is this one? Asked once for each team name elsewhere."""
    aside = get_object_or_404(ImportedContest, pk=number, team=team, pending__isnull=False)
    if request.method == "POST" and "discard" in request.POST:
        packages.discard(imported=aside)
        messages.success(request, f"{aside.name} is not kept.")
        return redirect("reports:past", team.uid)
    read = packages.read_package(bytes(present(aside.pending)))
    error = ""
    if request.method == "POST":
        try:
            kept = packages.keep_package(
                team=team, read=read, number=request.POST.get("number", ""), against_print=aside.against_print
            )
        except ValidationError as refused:
            error = " ".join(refused.messages)
        else:
            messages.success(request, _kept_words(kept))
            return redirect("reports:past", team.uid)
    context = {"team": team, "aside": aside, "read": read, "error": error}
    return render(request, "reports/past_package_team.html", context, status=422 if error else 200)


@require_POST
@for_team
def past_package_delete(request: Request, team: Team, number: int) -> HttpResponse:
    """A contest that came as a package, with the team's results from it."""
    imported = get_object_or_404(ImportedContest, pk=number, team=team)
    packages.discard(imported=imported)
    messages.success(request, f"{imported.name} is deleted.")
    return redirect("reports:past", team.uid)
