"""A contest day in which the process dies at every single step of everything that is written.

    python -m tests.load.power_cut          # on FAIRBOX_DATA, and DATABASE_URL where it is set; both must be empty

Every act of the day runs again and again in a child process that ends by `os._exit` before its first writing statement,
then before its second, and so on to the last, and after its commit. After every death the database is held against what
must be true of it and against what was there before: nothing of the act may be in it before its commit, and all of it
after. Then the act runs once undisturbed and the day goes on. On SQLite a backup and a restore are broken off in the
same way at each of their steps on the disk. Prints one JSON object a line for each act.

A process that dies is not a disk that loses its power: that what was committed is on the disk is the database's
promise, which SQLite keeps with `synchronous = FULL`; tests/site/test_settings.py looks that it is on.

With `--planted` it runs one act that writes twice without a transaction, and must fail.
"""

import hashlib
import json
import os
import re
import shutil
import sys
from collections import Counter
from collections.abc import Callable, Iterator
from decimal import Decimal
from pathlib import Path

import django

KILLED = 9
WRITES = re.compile(r"^\s*(INSERT (?:OR IGNORE )?INTO|UPDATE|DELETE FROM)\s+\"?(\w+)")

Act = Callable[[], object]


class Steps:
    """Names every step as it comes, and ends the process before step number `last` (from 1; 0 for never)."""

    def __init__(self, last: int, told: int) -> None:
        self.last, self.told, self.count = last, told, 0

    def step(self, name: str) -> None:
        self.count += 1
        os.write(self.told, f"{name}\n".encode())
        if self.count == self.last:
            os._exit(KILLED)

    def on_database(self) -> None:
        from django.db import connection

        def statement(execute, sql, params, many, context):
            found = WRITES.match(sql)
            if found:
                self.step(f"{found[1].split()[0]} {found[2]}")
            return execute(sql, params, many, context)

        connection.ensure_connection()
        connection.execute_wrappers.append(statement)
        commit = connection.commit

        def committing():
            self.step("commit")
            commit()
            self.step("committed")

        connection.commit = committing

    def on_disk(self) -> None:
        for name in ("fsync", "replace", "link", "unlink", "mkdir", "chmod"):
            self._before(os, name)
        self._before(shutil, "copyfileobj")

    def _before(self, module: object, name: str) -> None:
        honest = getattr(module, name)

        def stepped(*arguments, **options):
            self.step(name)
            return honest(*arguments, **options)

        setattr(module, name, stepped)


def die_at(last: int, act: Act, *, disk: bool = False) -> tuple[bool, list[str]]:
    """Whether the act came to its end in a child that dies before step `last`, and the steps that it came to."""
    from django.db import connections

    connections.close_all()
    here, there = os.pipe()
    child = os.fork()
    if child == 0:
        code = 1
        try:
            steps = Steps(last, there)
            steps.on_disk() if disk else steps.on_database()
            act()
            connections.close_all()
            code = 0
        finally:
            os._exit(code)
    os.close(there)
    with os.fdopen(here) as said:
        names = said.read().split("\n")[:-1]
    code = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
    assert code in (0, KILLED), f"the act failed with {code} after {names}"
    return code == 0, names


def rows_of(table: str) -> list[tuple]:
    from django.db import connection

    with connection.cursor() as cursor:
        cursor.execute(f'SELECT * FROM "{table}" ORDER BY 1')
        return cursor.fetchall()


def fingerprint() -> str:
    """Of every row of every table of the project and of the worker's tasks."""
    from django.apps import apps

    apps_told = ("contest", "judging", "reports", "django_tasks_database")
    models = [model for app in apps_told if app in apps.app_configs for model in apps.get_app_config(app).get_models()]
    text = repr([(model._meta.db_table, rows_of(model._meta.db_table)) for model in models])
    return hashlib.sha256(text.encode()).hexdigest()


