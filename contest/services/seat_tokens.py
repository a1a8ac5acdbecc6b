"""Tokens with which judges' phones send cards: `name.secret`, both in hexadecimal.

The secret is derived from the installation's secret key and the token's random name, so that the page can be shown
again without the token being kept; the row holds the secret's SHA-256 only.
"""

import hashlib
import hmac
import re
import uuid

from django.conf import settings
from django.db import connection

from contest.models import Contest, Pass, Seat, SeatToken, Table
from contest.present import present

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
    """The token with this text, ended or not; of its pass, seat, table and contest it holds what a card needs."""
    found = _TOKEN.fullmatch(text)
    if found is None:
        return None
    token = _load(uuid.UUID(found[1]))
    if token is None or not hmac.compare_digest(token.digest, hashlib.sha256(found[2].encode()).hexdigest()):
        return None
    return token


# Plain SQL: every card that comes in asks this, and composing the query took longer than answering it.
_SQL = """
SELECT token.id, token.digest, pass.id, pass.revoked_at, seat.id, seat.letter, held.id, held.number,
    contest.id, contest.slug, contest.state, contest.phones
FROM contest_seattoken token
JOIN contest_pass pass ON pass.id = token.held_pass_id
JOIN contest_seat seat ON seat.id = pass.seat_id
JOIN contest_table held ON held.id = seat.table_id
JOIN contest_contest contest ON contest.id = pass.contest_id
WHERE token.uid = %s
"""


def _load(uid: uuid.UUID) -> SeatToken | None:
    with connection.cursor() as cursor:
        cursor.execute(_SQL, [SeatToken._meta.get_field("uid").get_db_prep_value(uid, connection)])
        row = cursor.fetchone()
    if row is None:
        return None
    pk, digest, held, revoked, seat, letter, table, number, contest, slug, state, phones = row
    of = Contest(id=contest, slug=slug, state=state, phones=bool(phones))
    place = Seat(id=seat, letter=letter, table=Table(id=table, number=number, contest=of))
    opened = Pass(id=held, opens=Pass.Opens.SEAT, contest=of, seat=place, revoked_at=revoked)
    return SeatToken(id=pk, uid=uid, digest=digest, held_pass=opened)


def why_ended(token: SeatToken) -> str:
    """Why a token sends no cards any more; empty while it does."""
    held = token.held_pass
    if held.revoked_at is not None:
        return "This seat's pass word was replaced. Sign in on this phone with the new one; the card is kept here."
    if not present(held.contest).is_sealed:
        return "The tally is closed: no more cards are taken. Show this card to the clerk."
    return ""
