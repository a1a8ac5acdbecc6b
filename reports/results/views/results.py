"""The published result: places and workings, as pages and files."""

from decimal import Decimal, InvalidOperation

from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_GET

from contest.access import Request, anyone
from contest.exports import Cell, csv_answer, xlsx_answer
from contest.models import Contest
from contest.rules.ruleset import in_words
from contest.selectors.draw import standing_draw
from contest.selectors.rules import contest_rules
from judging.models import Tally
from judging.templatetags.tally import tie_words
from reports.results.places import Place, Results, publications, published_tally, results_of, working_of
from reports.results.sealing import seal_lines, seal_summary
from reports.results.tables import overall_table, sort_as_asked

CATEGORY_HEADER = ("place", "team number", "team", "total", "total, 4 decimals", "remark")


def find_public(slug: str) -> Contest:
    """A contest that has public pages. A practice has none: it is nobody's business but its own people's."""
    return get_object_or_404(Contest.objects.exclude(kind=Contest.Kind.PRACTICE).select_related("rule_set"), slug=slug)


def find_published(slug: str, revision: int | None = None) -> tuple[Contest, Tally]:
    """The contest and its public tally; 404 where there is none, as if the contest did not exist."""
    contest = find_public(slug)
    tally = published_tally(contest, revision)
    if tally is None:
        raise Http404("No such result.")
    return contest, tally


@require_GET
@anyone
def results(request: Request, slug: str, revision: int | None = None) -> HttpResponse:
    """Champions first, then the categories; how the contest was sealed at the end."""
    contest, tally = find_published(slug, revision)
    published = publications(contest)
    lines = seal_lines(contest)
    context = {
        "contest": contest,
        "tally": tally,
        "results": results_of(tally),
        "newest": published[0].tally,
        "published": published,
        "draw": standing_draw(contest),
        "seal_lines": lines,
        "seal_summary": seal_summary(contest, lines),
        "rules": in_words(contest_rules(contest)),
    }
    return render(request, "reports/results.html", context)


@require_GET
@anyone
def result_working(request: Request, slug: str, revision: int, number: int, key: str | None = None) -> HttpResponse:
    """How one box (or a team overall) came to its place: a page, or the inside of a fold-out."""
    contest, tally = find_published(slug, revision)
    found = working_of(tally, str(number), key)
    if found is None:
        raise Http404("No such result.")
    team, title, lines = found
    context = {"contest": contest, "tally": tally, "team": team, "number": number, "title": title, "lines": lines}
    return render(request, "judging/_working.html" if request.htmx else "reports/working.html", context)


@require_GET
@anyone
def results_table(request: Request, slug: str) -> HttpResponse:
    """All teams and categories in one table that sorts by any column."""
    contest, tally = find_published(slug)
    table = overall_table(results_of(tally))
    sort_as_asked(request, table)
    return render(request, "reports/results_table.html", {"contest": contest, "tally": tally, "table": table})


@require_GET
@anyone
def results_csv(request: Request, slug: str) -> HttpResponse:
    """One row a place: every category, then overall."""
    contest, tally = find_published(slug)
    found = results_of(tally)
    rows = [(title, *row) for title, places in _groups(found) for row in map(_row, places)]
    return csv_answer(f"{contest.slug}-results.csv", ("category", *CATEGORY_HEADER), rows)


@require_GET
@anyone
def results_xlsx(request: Request, slug: str) -> HttpResponse:
    """A sheet for every category, and one overall."""
    contest, tally = find_published(slug)
    sheets = {title: (CATEGORY_HEADER, map(_row, places)) for title, places in _groups(results_of(tally))}
    return xlsx_answer(f"{contest.slug}-results.xlsx", sheets)


def _groups(found: Results) -> list[tuple[str, list[Place]]]:
    overall = [("Overall", found.overall)] if found.overall else []
    return [(group.name, group.places) for group in found.categories] + overall


def _row(place: Place) -> tuple[Cell, ...]:
    remark = "; ".join(filter(None, [place.word, tie_words(place.decided_by), "shared place" if place.shared else ""]))
    return (place.rank, int(place.number), place.name, place.total, _rounded(place.total), remark)


def _rounded(total: str | None) -> Decimal | None:
    """To calculate with; the exact total stands beside it as text."""
    if total is None:
        return None
    try:
        return round(Decimal(total), 4)
    except InvalidOperation:
        top, _, bottom = total.partition("/")
        return round(Decimal(top) / Decimal(bottom), 4)