def faults() -> Iterator[str]:
    """What is wrong in the database, whatever was going on when the process died."""
    from django.db import connection
    from django.db.models import Count, Q

    from contest.models import Box, Contest, Draw, LogChain, LogRow, TurnIn
    from contest.selectors.rules import category_rules
    from judging.models import Card, Reading, Tally
    from reports.models import Publication
    from reports.rules.package.archive import package_sum, unpack
    from tests.chains import broken_row

    if connection.vendor == "sqlite":
        with connection.cursor() as cursor:
            for pragma in ("integrity_check", "foreign_key_check"):
                cursor.execute(f"PRAGMA {pragma}")
                found = cursor.fetchall()
                if found not in ([("ok",)], []):
                    yield f"{pragma}: {found}"
    for chain in LogChain.objects.all():
        if broken_row(chain) is not None:
            yield f"the log of the {chain.name} breaks at row {broken_row(chain)}"
    if Draw.objects.filter(standing=True).count() != Contest.objects.exclude(state="preparing").count():
        yield "not one standing draw for each drawn contest"
    if Box.objects.filter(pairing=None).exists():
        yield "a box is nobody's"
    for model, of in ((TurnIn, "box"), (Reading, "card")):
        if model.objects.filter(standing=True).values(of).annotate(n=Count("pk")).filter(n__gt=1).exists():
            yield f"two rows of {model.__name__} stand for one {of}"
    if Card.objects.annotate(n=Count("readings", filter=Q(readings__standing=True))).exclude(n=1).exists():
        yield "a card without standing marks"
    for reading in Reading.objects.select_related("card__box__category__contest__rule_set").prefetch_related("marks"):
        wanted = {criterion.key for criterion in category_rules(reading.card.box.category).criteria}
        if {mark.criterion for mark in reading.marks.all()} != wanted:
            yield f"a half-written card of box {reading.card.box}"
    logged = Counter(LogRow.objects.values_list("what", flat=True))
    kinds = Counter(Reading.objects.values_list("kind", flat=True))
    if (logged["card handed in"], logged["card corrected"]) != (kinds["first"], kinds["correction"]):
        yield "the log knows other cards than there are"
    if logged["tally closed"] != 2 * Tally.objects.count() or logged["boxes drawn"] != Draw.objects.count():
        yield "the log knows other draws or tallies than there are"
    told = logged["box recorded"] + logged["box undone"] + 2 * logged["labels corrected"]
    if told != TurnIn.objects.count():
        yield "the log knows other boxes at the desk than there are"
    for contest in Contest.objects.all():
        if contest.tallies.exists() != (not contest.is_sealed):
            yield f"{contest.state} with {contest.tallies.count()} tallies"
        if contest.publications.exists() != (contest.state == "published"):
            yield f"{contest.state} with {contest.publications.count()} publications"
    for each in Publication.objects.all().defer(None):
        if package_sum(unpack(bytes(each.package))) != each.package_sum:
            yield "a package that is not the one of its sum"


def settle() -> None:
    """SQLite's log written back into the database, so that its file can be copied."""
    from django.db import connection

    if connection.vendor == "sqlite":
        with connection.cursor() as cursor:
            cursor.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    connection.close()


class Kept:
    """The database as it was before an act; where it cannot be put back, `puts_back` is false."""

    def __init__(self) -> None:
        from django.db import connection

        self.puts_back = connection.vendor == "sqlite"
        self.place = Path(connection.settings_dict["NAME"])
        settle()
        if self.puts_back:
            shutil.copy(self.place, f"{self.place}.kept")

    def put_back(self) -> None:
        from django.db import connection

        connection.close()
        for part in ("-wal", "-shm"):
            Path(f"{self.place}{part}").unlink(missing_ok=True)
        shutil.copy(f"{self.place}.kept", self.place)


def cut_through(name: str, act: Act) -> None:
    """The act broken off at each of its steps in turn, then done."""
    before, kept = fingerprint(), Kept()
    steps: list[str] = []
    last = 0
    while True:
        last += 1
        done, names = die_at(last, act)
        wrong = list(faults())
        assert not wrong, f"{name}, dead at step {last}, {names[-1:]}: {wrong}"
        changed = fingerprint() != before
        assert changed == ("committed" in names or done), (
            f"{name}, dead at step {last}, {names[-1:]}: changed {changed}"
        )
        if done:
            break
        steps.append(names[-1])
        if changed and not kept.puts_back:
            break  # it is done, up to what follows its commit
        if changed:
            kept.put_back()
    print(json.dumps({"act": name, "steps": steps}), flush=True)


