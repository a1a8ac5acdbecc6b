"""The log and the marks are kept by the database itself: no change, no removal, by whatever way it is tried."""

import pytest
from django.db import DatabaseError, IntegrityError, connection, transaction

from contest import appendonly
from contest.models import Contest, LogChain, LogPerson, LogRow, TurnIn
from contest.services.log import write_log
from contest.services.setup import delete_contest
from judging.models import Mark, Reading
from judging.services.cards import hand_in_sheet
from tests.chains import broken_row
from tests.factories import make_contest, make_drawn, take_in, unguarded

pytestmark = pytest.mark.django_db


@pytest.fixture
def contest():
    """A drawn contest with one sheet of three cards in, and its boxes recorded."""
    contest = make_drawn(teams=3, categories=("chicken",))
    take_in(contest)
    seat = contest.tables.get().seats.get(letter="A")
    marks = {number: {"appearance": 8, "taste": 9, "tenderness": 7} for number in ("201", "202", "203")}
    hand_in_sheet(contest=contest, category=contest.categories.get(), seat=seat, marks=marks, by="Clerk Birch")
    return contest


def refused(act):
    with pytest.raises(IntegrityError, match="a row that is kept cannot"), transaction.atomic():
        act()


@pytest.mark.parametrize(
    "change",
    [{"facts": "{}"}, {"number": 9}, {"hash": "a" * 64}, {"previous": "a" * 64}, {"at": "2026"}, {"what": "nothing"}],
)
def test_no_column_of_a_log_row_changes(contest, change):
    refused(lambda: LogRow.objects.filter(number=2).update(**change))


def test_no_row_of_a_drawn_contests_log_goes(contest):
    refused(lambda: LogRow.objects.filter(number=3).delete())
    refused(lambda: LogChain.objects.all().delete())
    with pytest.raises(DatabaseError), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("DELETE FROM contest_logrow")
    assert LogRow.objects.count() == 3


def test_marks_readings_and_turn_ins_stay_as_they_were_written(contest):
    refused(lambda: Mark.objects.update(value=9))
    refused(lambda: Mark.objects.filter(criterion="taste").delete())
    refused(lambda: Reading.objects.update(kind="second"))
    refused(lambda: Reading.objects.all().delete())
    refused(lambda: TurnIn.objects.update(status="late"))
    refused(lambda: TurnIn.objects.all().delete())


def test_which_row_stands_and_who_wrote_it_may_change(contest):
    Reading.objects.update(standing=False, by="")
    TurnIn.objects.update(standing=False)
    assert not Reading.objects.filter(standing=True).exists()


def test_a_contest_that_was_never_drawn_goes_with_its_log():
    contest = make_contest(teams=1)
    write_log(contest=contest, chain="day", what="one person declared", facts={}, by="Organiser Elm")
    delete_contest(contest=contest)
    assert (Contest.objects.count(), LogRow.objects.count(), LogPerson.objects.count()) == (0, 0, 0)


@pytest.mark.django_db(transaction=True)
def test_the_tables_are_emptied_after_this_test_which_commits(contest):
    assert LogRow.objects.count() == 3


@pytest.mark.django_db(transaction=True)
def test_the_triggers_are_there_after_a_test_that_commits(contest):
    refused(lambda: LogRow.objects.all().delete())
    refused(lambda: Mark.objects.all().delete())


def test_every_guarded_table_exists_and_names_columns_of_its_own(contest):
    with connection.cursor() as cursor:
        for guard in appendonly.GUARDS:
            columns = {each.name for each in connection.introspection.get_table_description(cursor, guard.table)}
            assert set(guard.fixed) <= columns


def test_a_person_is_erased_and_the_chain_stays_whole(contest):
    assert LogPerson.objects.filter(name="Clerk Birch").delete()[0] == 3
    assert broken_row(LogChain.objects.get()) is None


def test_a_row_that_was_changed_is_found(contest):
    with unguarded():
        LogRow.objects.filter(number=2).update(facts='{"box":"202","marks":{"taste":"1"}}')
    assert broken_row(LogChain.objects.get()) == 2


def test_a_row_that_was_changed_with_its_hash_is_found_at_the_next(contest):
    from contest.services.log import row_hash

    row = LogRow.objects.get(number=2)
    forged = row_hash(number=2, at=row.at, what=row.what, facts="{}", previous=row.previous)
    with unguarded():
        LogRow.objects.filter(number=2).update(facts="{}", hash=forged)
    assert broken_row(LogChain.objects.get()) == 3


@pytest.mark.parametrize(("gone", "found"), [(1, 1), (2, 2), (3, 3)])
def test_a_row_that_was_removed_is_found(contest, gone, found):
    with unguarded():
        LogRow.objects.filter(number=gone).delete()
    assert broken_row(LogChain.objects.get()) == found


def test_rows_that_changed_places_are_found(contest):
    with unguarded():
        for number, place in ((1, 9), (2, 1), (9, 2)):
            LogRow.objects.filter(number=number).update(number=place)
    assert broken_row(LogChain.objects.get()) == 1
