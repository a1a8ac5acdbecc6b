"""Names in the order in which they are called, publishing, and the links to the teams' own sheets."""

import segno
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_POST

from contest import day
from contest.access import Request, for_parts
from contest.models import Contest
from contest.refusals import Refused
from reports.results.forms import PublishForm
from reports.results.places import calls, signed_tally
from reports.results.publishing import publish
from reports.results.sheets import sheet_entries


@require_GET
@for_parts("organiser", "announcer")
def names(request: Request, contest: Contest) -> HttpResponse:
    return _page(request, contest, PublishForm())


@require_POST
@for_parts("organiser")
def publish_result(request: Request, contest: Contest) -> HttpResponse:
    form = PublishForm(request.POST)
    if form.is_valid():
        try:
            publish(contest=contest, by=request.viewer.name)
        except Refused as refused:
            form.add_error(None, str(refused))
        else:
            messages.success(request, "The result is published.")
            return redirect("reports:results", contest.slug)
    contest.refresh_from_db()
    return _page(request, contest, form, status=422)


def _page(request: Request, contest: Contest, form: PublishForm, status: int = 200) -> HttpResponse:
    tally = signed_tally(contest)
    called, champions = calls(contest, tally) if tally else ([], [])
    context = {
        "contest": contest,
        "tally": tally,
        "called": called,
        "champions": champions,
        "todos": [] if tally else day.in_the_way("publishing", contest),
        "may_publish": tally is not None and "organiser" in request.viewer.parts(contest),
        "notices": day.notices(contest) if "organiser" in request.viewer.parts(contest) else [],
        "form": form,
    }
    return render(request, "reports/names.html", context, status=status)


@require_GET
@for_parts("organiser")
def sheet_links(request: Request, contest: Contest) -> HttpResponse:
    """The address of each team's own sheet."""
    return render(request, "reports/sheet_links.html", {"contest": contest, "links": _links(request, contest)})


@require_GET
@for_parts("organiser")
def sheet_slips(request: Request, contest: Contest, number: int | None = None) -> HttpResponse:
    """Slips to print and hand out, each with its address as a QR code: all teams', or one team's."""
    links = [link for link in _links(request, contest) if number is None or link["entry"].number == number]
    for link in links:
        link["qr"] = segno.make(link["url"], error="m").svg_data_uri(scale=4, light="#fff", border=4)
    return render(request, "reports/sheet_slips.html", {"contest": contest, "links": links})


def _links(request: Request, contest: Contest) -> list[dict]:
    """Empty before publishing: a sheet's address opens nothing until then."""
    if contest.state != Contest.State.PUBLISHED:
        return []
    return [
        {
            "entry": entry,
            "url": request.build_absolute_uri(reverse("reports:sheet", args=[contest.slug, entry.sheet_key])),
        }
        for entry in sheet_entries(contest)
    ]
