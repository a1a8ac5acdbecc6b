"""The judge's page: worked by its script on a phone, or as plain forms, one box at a time, without it."""

from pathlib import Path

from django.contrib.staticfiles import finders
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET, require_http_methods

from contest.access import Request, anyone, for_parts
from contest.models import Contest, SeatToken
from contest.present import present
from contest.services.seat_tokens import issue_token, text_of
from judging.forms.phone_card import PlainCardForm
from judging.selectors.seat import seat_label, seat_state
from judging.services.phones import CardRefused, hand_in_card

TOKEN_KEY = "seat_token_id"  # noqa: S105  (the session key that holds the token's row)


@require_GET
@anyone
def worker(request: Request, slug: str) -> HttpResponse:
    """The service worker's script, at an address under which a browser lets it serve the seat's page."""
    path = finders.find("judging/seat-worker.js")
    script = Path(present(path)).read_bytes()
    return HttpResponse(script, content_type="text/javascript", headers={"Cache-Control": "no-cache"})


@never_cache
@require_http_methods(["GET", "POST"])
@for_parts("judge")
def seat(request: Request, contest: Contest) -> HttpResponse:
    """The boxes of one seat. Nothing of other seats, no team, no average."""
    if not contest.phones and contest.kind == Contest.Kind.PRACTICE:
        return redirect("contest:home")  # a taster has no card to fill in: the plates stand elsewhere
    if not contest.phones:
        return render(request, "judging/seat_on_paper.html", {"contest": contest})
    place = request.viewer.judge_seat
    form = PlainCardForm.find(contest, place, request.POST.get("box") or request.GET.get("box", ""), request.POST)
    refused = ""
    if request.method == "POST" and form is not None:
        try:
            hand_in_card(contest=contest, seat=place, card=form.card())
        except CardRefused as error:
            refused = str(error)
        else:
            return redirect(f"{reverse('judging:seat', args=[contest.slug])}?in={form.number}")
    page = {
        "contest": contest,
        "state": seat_state(contest, place),
        "seat": seat_label(place),
        "token": text_of(_token(request)),
        "form": form,
        "refused": refused,
        "came_in": request.GET.get("in", ""),
    }
    return render(request, "judging/seat.html", page, status=422 if refused else 200)


def _token(request: Request) -> SeatToken:
    """The token of this sign-in: issued once, however often the page is loaded."""
    held = present(request.viewer.held_pass)
    key = request.session.get(TOKEN_KEY)
    token = None if key is None else SeatToken.objects.filter(pk=key, held_pass=held).first()
    if token is None:
        token = issue_token(held=held)
        request.session[TOKEN_KEY] = token.pk
    return token
