"""A team's own sheet by its link; an account's teams and all their published sheets."""

import uuid

from django.contrib import messages
from django.contrib.auth import login
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_GET, require_http_methods

from contest.access import Request, anyone, for_team, signed_in
from contest.lists import list_page
from contest.models import Contest, Entry, Team, TeamMember
from judging.models import Tally
from reports.results.forms import CookAccountForm
from reports.results.publishing import claim_team
from reports.results.sheets import past_contests, past_entries, sheet_of


def _find(slug: str, key: uuid.UUID) -> tuple[Contest, Entry, Tally]:
    """What a sheet's link opens. Before publishing nothing, as if there were no such address."""
    entry = get_object_or_404(Entry.objects.select_related("contest", "team"), contest__slug=slug, sheet_key=key)
    published = Tally.objects.filter(contest=entry.contest, publication__isnull=False)
    tally = published.order_by("-revision").first()
    if tally is None:
        raise Http404("No such page.")
    return entry.contest, entry, tally


@require_GET
@anyone
def sheet(request: Request, slug: str, key: uuid.UUID) -> HttpResponse:
    """Every seat's marks for each of the team's boxes, for whoever holds the link."""
    contest, entry, tally = _find(slug, key)
    account = request.viewer.account
    context = {
        "contest": contest,
        "entry": entry,
        "tally": tally,
        "boxes": sheet_of(tally, str(entry.number)),
        "is_member": account is not None and TeamMember.objects.filter(team=entry.team, account=account).exists(),
    }
    return render(request, "reports/sheet.html", context)


@require_http_methods(["GET", "POST"])
@anyone
def claim(request: Request, slug: str, key: uuid.UUID) -> HttpResponse:
    """Whoever holds a team's sheet adds the team to an account: their own, or one made here."""
    contest, entry, _ = _find(slug, key)
    account = request.viewer.account
    form = None if account is not None else CookAccountForm(request.POST or None)
    if request.method == "POST":
        if form is not None and form.is_valid():
            account = form.save()
            login(request, account, backend="django.contrib.auth.backends.ModelBackend")
        if account is not None:
            claim_team(team=entry.team, account=account)
            messages.success(request, f"{entry.team} is among your teams now.")
            return redirect("reports:team", entry.team.uid)
    context = {"contest": contest, "entry": entry, "form": form}
    return render(request, "reports/claim.html", context, status=422 if form is not None and form.errors else 200)


@require_GET
@signed_in
def teams(request: Request) -> HttpResponse:
    """The account's teams."""
    found = Team.objects.filter(members__account=request.viewer.account)
    return render(request, "reports/teams.html", {"teams": list_page(request, found, "My teams", fields=("name",))})


@require_GET
@for_team
def team(request: Request, team: Team) -> HttpResponse:
    """All published sheets of one team."""
    entries = list_page(request, past_entries(team), "Past contests", fields=("contest__name", "contest__date"))
    context = {"team": team, "past": past_contests(entries.rows), "list": entries}
    return render(request, "reports/team.html", context)
