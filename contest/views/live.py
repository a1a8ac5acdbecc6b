"""The contest's own page: the day in order, the next thing to do, only what is missing; it keeps itself fresh."""

import hashlib
from dataclasses import replace
from typing import Any

from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_GET

from contest import day as days
from contest.access import Request, for_parts
from contest.models import Contest
from contest.navigation import may_open
from contest.selectors.live import version

PARTS = ("organiser", "head_judge", "tally", "announcer")


@require_GET
@for_parts(*PARTS)
def day(request: Request, contest: Contest) -> HttpResponse:
    """The whole page; the part of it that changes asks for news by itself."""
    return render(request, "contest/day.html", _page(request, contest))


@require_GET
@for_parts(*PARTS)
def live(request: Request, contest: Contest) -> HttpResponse:
    """The part that changes; nothing (204) while the page that asks is up to date."""
    seen, shown = request.GET.get("version", ""), request.GET.get("shown", "")
    if seen == version(contest, timezone.now()):
        return HttpResponse(status=204)
    page = _page(request, contest)
    if shown == page["shown"] and contest.state == Contest.State.PREPARING:
        return HttpResponse(status=204)
    return render(request, "contest/_day_live.html", page)


def _page(request: Request, contest: Contest) -> dict[str, Any]:
    # Asked before the day is made: what happens meanwhile is news to the next question.
    now = version(contest, timezone.now())
    line, parts = days.steps(contest), request.viewer.parts(contest)
    for step in line:  # what is somebody else's work is said without a way there
        step.todos = [todo if may_open(todo.url or "/", parts) else replace(todo, url="") for todo in step.todos]
    shown = hashlib.sha256(repr(line).encode()).hexdigest()[:16]
    return {"contest": contest, "line": line, "next": days.next_todo(line), "version": now, "shown": shown}
