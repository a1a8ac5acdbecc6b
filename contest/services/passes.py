"""Passes: pass words on sign-in slips and table tents.

A word is derived from the installation's secret key and the pass's uid, so it can be printed again and is not
stored. The row keeps a digest to be found by, keyed by the same secret key: from a copy of the database alone no word
can be tried out. A word carries 60 bits.
"""

import hashlib
import hmac
from datetime import timedelta

from django.conf import settings
from django.contrib.auth import login
from django.db import transaction
from django.http import HttpRequest
from django.utils import timezone

from contest.access import PASS_KEY
from contest.models import Account, Contest, Pass, Seat, Table
from contest.present import present
from contest.services.log import write_log

# No letters or digits that are mistaken for another when read from paper: 32 signs, 5 bits each.
ALPHABET = "23456789abcdefghijkmnpqrstuvwxyz"
WORD_LENGTH = 12
LONGEST_DAYS = 3  # a contest is over then, and phones are in other hands


def word_of(held: Pass) -> str:
    """The pass word, in groups of four: `k7pm-3xwa-9hqt`."""
    digest = hmac.new(settings.SECRET_KEY.encode(), f"pass {held.uid}".encode(), hashlib.sha256).digest()
    signs = "".join(ALPHABET[byte % 32] for byte in digest[:WORD_LENGTH])
    return "-".join(signs[start : start + 4] for start in range(0, WORD_LENGTH, 4))


def digest_of(word: str) -> str:
    """What the row is found by: spaces, hyphens and capitals do not matter."""
    return hmac.new(settings.SECRET_KEY.encode(), f"digest of {_plain(word)}".encode(), hashlib.sha256).hexdigest()


def _plain(word: str) -> str:
    return "".join(sign for sign in word.lower() if sign.isalnum())


def first_signs(word: str) -> str:
    """The first group of a word, by which wrong tries are counted: a third of it, so that it opens nothing."""
    return _plain(word)[:4]


def find_pass(word: str) -> Pass | None:
    return (
        Pass.objects.filter(digest=digest_of(word), revoked_at__isnull=True)
        .select_related("account", "contest", "table", "seat__table")
        .first()
    )


@transaction.atomic
def issue_pass(
    *,
    opens: str,
    contest: Contest | None = None,
    account: Account | None = None,
    table: Table | None = None,
    seat: Seat | None = None,
) -> Pass:
    """The standing pass for a door, made if there is none yet."""
    door = {"opens": opens, "contest": contest, "account": account, "table": table, "seat": seat}
    standing = Pass.objects.filter(**door, revoked_at__isnull=True).first()
    if standing:
        return standing
    made = Pass(**door)
    made.digest = digest_of(word_of(made))
    made.full_clean()
    made.save()
    return made


@transaction.atomic
def reissue_pass(*, held: Pass, by: str) -> Pass:
    """Revoke a pass and make another for the same door; after the draw this is logged and printed."""
    Pass.objects.filter(pk=held.pk).update(revoked_at=timezone.now())
    made = issue_pass(opens=held.opens, contest=held.contest, account=held.account, table=held.table, seat=held.seat)
    if held.contest and held.contest.is_drawn:
        write_log(
            contest=held.contest,
            chain="day",
            what="pass reissued",
            facts={"opens": held.opens, "table": held.table and held.table.number},
            by=by,
        )
    return made


def open_session(request: HttpRequest, held: Pass) -> None:
    """Start a session of its own for a pass: whoever was signed in on this device before is signed out."""
    request.session.flush()
    if held.opens == Pass.Opens.ACCOUNT:
        login(request, held.account, backend="django.contrib.auth.backends.ModelBackend")
        return
    request.session.set_expiry(timedelta(days=LONGEST_DAYS))
    request.session[PASS_KEY] = held.pk
    if held.opens == Pass.Opens.DESK:
        write_log(
            contest=present(held.contest),
            chain="day",
            what="desk signed in",
            facts={},
            by="turn-in desk",
            address=request.META.get("REMOTE_ADDR", ""),
        )
