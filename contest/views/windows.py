"""Delaying the windows that remain, and cancelling a category. For the organiser and the desk."""

from django.contrib import messages
from django.http import HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods

from contest.access import Request, for_parts
from contest.forms.desk import CancelForm, DelayForm
from contest.models import Contest
from contest.refusals import Refused
from contest.selectors.windows import windows as windows_of
from contest.services.windows import as_seen, cancel_category, delay_windows, moved_by, windows_to_move


@require_GET
@for_parts("organiser", "desk")
def windows(request: Request, contest: Contest) -> HttpResponse:
    now = timezone.now()
    return render(
        request,
        "contest/windows.html",
        {
            "contest": contest,
            "now": now,
            "windows": [(window, window.state(now)) for window in windows_of(contest)],
            "cancelled": contest.categories.filter(cancelled_at__isnull=False),
            "form": _delay_form(contest),
        },
    )


def _delay_form(contest: Contest, data: QueryDict | None = None) -> DelayForm:
    """The open window is asked about only while one is open."""
    form = DelayForm(data)
    if not any(window.state(timezone.now()) == "open" for window in windows_of(contest)):
        del form.fields["include_open"]
    return form


@require_http_methods(["GET", "POST"])
@for_parts("organiser", "desk")
def windows_delay(request: Request, contest: Contest) -> HttpResponse:
    """Show each time before and after, then move them."""
    form = _delay_form(contest, request.POST if request.method == "POST" else request.GET)
    moving = []
    if form.is_valid():
        minutes, include_open = form.cleaned_data["minutes"], bool(form.cleaned_data.get("include_open"))
        if request.method == "POST":
            try:
                moved = delay_windows(
                    contest=contest,
                    minutes=minutes,
                    include_open=include_open,
                    seen=request.POST.get("seen"),
                    by=request.viewer.name,
                )
            except Refused as error:
                messages.warning(request, str(error))
            else:
                names = ", ".join(category.name for category in moved)
                messages.success(request, f"Moved by {minutes} minutes: {names}. Tell the cooks.")
            return redirect("contest:windows", slug=contest.slug)
        moving = windows_to_move(contest, include_open=include_open)
    return render(
        request,
        "contest/windows_delay.html",
        {
            "contest": contest,
            "form": form,
            "moves": [(window, moved_by(window, form.cleaned_data["minutes"])) for window in moving],
            "seen": as_seen(moving),
        },
        status=422 if form.errors else 200,
    )


@require_http_methods(["GET", "POST"])
@for_parts("organiser", "desk")
def windows_cancel(request: Request, contest: Contest, key: str) -> HttpResponse:
    category = get_object_or_404(contest.categories, key=key, cancelled_at__isnull=True)
    form = CancelForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            cancel_category(category=category, reason=form.cleaned_data["reason"], by=request.viewer.name)
        except Refused as error:
            messages.warning(request, str(error))
        else:
            messages.success(request, f"{category.name} is cancelled. Tell the cooks and the judges.")
        return redirect("contest:windows", slug=contest.slug)
    return render(
        request,
        "contest/windows_cancel.html",
        {"contest": contest, "category": category, "form": form},
        status=422 if form.errors else 200,
    )
