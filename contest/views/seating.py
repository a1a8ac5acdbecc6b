"""Who judges where: at random with experience spread, and by hand."""

from collections.abc import Callable

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_GET, require_POST

from contest.access import Request, for_parts
from contest.forms.people import show_refusal
from contest.forms.seating import ExchangeForm, SeatForm
from contest.models import Contest
from contest.selectors import seating as selectors
from contest.services import seating as services


@require_GET
@for_parts("organiser", "head_judge", "tally")
def seating(request: Request, contest: Contest) -> HttpResponse:
    """One card a table. The organiser changes seats here, the others read."""
    view = selectors.seating(contest)
    chosen = {"seat": request.GET.get("seat", ""), "one": request.GET.get("seat", "")}
    return _page(
        request, contest, view, SeatForm(seating=view, initial=chosen), ExchangeForm(seating=view, initial=chosen)
    )


def _page(
    request: Request,
    contest: Contest,
    view: selectors.Seating,
    seat_form: SeatForm,
    exchange_form: ExchangeForm,
) -> HttpResponse:
    context = {
        "contest": contest,
        "seating": view,
        "may_change": "organiser" in request.viewer.parts(contest) and contest.is_sealed,
        "against_random": services.against_seating_at_random(contest),
        "seed": selectors.last_seed(contest),
        "seat_form": seat_form,
        "exchange_form": exchange_form,
    }
    return render(
        request, "contest/seating.html", context, status=422 if seat_form.errors or exchange_form.errors else 200
    )


@require_POST
@for_parts("organiser")
def seat_at_random(request: Request, contest: Contest) -> HttpResponse:
    try:
        seed = services.seat_at_random(contest=contest, by=request.viewer.name)
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    else:
        messages.success(request, f"The judges are seated. Seed {seed}; it stands in the log.")
    return redirect("contest:seating", contest.slug)


@require_POST
@for_parts("organiser")
def change_seat(request: Request, contest: Contest) -> HttpResponse:
    """Another judge at a seat, one without a name, or nobody."""
    view = selectors.seating(contest)
    form = SeatForm(request.POST, seating=view)

    def change() -> None:
        given = form.cleaned_data
        common = {
            "contest": contest,
            "seat": given["seat"],
            "from_category": given["from_category"],
            "by": request.viewer.name,
            "reason": given["reason"],
        }
        if given["judge"] == SeatForm.VACANT:
            services.vacate(**common)
        else:
            services.replace_judge(judge=form.chosen, **common)

    if form.is_valid() and _done(form, change):
        messages.success(request, "The seat is changed.")
        return redirect("contest:seating", contest.slug)
    return _page(request, contest, view, form, ExchangeForm(seating=view))


@require_POST
@for_parts("organiser")
def exchange_seats(request: Request, contest: Contest) -> HttpResponse:
    """Two seats exchange their judges."""
    view = selectors.seating(contest)
    form = ExchangeForm(request.POST, seating=view)

    def change() -> None:
        services.swap(contest=contest, by=request.viewer.name, **form.cleaned_data)

    if form.is_valid() and _done(form, change):
        messages.success(request, "The seats are exchanged.")
        return redirect("contest:seating", contest.slug)
    return _page(request, contest, view, SeatForm(seating=view), form)


def _done(form: SeatForm | ExchangeForm, change: Callable[[], None]) -> bool:
    try:
        change()
    except ValidationError as error:
        show_refusal(form, error)
        return False
    return True
