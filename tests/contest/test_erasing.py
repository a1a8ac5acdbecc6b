"""Erasing a judge: the name is nowhere any more, the log's chains and the seats are whole."""

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse

from contest.models import JudgeConflict, LogChain, LogPerson, Sitting
from contest.services.erasing import erase_judge
from contest.services.log import write_log
from tests.chains import broken_row
from tests.factories import client_for, make_drawn

pytestmark = pytest.mark.django_db
NAME = "Judge Zzunmistakable"


@pytest.fixture
def contest():
    """A published contest in whose log a judge stands among others, close to one of its teams."""
    contest = make_drawn(teams=2)
    judge = contest.attendances.first().judge
    judge.name = NAME
    judge.save()
    JudgeConflict.objects.create(judge=judge, team=contest.entries.first().team)
    for place, name in enumerate([NAME, "Organiser Elm", NAME]):
        write_log(contest=contest, chain="day", what="seat vacated", facts={"place": place}, by=name)
    contest.state = "published"
    contest.save()
    return contest


def test_the_name_goes_and_the_chain_stays_whole(contest):
    judge = contest.attendances.get(judge__name=NAME).judge
    head = LogChain.objects.get(contest=contest).head
    seats = Sitting.objects.filter(judge=judge).count()
    erased = erase_judge(judge=judge)
    assert (erased.name, str(erased), erased.erased_at is not None) == ("", "an erased judge", True)
    assert list(LogPerson.objects.values_list("name", flat=True)) == ["Organiser Elm"]
    assert not JudgeConflict.objects.filter(judge=judge).exists()
    chain = LogChain.objects.get(contest=contest)
    assert (chain.head, chain.length, broken_row(chain)) == (head, 3, None)
    assert Sitting.objects.filter(judge=judge).count() == seats > 0


def test_no_page_names_the_person_any_more(contest):
    client = client_for(contest, "organiser")
    judge = contest.attendances.get(judge__name=NAME).judge
    pages = [
        reverse("contest:judges", args=[contest.slug]),
        reverse("contest:judge", args=[contest.slug, judge.uid]),
        reverse("contest:seating", args=[contest.slug]),
    ]
    assert all(NAME in client.get(page).content.decode() for page in pages)
    assert client.post(reverse("contest:judge_erase", args=[contest.slug, judge.uid])).status_code == 302
    assert [NAME in client.get(page).content.decode() for page in pages] == [False] * 3


@pytest.mark.parametrize("state", ["preparing", "sealed"])
def test_a_name_that_is_still_called_is_not_erased(contest, state):
    contest.state = state
    contest.save()
    judge = contest.attendances.get(judge__name=NAME).judge
    with pytest.raises(ValidationError, match="not closed yet"):
        erase_judge(judge=judge)
    answer = client_for(contest, "organiser").post(
        reverse("contest:judge_erase", args=[contest.slug, judge.uid]), follow=True
    )
    assert "Erase the name after that." in answer.content.decode()
    judge.refresh_from_db()
    assert (judge.name, LogPerson.objects.filter(name=NAME).count()) == (NAME, 2)


def test_erasing_twice_changes_nothing(contest):
    judge = contest.attendances.get(judge__name=NAME).judge
    first = erase_judge(judge=judge)
    assert erase_judge(judge=judge).erased_at == first.erased_at
