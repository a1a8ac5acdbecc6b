"""For organiser and head judge, never public: how far the judges agreed, and how sure the announced places are.

Judges and boxes stand here, no teams' marks that the result does not show. Nothing of it before publishing.
"""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_GET, require_POST

from contest.access import Request, for_parts
from contest.models import Contest
from reports.season import study, work
from reports.season.seasons import contests_of, group_key


@require_GET
@for_parts("organiser", "head_judge")
def agreement(request: Request, contest: Contest) -> HttpResponse:
    """Reliability of a table's mean, Kendall's W by flight, each judge's severity and spread."""
    context = {"contest": contest, "found": study.agreement_of_contest(contest), **_state(contest)}
    return render(request, "reports/season/agreement.html", context)


@require_GET
@for_parts("organiser", "head_judge")
def how_sure(request: Request, contest: Contest) -> HttpResponse:
    """The chance that each announced place would hold with other judges of the same kind."""
    context = {"contest": contest, "found": study.places_of_contest(contest), **_state(contest)}
    return render(request, "reports/season/how_sure.html", context)


@require_POST
@for_parts("organiser", "head_judge")
def agreement_work(request: Request, contest: Contest) -> HttpResponse:
    """Have the contest's season worked out."""
    if contests_of(group_key(contest)):
        work.ask(group_key(contest))
        messages.success(request, "The season is being worked out. It takes a minute or so; look again then.")
    return redirect("reports:agreement", contest.slug)


def _state(contest: Contest) -> dict[str, object]:
    group = group_key(contest)
    contests = contests_of(group)
    published = contest in contests
    return {
        "is_published": published,
        "published": len(contests),
        "up_to_date": published and work.is_up_to_date(group),
        "work": work.last_work(group),
    }
