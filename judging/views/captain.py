"""The table captain's page, and the news of a table that it, the sheets and the flights poll."""

from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods

from contest.access import Request, for_parts
from contest.models import Category, Contest, Table
from contest.refusals import Refused
from judging.forms.rulings import CallForm
from judging.selectors.tables import TablePage, find_box, table_news, table_page, where_belongs
from judging.services.captain import call_head_judge, tick_box, tick_sheet
from judging.services.phones import portions_go_round


@require_http_methods(["GET", "POST"])
@for_parts("captain", "head_judge", "tally", "organiser")
def captain(request: Request, contest: Contest, table: Table) -> HttpResponse:
    """Boxes to tick in, sheets to tick off, the head judge to call. No marks, no teams."""
    key = request.POST.get("category") or request.GET.get("category", "")
    page = table_page(contest, table, key)
    calling = request.method == "POST" and request.POST.get("do") == "call"
    form = CallForm(request.POST if calling else None, boxes=[line.box for line in page.judged])
    error = ""
    if request.method == "POST" and page.category is not None and (not calling or form.is_valid()):
        try:
            _do(request, contest, table, page.category, form)
        except Refused as refused:
            error = str(refused)
        else:
            return redirect(
                f"{reverse('judging:captain', args=[contest.slug, table.number])}?category={page.category.key}"
            )
    return render(
        request,
        "judging/captain.html",
        _context(request, contest, table, page, form, error),
        status=_status(form, error),
    )


def _do(request: Request, contest: Contest, table: Table, category: Category, form: CallForm) -> None:
    by, what = request.viewer.name, request.POST.get("do", "")
    if what in ("here", "not-here"):
        box = find_box(contest, request.POST.get("box", ""))
        if box is None:
            raise Refused("There is no such box. Call the desk.")
        tick_box(contest=contest, table=table, box=box, here=what == "here", by=by)
    elif what in ("collected", "not-collected"):
        seat = table.seats.filter(letter=request.POST.get("seat", "")).first()
        if seat is None:
            raise Refused("There is no such seat at this table.")
        tick_sheet(contest=contest, category=category, seat=seat, collected=what == "collected", by=by)
    elif what == "portions" and contest.phones:
        portions_go_round(contest=contest, table=table, category=category, by=by)
    elif what == "call":
        given = form.cleaned_data
        box = find_box(contest, given["box"])
        call_head_judge(
            contest=contest, table=table, category=category, about=given["about"], box=box, text=given["text"], by=by
        )
    else:
        raise Refused("Nothing was ticked. Try again.")


def _context(
    request: Request, contest: Contest, table: Table, page: TablePage, form: CallForm, error: str
) -> dict[str, object]:
    asked = request.GET.get("number", "").strip()
    return {
        "contest": contest,
        "table": table,
        "page": page,
        "news": table_news(contest, table, page.category) if page.category else None,
        "form": form,
        "error": error,
        "calling": bool(form.errors) or (bool(error) and form.is_bound),
        "asked": asked,
        "answer": where_belongs(contest, table, asked) if asked else "",
    }


def _status(form: CallForm, error: str) -> int:
    return 422 if error or form.errors else 200


@require_GET
@for_parts("captain", "head_judge", "tally", "organiser")
def news(request: Request, contest: Contest, table: Table) -> HttpResponse:
    """Rulings and calls of one flight, polled; 204 while what the page shows is still so."""
    category = contest.categories.filter(key=request.GET.get("category", "")).first()
    if category is None:
        raise Http404("No such category.")
    found = table_news(contest, table, category)
    if request.GET.get("seen") == found.version:
        return HttpResponse(status=204)
    context = {"contest": contest, "table": table, "category": category, "news": found, "polled": True}
    return render(request, "judging/_news.html", context)
