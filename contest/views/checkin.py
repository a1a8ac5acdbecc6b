"""Check-in and meat inspection, made for a tablet at the gate."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_POST
from django_htmx.http import reselect, retarget

from contest.access import Request, for_parts
from contest.forms.people import CheckInForm
from contest.models import Contest
from contest.selectors import people as selectors
from contest.services import people as services

SHOWN = {
    "all": ("All", lambda entry: True),
    "to-come": ("Not arrived", lambda entry: entry.arrived_at is None),
    "to-inspect": ("Meat not in order yet", lambda entry: not entry.meat_in_order),
    "problem": ("With a problem", lambda entry: bool(entry.problem)),
}


@require_GET
@for_parts("organiser", "desk")
def check_in(request: Request, contest: Contest) -> HttpResponse:
    """The teams by number, all or those that still miss something."""
    entries = list(selectors.entries(contest))
    chosen = request.GET.get("show", "all")
    chosen = chosen if chosen in SHOWN else "all"
    context = {
        "contest": contest,
        "filters": [(key, name, sum(1 for entry in entries if wanted(entry))) for key, (name, wanted) in SHOWN.items()],
        "chosen": chosen,
        "forms": [CheckInForm(entry=entry) for entry in entries if SHOWN[chosen][1](entry)],
        "teams": len(entries),
    }
    return render(request, "contest/check_in.html", context)


@require_POST
@for_parts("organiser", "desk")
def check_in_team(request: Request, contest: Contest, number: int) -> HttpResponse:
    """Write what was changed for one team.

    With htmx only what is shown of the team comes back: what somebody types meanwhile stays, and the next change is
    seen against what this tablet has sent, so that it does not undo another's.
    """
    entry = get_object_or_404(selectors.entries(contest), number=number)
    form = CheckInForm(request.POST, entry=entry)
    whole = "in_order" in request.POST or not form.is_valid()
    if form.is_valid():
        changes = form.changes()
        if "in_order" in request.POST:
            changes |= {"arrived": True, "raw": True, "unseasoned": True, "cold": True}
        if "arrived" in changes:
            services.check_in(entry=entry, by=request.viewer.name, arrived=changes.pop("arrived"))
        if changes:
            services.inspect_meat(entry=entry, by=request.viewer.name, **changes)
        if whole:
            form = CheckInForm(entry=entry)
    if request.htmx:
        answer = render(request, "contest/_check_in_team.html", {"contest": contest, "form": form, "moved": True})
        shown = f"#team-{number} .shown"
        return answer if whole else reselect(retarget(answer, shown), ".shown")
    if form.errors:
        messages.error(request, f"Team {number} was not saved: the problem’s text is longer than 300 characters.")
    show = request.POST.get("show", "")
    query = f"?show={show}" if show in SHOWN else ""
    return redirect(f"{reverse('contest:check_in', args=[contest.slug])}{query}#team-{number}")