def main() -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "contest.config.settings")
    django.setup()
    from django.core.management import call_command
    from django.db import connection

    call_command("migrate", verbosity=0)
    if "--planted" in sys.argv:
        cut_through("planted", planted)
        return
    run_day()
    if connection.vendor == "sqlite":
        from tests.load.power_cut_files import cut_through_files

        cut_through_files()


def planted() -> None:
    from contest.models import Season, Team

    Season.objects.create(name="Half a deed", year=2026)
    Team.objects.create(name="The other half")


def run_day() -> None:
    from contest.services.desk import correct_labels, record_turn_in, undo_turn_in
    from contest.services.draw import make_draw
    from contest.services.passes import issue_pass, reissue_pass
    from contest.services.redraw import redraw
    from contest.services.sealing import open_seal
    from judging.models import Reading, Tally
    from judging.services.cards import hand_in_sheet
    from judging.services.phones import PhoneCard, hand_in_card
    from judging.services.rulings import rule
    from judging.services.tally import close_tally, sign_off
    from reports.results.publishing import publish
    from tests.factories import make_contest

    contest = make_contest(teams=4, tables=1, seats=3, categories=("chicken",), rules="plain-points", phones=True)
    (table,), (category,) = contest.tables.all(), contest.categories.all()
    seats = list(table.seats.all())

    def fresh():
        contest.refresh_from_db()
        return contest

    def boxes():
        return list(contest.boxes.filter(draw__standing=True).order_by("number"))

    def marks(lift: int) -> dict[str, dict[str, Decimal]]:
        keys = ("appearance", "taste", "tenderness")
        return {
            box.number: dict.fromkeys(keys, Decimal(1 + (int(box.number) + lift) % 9))
            for box in boxes()
        }  # fmt: skip

    def hand_in(seat: int, reason: str = "") -> object:
        lift = seat + bool(reason)
        return hand_in_sheet(
            contest=fresh(), category=category, seat=seats[seat], marks=marks(lift), by="clerk", reason=reason
        )

    def from_phone() -> object:
        box = boxes()[0]
        given = dict.fromkeys(("appearance", "taste", "tenderness"), "7")
        return hand_in_card(contest=fresh(), seat=seats[2], card=PhoneCard(key="a" * 32, box=box.number, marks=given))

    cut_through("draw", lambda: make_draw(contest=fresh(), by="organiser"))
    cut_through("redraw", lambda: redraw(contest=fresh(), reason="a table broke", by="organiser"))
    held = issue_pass(opens="table", contest=fresh(), table=table)
    cut_through("new pass", lambda: reissue_pass(held=held, by="organiser"))
    one, other, *rest = boxes()
    cut_through("turn-in", lambda: record_turn_in(contest=fresh(), box=one, status="accepted", by="desk"))
    cut_through("undo", lambda: undo_turn_in(contest=fresh(), box=one, reason="wrong box", by="desk"))
    for box in (one, other, *rest):
        record_turn_in(contest=fresh(), box=box, status="accepted", by="desk")
    cut_through("labels", lambda: correct_labels(contest=fresh(), one=one, other=other, reason="swapped", by="desk"))
    cut_through("hand-in", lambda: hand_in(0))
    cut_through("correction", lambda: hand_in(0, "misread"))
    cut_through("phone", from_phone)
    hand_in(1)
    hand_in(2, "the phone was wrong")
    cut_through(
        "ruling",
        lambda: rule(contest=fresh(), kind="disqualification", scope="box", box=one, reason="foil", by="head judge"),
    )
    cut_through("seal", lambda: open_seal(contest=fresh(), name=contest.name, reason="a dispute", by="organiser"))
    cut_through("close", lambda: close_tally(contest=fresh(), by="clerk"))
    sign_off(tally=Tally.objects.get(), by="head judge")
    cut_through("publish", lambda: publish(contest=fresh(), by="organiser"))
    assert Reading.objects.filter(standing=True).count() == 12


if __name__ == "__main__":
    sys.exit(main())
