"""Writing to the append-only log, and reading its chains back."""

import hashlib
import json
from collections.abc import Mapping
from typing import Any

from django.db import connection, transaction
from django.utils import timezone

from contest.models import Contest, LogChain, LogPerson, LogRow


def row_hash(*, number: int, at: str, what: str, facts: str, previous: str) -> str:
    """SHA-256 over the row's fields, one a line, UTF-8: recomputable with any tool from the published log."""
    return hashlib.sha256("\n".join([str(number), at, what, facts, previous]).encode()).hexdigest()


# Plain SQL: everything that is written passes here, while all other writers of the chain wait.
_HEAD = "SELECT id, length, head FROM contest_logchain WHERE contest_id = %s AND name = %s"
_GROW = "UPDATE contest_logchain SET length = %s, head = %s WHERE id = %s"


def _locked_head(contest: Contest, chain: str) -> tuple[int, int, str]:
    """Id, length and head of the chain, whose row orders the writers; the chain is made at its first row."""
    locked = f"{_HEAD} FOR UPDATE" if connection.features.has_select_for_update else _HEAD
    with connection.cursor() as cursor:
        cursor.execute(locked, [contest.pk, chain])
        head = cursor.fetchone()
        if head is None:
            LogChain.objects.get_or_create(contest=contest, name=chain)
            cursor.execute(locked, [contest.pk, chain])
            head = cursor.fetchone()
    return head


# No savepoint of its own: a row that cannot be written takes with it what it was to tell of.
@transaction.atomic(savepoint=False)
def write_log(
    *,
    contest: Contest,
    chain: str,
    what: str,
    facts: Mapping[str, Any],
    by: str = "",
    address: str = "",
) -> LogRow:
    """Append one row to a chain ("day" or "cards"); the chain's row is locked until the transaction ends.

    `facts` is JSON-able. Facts of the cards chain never name a team; no chain names a person.
    """
    chain_id, length, previous = _locked_head(contest, chain)
    at = timezone.now().strftime("%Y-%m-%dT%H:%M:%S.%f")[:-3] + "Z"
    text = json.dumps(facts, sort_keys=True, ensure_ascii=False, separators=(",", ":"), default=str)
    number = length + 1
    row = LogRow.objects.create(
        chain_id=chain_id,
        number=number,
        at=at,
        what=what,
        facts=text,
        previous=previous,
        hash=row_hash(number=number, at=at, what=what, facts=text, previous=previous),
    )
    if by or address:
        LogPerson.objects.create(row=row, name=by[:120], address=address[:64])
    with connection.cursor() as cursor:
        cursor.execute(_GROW, [number, row.hash, chain_id])
    return row
