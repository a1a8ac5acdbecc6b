"""Backups that this contest asked for, and one more. The files are never handed out: they hold everything."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from contest.access import Request, for_parts
from contest.models import Contest
from reports.backup.make import KEPT
from reports.backup.tasks import ask, asked_for


@require_http_methods(["GET", "POST"])
@for_parts("organiser")
def backups(request: Request, contest: Contest) -> HttpResponse:
    if request.method == "POST":
        ask(contest, "by hand")
        messages.success(request, "The backup is being made. It stands below.")
        return redirect("reports:backups", contest.slug)
    context = {"contest": contest, "asked": asked_for(contest), "kept": KEPT}
    return render(request, "reports/backups.html", context)
