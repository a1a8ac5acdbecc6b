"""The organiser's sealed screens of the draw and of the turn-in: numbers and counts, never a team beside a box."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_POST

from contest.access import for_parts
from contest.models import Contest
from contest.qr import address_of_pass, qr_svg
from contest.selectors.boxes import recorded
from contest.selectors.draw import flights, plans, problems, standing_draw
from contest.selectors.windows import next_window
from contest.services.draw import DrawRefused, make_draw
from contest.services.passes import issue_pass, word_of


@require_GET
@for_parts("organiser")
def draw(request: HttpRequest, contest: Contest) -> HttpResponse:
    """Before: what will be drawn and what is missing. After: the numbers at each table."""
    if not contest.is_drawn:
        return render(
            request,
            "contest/draw_before.html",
            {"contest": contest, "plans": plans(contest), "problems": problems(contest)},
        )
    return render(
        request,
        "contest/draw.html",
        {"contest": contest, "draw": standing_draw(contest), "flights": flights(contest)},
    )


@require_POST
@for_parts("organiser")
def draw_make(request: HttpRequest, contest: Contest) -> HttpResponse:
    try:
        make_draw(contest=contest, by=request.viewer.name)
    except DrawRefused as refusal:
        messages.warning(request, str(refusal))
    else:
        messages.success(request, "Drawn and sealed. From now on only the turn-in desk sees whose box is whose.")
    return redirect("contest:draw", slug=contest.slug)


@require_GET
@for_parts("organiser")
def boxes_in(request: HttpRequest, contest: Contest) -> HttpResponse:
    """How many boxes the desk has recorded, and how the desk works here: another device, or paper."""
    counts = recorded(contest)
    word = word_of(issue_pass(opens="desk", contest=contest, by=request.viewer.name))
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
