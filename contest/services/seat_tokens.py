"""Tokens with which judges' phones send cards: `name.secret`, both in hexadecimal.

The secret is derived from the installation's secret key and the token's random name, so that the page can be shown
again without the token being kept; the row holds the secret's SHA-256 only.
"""

import hashlib
import hmac
import re

from django.conf import settings

from contest.models import Pass, SeatToken

_TOKEN = re.compile(r"([0-9a-f]{32})\.([0-9a-f]{64})")


def _secret(token: SeatToken) -> str:
    return hmac.new(settings.SECRET_KEY.encode(), f"seat token {token.uid}".encode(), hashlib.sha256).hexdigest()


def text_of(token: SeatToken) -> str:
    return f"{token.uid.hex}.{_secret(token)}"


def issue_token(*, held: Pass) -> SeatToken:
    """A new token for the pass of a seat; those issued before stay good, since cards may wait under them."""
    token = SeatToken(held_pass=held)
    token.digest = hashlib.sha256(_secret(token).encode()).hexdigest()
    token.save()
    return token


def name_of(text: str) -> str:
    """The part of a token's text that names it, whether or not there is such a token."""
    return text.partition(".")[0][:64]


def find_token(text: str) -> SeatToken | None:
    """The token with this text, ended or not, with its pass, seat, table and contest."""
    found = _TOKEN.fullmatch(text)
    if found is None:
        return None
    token = (
        SeatToken.objects.filter(uid=found[1])
        .select_related("held_pass__seat__table", "held_pass__contest")
        .defer("held_pass__contest__frozen_rules")
        .first()
    )
    if token is None or not hmac.compare_digest(token.digest, hashlib.sha256(found[2].encode()).hexdigest()):
        return None
    return token


def why_ended(token: SeatToken) -> str:
    """Why a token sends no cards any more; empty while it does."""
    held = token.held_pass
    if held.revoked_at is not None:
        return "This seat's pass word was replaced. Sign in on this phone with the new one; the card is kept here."
    if not held.contest.is_sealed:
        return "The tally is closed: no more cards are taken. Show this card to the clerk."
    return ""
