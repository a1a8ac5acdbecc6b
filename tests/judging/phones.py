"""A judge's phone as the server meets it: a token, and cards as JSON."""

import json
import secrets
from typing import Any

from django.http import HttpResponse
from django.test import Client

from contest.models import Contest, SeatToken
from contest.services.passes import issue_pass
from contest.services.seat_tokens import issue_token, text_of

CARDS = "/api/cards/"


def new_key() -> str:
    return secrets.token_hex(16)


def make_token(contest: Contest, table: int = 1, seat: str = "A") -> SeatToken:
    found = contest.tables.get(number=table).seats.get(letter=seat)
    return issue_token(held=issue_pass(opens="seat", contest=contest, seat=found))


def marks(appearance: Any = "8", taste: Any = "9", tenderness: Any = "7") -> dict[str, Any]:
    return {"appearance": appearance, "taste": taste, "tenderness": tenderness}


def card(box: str = "201", *, seat: str = "1A", **fields: Any) -> dict[str, Any]:
    return {"key": new_key(), "number": 1, "seat": seat, "box": box, "marks": marks(), **fields}


class Phone:
    """Sends what it is given with its token, as is or as JSON."""

    def __init__(self, contest: Contest, table: int = 1, seat: str = "A") -> None:
        self.token = make_token(contest, table, seat)
        self.text = text_of(self.token)
        self.client = Client(enforce_csrf_checks=True)

    def send(self, body: Any, **headers: str) -> HttpResponse:
        data = body if isinstance(body, bytes) else json.dumps(body).encode()
        sent = {"authorization": f"Bearer {self.text}", **headers}
        return self.client.post(CARDS, data, content_type="application/json", headers=sent)
