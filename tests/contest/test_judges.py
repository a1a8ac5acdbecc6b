"""The list of judges: experience, conflicts, absence."""

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse

from contest.models import Judge, LogRow, Sitting
from contest.services.people import add_judge, change_judge, remove_judge
from tests.factories import client_for, give_part, make_contest, make_drawn

pytestmark = pytest.mark.django_db


def page(contest, name="judges", *args):
    return reverse(f"contest:{name}", args=[contest.slug, *args])


def first(contest):
    return contest.attendances.select_related("judge").order_by("judge__name").first().judge


def change(contest, judge, **changes):
    return change_judge(
        contest=contest,
        judge=judge,
        **{"name": judge.name, "contests_judged": 0, "conflicts": [], "absent": False, "by": "organiser", **changes},
    )


def test_a_judge_of_the_same_organiser_is_the_same_judge():
    before, contest = make_contest(), make_contest(seats=1)
    give_part(contest, "organiser", give_part(before, "organiser"))
    known = first(before)
    Judge.objects.filter(pk=known.pk).update(contests_judged=9)
    again = add_judge(contest=contest, name=known.name.upper(), contests_judged=2)
    assert again == known
    assert again.contests_judged == 9  # experience does not shrink
    assert add_judge(contest=contest, name="Judge Sorrel").pk != known.pk


@pytest.mark.parametrize(
    ("given", "field", "words"),
    [
        ({"name": " "}, "name", "Type the judge's name"),
        ({"name": "Judge Sorrel", "contests_judged": -1}, "contests_judged", "greater than or equal to 0"),
        ({"name": "Judge Sorrel", "contests_judged": 2001}, "contests_judged", "less than or equal to 2000"),
    ],
)
def test_a_bad_judge_is_refused_at_the_field(given, field, words):
    contest = make_contest()
    with pytest.raises(ValidationError) as refused:
        add_judge(contest=contest, **given)
    assert words in " ".join(refused.value.message_dict[field])
    assert not Judge.objects.filter(name="Judge Sorrel").exists()


def test_two_of_one_name_are_asked_to_differ():
    contest = make_contest()
    answer = client_for(contest, "organiser").post(page(contest), {"name": first(contest).name, "contests_judged": "1"})
    assert answer.status_code == 422
    assert "Add an initial" in answer.content.decode()


def test_a_new_conflict_before_the_draw_frees_the_seat():
    contest = make_contest()
    judge, team = first(contest), contest.entries.get(number=4).team
    assert change(contest, judge, conflicts=[team])
    assert not Sitting.objects.filter(judge=judge).exists()
    assert Sitting.objects.filter(seat__table__contest=contest, judge=None, vacant=False).count() == 2


def test_a_conflict_kept_apart_by_table_keeps_the_seat():
    contest = make_contest(conflicts="kept_apart")
    judge, team = first(contest), contest.entries.get(number=4).team
    assert not change(contest, judge, conflicts=[team])
    assert Sitting.objects.filter(judge=judge).count() == 2


def test_a_conflict_declared_after_the_draw_is_kept_and_logged_without_a_name():
    contest = make_drawn()
    judge, team = first(contest), contest.entries.get(number=4).team
    assert not change(contest, judge, conflicts=[team])
    assert list(judge.conflicts.all()) == [team]
    row = LogRow.objects.get(what="conflict declared after the draw")
    assert row.facts == '{"judges":1,"teams":[4]}'
    page_text = client_for(contest, "organiser").get(reverse("contest:seating", args=[contest.slug])).content.decode()
    assert f"{judge} is close to 4 {team}" in page_text


def test_conflicts_with_teams_of_other_contests_stay():
    contest, other = make_contest(), make_contest()
    judge, elsewhere = first(contest), other.entries.first().team
    judge.conflicts.add(elsewhere)
    change(contest, judge, conflicts=[contest.entries.first().team])
    change(contest, judge, conflicts=[])
    assert list(judge.conflicts.all()) == [elsewhere]


def test_absence_frees_the_seat_before_the_draw_and_only_says_so_after():
    contest = make_contest()
    judge = first(contest)
    client = client_for(contest, "organiser")
    client.post(page(contest, "judge_ticks"), {"absent": [str(judge.uid), "nonsense"]})
    assert contest.attendances.get(judge=judge).absent
    assert not Sitting.objects.filter(judge=judge).exists()
    client.post(page(contest, "judge_ticks"), {"shown": [str(judge.uid)]})
    assert not contest.attendances.get(judge=judge).absent
    drawn = make_drawn()
    judge = first(drawn)
    answer = client_for(drawn, "organiser").post(page(drawn, "judge_ticks"), {"absent": str(judge.uid)}, follow=True)
    assert "replace the judge on the seating page" in answer.content.decode()
    assert Sitting.objects.filter(judge=judge).count() == 2
    seating = client_for(drawn, "organiser").get(reverse("contest:seating", args=[drawn.slug])).content.decode()
    assert f"{judge} is absent and has a seat" in seating


def test_a_judge_is_taken_off_the_list():
    contest = make_contest()
    judge = first(contest)
    assert client_for(contest, "organiser").post(page(contest, "judge_remove", judge.uid)).status_code == 302
    assert not Judge.objects.filter(pk=judge.pk).exists()
    drawn = make_drawn()
    with pytest.raises(ValidationError, match="has a seat today"):
        remove_judge(contest=drawn, judge=first(drawn))


def test_the_judges_page_changes_particulars():
    contest = make_contest()
    judge, team = first(contest), contest.entries.get(number=2).team
    client = client_for(contest, "organiser")
    text = client.get(page(contest, "judge", judge.uid)).content.decode()
    assert f"2 {team}" in text
    client.post(
        page(contest, "judge", judge.uid),
        {"name": "Judge Sorrel", "contests_judged": "", "conflicts": [team.pk], "absent": "on"},
    )
    judge.refresh_from_db()
    assert (judge.name, judge.contests_judged, list(judge.conflicts.all())) == ("Judge Sorrel", 0, [team])
    assert contest.attendances.get(judge=judge).absent


def test_a_team_of_another_contest_cannot_be_ticked():
    contest, other = make_contest(), make_contest()
    judge = first(contest)
    answer = client_for(contest, "organiser").post(
        page(contest, "judge", judge.uid),
        {"name": judge.name, "contests_judged": "1", "conflicts": [other.entries.first().team_id]},
    )
    assert answer.status_code == 422


def test_a_judge_of_another_contest_is_not_found():
    contest, other = make_contest(), make_contest()
    assert client_for(contest, "organiser").get(page(contest, "judge", first(other).uid)).status_code == 404
