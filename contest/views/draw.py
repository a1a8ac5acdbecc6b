"""The organiser's sealed screens of the draw and of the turn-in: numbers and counts, never a team beside a box."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from contest.access import Request, for_parts
from contest.forms.draw import RedrawForm, WordsForm
from contest.models import Contest
from contest.present import present
from contest.qr import address_of_pass, qr_svg
from contest.rules.draw.commitment import words_in
from contest.selectors.boxes import recorded
from contest.selectors.draw import (
    against_redraw,
    commitment_before_draw,
    earlier_draws,
    flights,
    plans,
    problems,
    standing_draw,
)
from contest.selectors.windows import next_window
from contest.services.draw import DrawRefused, begin_ceremony, make_draw
from contest.services.passes import issue_pass, word_of
from contest.services.redraw import redraw


@require_GET
@for_parts("organiser")
def draw(request: Request, contest: Contest) -> HttpResponse:
    """Before: what will be drawn and what is missing. After: the numbers at each table."""
    if not contest.is_drawn:
        return _before(request, contest)
    drawn = present(standing_draw(contest))
    return render(
        request,
        "contest/draw.html",
        {
            "contest": contest,
            "draw": drawn,
            "earlier": earlier_draws(contest),
            "flights": flights(contest),
            "may_redraw": not against_redraw(contest),
            "words": words_in(drawn.public_text),
            "check_url": _check_url(request, contest),
        },
    )


def _before(
    request: Request, contest: Contest, form: WordsForm | None = None, refusal: str = "", status: int = 200
) -> HttpResponse:
    commitment = commitment_before_draw(contest)
    return render(
        request,
        "contest/draw_before.html",
        {
            "contest": contest,
            "plans": plans(contest),
            "problems": problems(contest),
            "refusal": refusal,
            "commitment": commitment,
            "check_url": _check_url(request, contest) if commitment else "",
            "form": form or WordsForm(teams=contest.entries.count()),
        },
        status=status,
    )


def _check_url(request: Request, contest: Contest) -> str:
    """The address of the public page of the draw."""
    return request.build_absolute_uri(reverse("reports:draw_check", args=[contest.slug]))


@require_POST
@for_parts("organiser")
def draw_ceremony(request: Request, contest: Contest) -> HttpResponse:
    """Make the secret before anybody speaks and show the commitment to it."""
    try:
        begin_ceremony(contest=contest, by=request.viewer.name)
    except DrawRefused as refusal:
        messages.warning(request, str(refusal))
    return redirect("contest:draw", slug=contest.slug)


@require_POST
@for_parts("organiser")
def draw_make(request: Request, contest: Contest) -> HttpResponse:
    form = WordsForm(request.POST, teams=contest.entries.count())
    if not form.is_valid():
        return _before(request, contest, form, status=422)
    words = form.cleaned_data["words"]
    try:
        make_draw(contest=contest, by=request.viewer.name, words=words)
    except DrawRefused as refusal:
        contest.refresh_from_db()
        if words and not contest.is_drawn:
            return _before(request, contest, form, str(refusal), status=422)
        messages.warning(request, str(refusal))
    else:
        messages.success(request, "Drawn and sealed. From now on only the turn-in desk sees whose box is whose.")
    return redirect("contest:draw", slug=contest.slug)


@require_http_methods(["GET", "POST"])
@for_parts("organiser")
def draw_again(request: Request, contest: Contest) -> HttpResponse:
    """Before the first box: what has changed, and one press that draws everything anew."""
    against = against_redraw(contest)
    form = RedrawForm(request.POST or None, contest=contest)
    if request.method == "POST" and not against and form.is_valid():
        try:
            made = redraw(
                contest=contest, reason=form.cleaned_data["reason"], by=request.viewer.name, changes=form.changes()
            )
        except DrawRefused as refusal:
            form.add_error(None, str(refusal))
        except ValidationError as error:
            _show_refusal(form, error)
        else:
            messages.success(
                request,
                f"Draw {made.number} is made and sealed. Every number is new: print labels and ledger again, and "
                f"destroy those of draw {made.number - 1}.",
            )
            return redirect("contest:draw", slug=contest.slug)
    withdrawn = contest.entries.filter(entered__withdrawn_at__isnull=False).select_related("team").distinct()
    return render(
        request,
        "contest/draw_again.html",
        {
            "contest": contest,
            "against": against,
            "form": form,
            "draw": standing_draw(contest),
            "already_out": withdrawn.order_by("number"),
        },
        status=422 if request.method == "POST" else 200,
    )


def _show_refusal(form: RedrawForm, error: ValidationError) -> None:
    """Beside the field that the refusal is about, or above the form."""
    problems_by_name = getattr(error, "error_dict", {None: error.error_list if hasattr(error, "error_list") else []})
    for name, found in problems_by_name.items():
        field = RedrawForm.SERVICE_FIELDS.get(name, name)
        form.add_error(field if field in form.fields else None, found)


@require_GET
@for_parts("organiser")
def boxes_in(request: Request, contest: Contest) -> HttpResponse:
    """How many boxes the desk has recorded, and how the desk works here: another device, or paper."""
    counts = recorded(contest)
    word = word_of(issue_pass(opens="desk", contest=contest))
    address = address_of_pass(request, word)
    return render(
        request,
        "contest/boxes_in.html",
        {
            "contest": contest,
            "counts": counts,
            "boxes": sum(each.boxes for each in counts),
            "recorded": sum(each.recorded for each in counts),
            "next_window": next_window(contest, timezone.now()),
            "is_desk": "desk" in request.viewer.parts(contest),
            "word": word,
            "address": address.partition("#")[0],
            "this_computer_only": request.get_host().startswith(("localhost", "127.", "[::1]")),
            "qr": qr_svg(address),
        },
    )
