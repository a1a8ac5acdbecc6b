"""What judges' phones call with their seat's token: hand in a card, ask how the seat stands."""

from django.http import HttpResponse, JsonResponse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET, require_POST

from contest.access import Request
from contest.bearer import for_seat_token
from contest.models import Contest, SeatToken
from contest.present import present
from contest.services.seat_tokens import why_ended
from judging.forms.phone_card import MOST_BYTES, key_of, read_card, read_object
from judging.selectors.seat import seat_label, seat_state
from judging.services.phones import STORED, CardRefused, hand_in_card, stored_before


def _answer(key: str | None, status: int, **said: str) -> HttpResponse:
    return JsonResponse({"key": key, **said}, status=status)


def _refused(key: str | None, refused: CardRefused) -> HttpResponse:
    return _answer(key, refused.status, error=refused.error, reason=str(refused))


def _body(request: Request) -> bytes:
    """The body, never more of it than a card may have."""
    length = request.META.get("CONTENT_LENGTH") or "0"
    if not length.isdigit() or int(length) > MOST_BYTES:
        raise CardRefused("size", "This is too large for a card. Show the card to the clerk.", 413)
    return request.read(MOST_BYTES)


def _without_token(request: Request, status: int, error: str, reason: str) -> HttpResponse:
    """A refusal that names the card, so that the phone shows the reason beside it."""
    try:
        return _answer(key_of(read_object(_body(request))), status, error=error, reason=reason)
    except CardRefused:
        return _answer(None, status, error=error, reason=reason)


@never_cache
@require_POST
@for_seat_token(_without_token)
def hand_in(request: Request, token: SeatToken) -> HttpResponse:
    """One card from a phone. Only an answer that names the card's key and a state says that it is safe."""
    key, seat = None, present(token.held_pass.seat)
    try:
        found = read_object(_body(request))
        key = key_of(found)
        card = read_card(found, seat=seat_label(seat), device=f"phone {token.uid.hex[:8]}")
        ended = why_ended(token)
        if ended:  # what is in is in, whatever became of the pass since
            state = stored_before(seat=seat, key=card.key)
            return _answer(key, 200, state=state) if state else _answer(key, 401, error="token", reason=ended)
        state = hand_in_card(contest=present(token.held_pass.contest), seat=seat, card=card)
    except CardRefused as refused:
        return _refused(key, refused)
    return _answer(key, 201 if state == STORED else 200, state=state)


@never_cache
@require_GET
@for_seat_token()
def seat_news(request: Request, token: SeatToken) -> HttpResponse:
    """How the seat stands: its boxes, what is handed in, whether portions go round. Never a mark."""
    ended = why_ended(token)
    if ended:
        return JsonResponse({"error": "token", "reason": ended}, status=401)
    held = token.held_pass
    contest = Contest.objects.get(pk=present(held.contest_id))
    return JsonResponse(seat_state(contest, present(held.seat)))
