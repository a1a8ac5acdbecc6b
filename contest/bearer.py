"""The access mark of addresses that phones call with a seat's token instead of a cookie.

Cookies count for nothing here, so there is nothing for another site to abuse and no CSRF token to go stale while a
phone is offline.
"""

from collections.abc import Callable
from functools import wraps
from typing import Any

from django.conf import settings
from django.http import JsonResponse
from django.http.response import HttpResponseBase
from django.views.decorators.csrf import csrf_exempt

from contest.access import Access, Request, mark
from contest.models import SeatToken
from contest.services.seat_tokens import find_token, name_of
from contest.services.throttle import is_blocked, note_failure

DOOR = "seat token"
NOT_SIGNED_IN = "This phone is not signed in to a seat. Sign in with the pass word of your slip; the card is kept here."
IN_THE_OPEN = "This address takes cards over HTTPS only: open the page from its https address. The card is kept here."
TOO_MANY = "Too many wrong tries from here. The phone tries again in a few minutes; the card is kept here."

Refuse = Callable[[Request, int, str, str], HttpResponseBase]


def refuse_plainly(request: Request, status: int, error: str, reason: str) -> HttpResponseBase:
    return JsonResponse({"error": error, "reason": reason}, status=status)


def for_seat_token(refuse: Refuse = refuse_plainly) -> Callable[[Callable[..., HttpResponseBase]], Callable[..., Any]]:
    """An address for phones. The view gets the `SeatToken`, ended or not, after the request.

    Without a token that exists, `refuse(request, status, error, reason)` makes the answer: 401, or 429 where the
    same name was tried too often. A token that is right is never refused for wrong ones.
    """

    def decorate(view: Callable[..., HttpResponseBase]) -> Callable[..., HttpResponseBase]:
        @wraps(view)
        def wrapper(request: Request, **kwargs: Any) -> HttpResponseBase:
            if settings.HTTPS and not request.is_secure():
                return refuse(request, 403, "insecure", IN_THE_OPEN)
            token = _token(request)
            if token is not None:
                return view(request, token, **kwargs)
            tried = {"door": DOOR, "name": name_of(_text(request)), "address": request.META.get("REMOTE_ADDR", "")}
            if is_blocked(**tried):
                return refuse(request, 429, "throttled", TOO_MANY)
            note_failure(**tried)
            return refuse(request, 401, "token", NOT_SIGNED_IN)

        return csrf_exempt(mark(wrapper, Access("seat token")))

    return decorate


def _text(request: Request) -> str:
    kind, _, text = request.headers.get("Authorization", "").partition(" ")
    return text.strip() if kind.lower() == "bearer" else ""


def _token(request: Request) -> SeatToken | None:
    return find_token(_text(request))
