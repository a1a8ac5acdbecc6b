"""Setting a practice up: contest, seats, plates and their numbers in one go, ready to be served."""

import secrets
import uuid
from collections.abc import Sequence
from datetime import date as Date
from zoneinfo import ZoneInfo

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone

from contest.models import Box, Category, Contest, Draw, Pass, RuleSet, Seat, Table, Team
from contest.rules.draw.commitment import commitment, public_text, secret_text, seed_of, sha256
from contest.selectors.people import fold
from contest.services.log import write_log
from contest.services.passes import issue_pass
from reports.cook.past import category_key
from reports.models import CookDay, CookLog, Plate, Practice, Taster, Version
from reports.rules.sensory import tasting
from reports.rules.sensory.tasting import TastingError, TastingRequest


@transaction.atomic
def set_up(
    *,
    team: Team,
    dish: str,
    question: str,
    versions: Sequence[str],
    tasters: Sequence[str],
    rule_set: RuleSet,
    time_zone: str,
    by: str,
    rounds: int = 1,
    uid: uuid.UUID | None = None,
) -> Practice:
    """A practice of `team`, its plates drawn and sealed. `uid` is the form's: one that arrives twice makes one.

    Nobody gets a part in its contest: the cook works from the team's pages, tasters with the pass of their seat.
    Raises ValidationError by field, and then nothing is left behind.
    """
    request = _checked(question, versions, tasters, rounds)
    now = timezone.now()
    contest = Contest(
        uid=uid or uuid.uuid4(),
        slug=f"practice-{secrets.token_hex(6)}",  # tells nothing and is not guessed
        name=f"{dish}, blind tasting",
        date=now.astimezone(ZoneInfo(time_zone)).date(),
        time_zone=time_zone,
        kind=Contest.Kind.PRACTICE,
        state=Contest.State.SEALED,
        rule_set=rule_set,
        frozen_rules=rule_set.document,
    )
    contest.full_clean()
    contest.save()
    practice = Practice(contest=contest, team=team, question=question, dish=dish)
    practice.full_clean()
    practice.save()
    named = Version.objects.bulk_create(
        Version(practice=practice, order=order, name=name) for order, name in enumerate(versions, 1)
    )
    for number, name in enumerate(tasters, 1):
        seat = Seat.objects.create(table=Table.objects.create(contest=contest, number=number), letter="A")
        Taster.objects.create(practice=practice, seat=seat, name=name)
        issue_pass(opens=Pass.Opens.SEAT, contest=contest, seat=seat)
    for number in range(1, rounds + 1):
        Category.objects.create(
            contest=contest,
            key=tasting.round_key(number),
            name=dish if rounds == 1 else f"{dish}, round {number}",
            order=number,
            turn_in_at=now,
            frozen_rules=rule_set.document,
        )
    _draw(practice, request, named, by)
    _begin_log(practice)
    return practice


def _checked(question: str, versions: Sequence[str], tasters: Sequence[str], rounds: int) -> TastingRequest:
    for field, names in (("versions", versions), ("tasters", tasters)):
        if len({fold(name) for name in names}) < len(names):
            raise ValidationError({field: "Two of these are called the same. Tell them apart."})
    request = TastingRequest(question, len(versions), len(tasters), rounds)
    try:
        request.check()
    except TastingError as error:
        field = "rounds" if "round" in str(error) else "tasters" if "tasters" in str(error) else "versions"
        raise ValidationError({field: str(error)}) from None
    return request


def _draw(practice: Practice, request: TastingRequest, versions: Sequence[Version], by: str) -> None:
    """Draw the plates from a secret that is shown to nobody before closing; its sum and the plan's stand at once."""
    contest = practice.contest
    secret = secret_text(secrets.token_bytes(32))
    d1 = commitment(secret)
    public = public_text(d1)
    seed = seed_of(secret, public)
    plates = tasting.plan(request, seed)
    text = tasting.plan_text(request, seed, plates, [version.name for version in versions])
    draw = Draw.objects.create(
        contest=contest,
        secret_text=secret,
        commitment=d1,
        public_text=public,
        seed=seed,
        draw_text=text,
        fingerprint=sha256(text),
    )
    categories = {category.key: category for category in contest.categories.all()}
    tables = {table.number: table for table in contest.tables.all()}
    ordered = sorted(plates, key=lambda plate: plate.number)  # the ids follow the random numbers: they tell nothing
    boxes = Box.objects.bulk_create(
        Box(
            contest=contest,
            draw=draw,
            category=categories[tasting.round_key(plate.round)],
            number=plate.number,
            table=tables[plate.taster],
            position=plate.position,
        )
        for plate in ordered
    )
    Plate.objects.bulk_create(
        Plate(box=box, version=versions[plate.version - 1]) for box, plate in zip(boxes, ordered, strict=True)
    )
    facts = {
        "question": request.question,
        "commitment": d1,
        "fingerprint": draw.fingerprint,
        "plates": len(plates),
        "tasters": request.tasters,
        "rules": sha256(contest.frozen_rules),
    }
    write_log(contest=contest, chain="day", what="plates drawn", facts=facts, by=by)


def _begin_log(practice: Practice) -> None:
    """A day in the team's cook log, so that what was done differently is noted where every other cook is."""
    contest = practice.contest
    day = CookDay.objects.create(
        team=practice.team,
        contest=contest,
        name=contest.name,
        date=contest.date,
        time_zone=contest.time_zone,
    )
    CookLog.objects.create(day=day, key=category_key(practice.dish), name=practice.dish, turn_in_at=timezone.now())


def today(time_zone: str) -> Date:
    return timezone.now().astimezone(ZoneInfo(time_zone)).date()
