"""The tally: standings by box number, what still waits, locking, closing, signing off, revising."""

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_GET, require_POST

from contest import day
from contest.access import Request, for_parts
from contest.models import Contest
from contest.refusals import Refused
from judging.forms.tally import CloseForm, ReviseForm, UnlockForm
from judging.models import Tally
from judging.selectors import tally as tallies
from judging.selectors.doubtful import doubtful
from judging.services.tally import close_tally, lock_marks, newest_tally, revise, sign_off, unlock_marks

PARTS = ("organiser", "tally", "head_judge")
KEYERS = frozenset({"organiser", "tally"})  # who may open a score sheet


@require_GET
@for_parts(*PARTS)
def tally(request: Request, contest: Contest) -> HttpResponse:
    return _page(request, contest)


@require_GET
@for_parts(*PARTS)
def working(request: Request, contest: Contest, number: str) -> HttpResponse:
    """How one box came to its place: a page, or the inside of a fold-out."""
    newest = None if contest.is_sealed else newest_tally(contest)
    found = tallies.frozen_working(newest, number) if newest else tallies.provisional_working(contest, number)
    if found is None:
        raise Http404("No such box.")
    category, lines = found
    template = "judging/_working.html" if request.htmx else "judging/working.html"
    return render(request, template, {"contest": contest, "number": number, "category": category, "lines": lines})


@require_GET
@for_parts(*PARTS)
def doubts(request: Request, contest: Contest) -> HttpResponse:
    """One list of the marks that look like slips: a page, or the part of the tally that loads by itself."""
    found = doubtful(contest) if contest.is_drawn else []
    context = {
        "contest": contest,
        "slips": [doubt for doubt in found if doubt.kind != "equal"],
        "even": [doubt for doubt in found if doubt.kind == "equal"],
        "may_open": bool(request.viewer.parts(contest) & KEYERS),
    }
    return render(request, "judging/_doubts.html" if request.htmx else "judging/doubts.html", context)


@require_POST
@for_parts(*PARTS)
def lock(request: Request, contest: Contest) -> HttpResponse:
    by = request.viewer.name
    return _do(request, contest, lambda: lock_marks(contest=contest, by=by), "The marks are locked.")


@require_POST
@for_parts("organiser", "head_judge")
def unlock(request: Request, contest: Contest) -> HttpResponse:
    form = UnlockForm(request.POST)
    if not form.is_valid():
        return _page(request, contest, status=422, unlock=form)
    reason, by = form.cleaned_data["reason"], request.viewer.name
    return _do(
        request,
        contest,
        lambda: unlock_marks(contest=contest, reason=reason, by=by),
        "The marks are unlocked.",
        unlock=form,
    )


@require_POST
@for_parts(*PARTS)
def close(request: Request, contest: Contest) -> HttpResponse:
    """Close the tally; in a small contest whoever is head judge signs it in the same breath."""
    form = CloseForm(request.POST)
    if not form.is_valid():
        return _page(request, contest, status=422, close=form)
    viewer = request.viewer

    def act() -> None:
        made = close_tally(contest=contest, by=viewer.name)
        if _signs_at_once(contest, viewer.parts(contest)):
            sign_off(tally=made, by=viewer.name)

    return _do(request, contest, act, "The tally is closed.", close=form)


@require_POST
@for_parts("head_judge")
def sign(request: Request, contest: Contest, revision: int) -> HttpResponse:
    found = Tally.objects.filter(contest=contest, revision=revision).first()
    if found is None:
        raise Http404("No such tally.")
    by = request.viewer.name
    return _do(request, contest, lambda: sign_off(tally=found, by=by), "The tally is signed off.")


@require_POST
@for_parts("organiser", "head_judge")
def revise_tally(request: Request, contest: Contest) -> HttpResponse:
    form = ReviseForm(request.POST)
    if not form.is_valid():
        return _page(request, contest, status=422, revise=form)
    reason, viewer = form.cleaned_data["reason"], request.viewer

    def act() -> None:
        made = revise(contest=contest, reason=reason, by=viewer.name)
        if _signs_at_once(contest, viewer.parts(contest)):
            sign_off(tally=made, by=viewer.name)

    return _do(request, contest, act, "The result is revised.", revise=form)


def _signs_at_once(contest: Contest, parts: frozenset[str]) -> bool:
    return contest.small and "head_judge" in parts


def _do(request: Request, contest: Contest, act: Callable[[], Any], done: str, **forms: Any) -> HttpResponse:
    """Run a service; what it refuses is said on the page, with everything that was typed."""
    try:
        act()
    except Refused as refused:
        contest.refresh_from_db()
        return _page(request, contest, status=422, refused=refused, **forms)
    messages.success(request, done)
    return redirect("judging:tally", contest.slug)


def _page(
    request: Request,
    contest: Contest,
    *,
    status: int = 200,
    refused: Refused | None = None,
    **forms: Any,
) -> HttpResponse:
    parts = request.viewer.parts(contest)
    if status == 422 and refused is None:  # also where the form is no longer shown, since somebody else was faster
        errors = [text for form in forms.values() for texts in form.errors.values() for text in texts]
        refused = Refused(f"Nothing was changed. {' '.join(dict.fromkeys(errors))}")
    newest = None if contest.is_sealed else newest_tally(contest)
    todos = [_openable(todo, parts) for todo in day.in_the_way("closing", contest)] if contest.is_drawn else []
    context = {
        "contest": contest,
        "parts": parts,
        "tally": newest,
        "todos": todos,
        "notices": day.notices(contest) if "organiser" in parts and newest else [],
        "refused": refused,
        "locked": contest.marks_locked_at is not None,
        # Only the desk is still due: the moment to lock the marks and key the turn-ins on the same laptop.
        "only_desk_due": bool(todos) and all(todo.part == "desk" for todo in todos),
        "signs_at_once": _signs_at_once(contest, parts),
        "standings": _standings(contest, newest),
        "cards_head": tallies.cards_head(contest),
        "close_form": forms.get("close") or CloseForm(),
        "unlock_form": forms.get("unlock") or UnlockForm(),
        "revise_form": forms.get("revise") or ReviseForm(),
    }
    return render(request, "judging/tally.html", context, status=status)


def _openable(todo: day.Todo, parts: frozenset[str]) -> day.Todo:
    """Without its link where the page behind it is closed to the viewer."""
    openers = {"head_judge": {"head_judge"}, "desk": {"organiser"}, "organiser": {"organiser"}}
    return todo if parts & openers.get(todo.part, KEYERS) else replace(todo, url="")


def _standings(contest: Contest, newest: Tally | None) -> list[tallies.Standings]:
    if newest is not None:
        return tallies.frozen(newest)
    return tallies.provisional(contest) if contest.is_drawn else []
