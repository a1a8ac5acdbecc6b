"""A blind tasting at home, played through its pages: the cook's by account, the tasters' by the pass of a seat."""

import hashlib
import re
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.test import Client
from django.urls import reverse

from contest.models import Account, Box, Contest, LogRow, Team, TeamMember
from contest.services.passes import issue_pass, word_of
from contest.services.rulesets import copy_rule_set, delete_rule_set, shipped_rule_set
from reports.models import Answer, Plate, Practice
from reports.rules.sensory.tasting import drawn_again
from tests import factories

pytestmark = pytest.mark.django_db

TASTERS = ("Juniper", "Linden", "Hazel")


class Evening:
    """A team's practice, its cook and a phone for each taster."""

    def __init__(self, question: str, versions: tuple[str, ...] = ("cherry", "hickory"), **more: Any) -> None:
        self.team = Team.objects.create(name="Team Alder")
        self.account: Account = factories.make_account()
        TeamMember.objects.create(team=self.team, account=self.account)
        self.cook = Client()
        self.cook.force_login(self.account, backend="django.contrib.auth.backends.ModelBackend")
        self.new = reverse("reports:practice_new", args=[self.team.uid])
        self.answer = self.set_up(question, versions, **more)
        self.practice = Practice.objects.filter(team=self.team).first()

    def set_up(self, question: str, versions: tuple[str, ...], tasters: tuple[str, ...] = TASTERS, **more: Any) -> Any:
        page = self.cook.get(self.new).content.decode()
        data = {
            "uid": re.search(r'name="uid" value="([^"]+)"', page)[1],
            "rule_set": re.search(r'name="rule_set".*?<option value="(\d+)" selected', page, re.S)[1],
            "time_zone": "UTC",
            "rounds": "1",
            "dish": "Ribs",
            "question": question,
            "versions": "\n".join(versions),
            "tasters": "\n".join(tasters),
        }
        self.data = {**data, **more}
        return self.cook.post(self.new, self.data)

    def url(self, name: str = "practice", *more: Any) -> str:
        return reverse(f"reports:{name}", args=[self.team.uid, self.practice.contest.uid, *more])

    def serve(self) -> None:
        self.cook.post(self.url("practice_out"))
        self.practice.refresh_from_db()

    def phone(self, number: int) -> Client:
        seat = self.practice.tasters.get(seat__table__number=number).seat
        client = Client()
        word = word_of(issue_pass(opens="seat", contest=self.practice.contest, seat=seat))
        answer = client.post("/in/", {"word": word})
        assert answer["Location"] == self.tasting
        return client

    @property
    def tasting(self) -> str:
        return reverse("reports:tasting", args=[self.practice.contest.slug])

    def plates(self, number: int, round_number: int = 1) -> dict[str, str]:
        """A taster's plate numbers -> what is on them, in the order of tasting."""
        plates = Plate.objects.filter(
            box__contest=self.practice.contest, box__table__number=number, box__category__order=round_number
        )
        return dict(plates.order_by("box__position").values_list("box__number", "version__name"))

    def odd(self, number: int, round_number: int = 1) -> str:
        plates = self.plates(number, round_number)
        return next(plate for plate, on_it in plates.items() if list(plates.values()).count(on_it) == 1)

    def close(self, **data: str) -> Any:
        answer = self.cook.post(self.url("practice_close"), data)
        self.practice.refresh_from_db()
        return answer

    def result(self) -> str:
        return self.cook.get(self.url()).content.decode()


def numbers_on(page: str) -> set[str]:
    """The numbers of three digits that a page shows; the digits of keys in its addresses are none."""
    return set(re.findall(r"(?<![0-9A-Za-z])\d{3}(?![0-9A-Za-z])", page))


def test_a_triangle_with_three_friends():
    evening = Evening("triangle")
    page = evening.cook.get(evening.url()).content.decode()
    assert "3 of 3 must find the odd plate: guessing does that one time in 27." in page
    assert "needs 16 tastings" in page
    waiting = evening.phone(1).get(evening.tasting).content.decode()
    assert "The cook is plating" in waiting
    evening.serve()
    for number in (1, 2, 3):
        phone = evening.phone(number)
        page = phone.get(evening.tasting).content.decode()
        assert evening.plates(number).keys() <= numbers_on(page)
        assert phone.post(evening.tasting, {"round": "round-1", "plate": evening.odd(number)}).status_code == 302
        assert "Everything is handed in" in phone.get(evening.tasting).content.decode()
    assert evening.close().status_code == 302
    result = evening.result()
    assert "They can tell the difference." in result
    assert "3 of 3 found the odd plate; 3 were needed. Guessing does as well one time in 27." in result
    assert "Left before the end" not in result


def test_a_triangle_in_rounds_counts_every_tasting():
    evening = Evening("triangle", rounds="4")
    evening.serve()
    right = 0
    for number in (1, 2, 3):
        phone = evening.phone(number)
        for round_number in (1, 2, 3, 4):
            plates = evening.plates(number, round_number)
            odd = evening.odd(number, round_number)
            said = odd if round_number < 4 else next(plate for plate in plates if plate != odd)
            right += said == odd
            phone.post(evening.tasting, {"round": f"round-{round_number}", "plate": said})
    evening.close()
    assert right == 9
    assert "9 of 12 found the odd plate; 8 were needed." in evening.result()


def test_a_preference_of_three_cannot_be_told():
    evening = Evening("preference")
    assert "3 will answer, and the result will be “cannot tell”" in evening.cook.get(evening.url()).content.decode()
    evening.serve()
    for number in (1, 2, 3):
        liked = next(plate for plate, on_it in evening.plates(number).items() if on_it == "hickory")
        evening.phone(number).post(evening.tasting, {"round": "round-1", "plate": liked})
    evening.close()
    result = evening.result()
    assert "Cannot tell: three tasters are too few." in result
    assert "3 of 3 preferred hickory; even if all agreed, chance alone does that one time in 4." in result
    assert "it takes 30 tasters" in result


def mark(evening: Evening, number: int, marks: dict[str, int]) -> Client:
    """Hand in a card for each plate by the plain forms: `marks`, version -> the mark for every criterion."""
    phone = evening.phone_after_serving(number) if hasattr(evening, "phone_after_serving") else _seated(evening, number)
    seat = reverse("judging:seat", args=[evening.practice.contest.slug])
    for plate, on_it in evening.plates(number).items():
        if on_it in marks:
            given = {f"mark-{key}": str(marks[on_it]) for key in ("appearance", "taste", "tenderness")}
            answer = phone.post(seat, {"box": plate, "key": f"{number:016x}{int(plate):016x}", **given})
            assert answer.status_code == 302, answer.content.decode()
    return phone


def _seated(evening: Evening, number: int) -> Client:
    phone = evening.phone(number)
    assert phone.get(evening.tasting)["Location"] == reverse("judging:seat", args=[evening.practice.contest.slug])
    return phone


def test_scores_of_three_tasters():
    evening = Evening("score")
    assert "Three tasters cannot tell, however they mark." in evening.cook.get(evening.url()).content.decode()
    evening.serve()
    for number, (cherry, hickory) in enumerate([(8, 7), (7, 7), (9, 7)], 1):
        mark(evening, number, {"cherry": cherry, "hickory": hickory})
    evening.close()
    result = evening.result()
    # Taste double: weights 1 + 2 + 1.5 = 4.5; means 36 and 31.5; differences 4.5, 0, 9: t(2) half width 11.2 (scipy).
    assert "Cannot tell: the versions may score alike or not." in result
    assert "Cherry 4.5 points above hickory, from −6.7 to 15.7 (95 % interval)." in result
    assert "Three cards a version are too few for a total: Taste double takes 4 to 6." in result
    assert [mean.text for mean in evening.practice.outcome.score.means] == ["36", "31.5"]
    assert [(row.taster, row.points) for row in evening.practice.outcome.score.table] == [
        (1, ("36", "31.5")),
        (2, ("31.5", "31.5")),
        (3, ("40.5", "31.5")),
    ]


def test_scores_of_six_tasters_stand_by_the_rules_too():
    names = (*TASTERS, "Maple", "Rowan", "Yew")
    evening = Evening("score", tasters=names)
    evening.serve()
    for number, (cherry, hickory) in enumerate([(8, 6), (7, 6), (9, 7), (8, 7), (7, 5), (9, 8)], 1):
        mark(evening, number, {"cherry": cherry, "hickory": hickory})
    evening.close()
    result = evening.result()
    assert "Cherry scored higher than hickory." in result
    # Taste double drops the lowest of six: cherry (8 + 9 + 8 + 7 + 9) × 4.5, hickory (6 + 6 + 7 + 7 + 8) × 4.5.
    assert [each.total_text for each in evening.practice.outcome.score.by_rules.standing] == ["184.5", "153"]
    # Two sevens are cherry's lowest, one five is hickory's.
    assert (
        "one card dropped: the lowest of six cards, 31.5; of equal cards the first by marks, then seat, goes" in result
    )
    assert "one card dropped: the lowest of six cards, 22.5<" in result


def test_a_taster_who_leaves_halfway_is_left_out_and_named():
    evening = Evening("score")
    evening.serve()
    mark(evening, 1, {"cherry": 8, "hickory": 7})
    mark(evening, 2, {"cherry": 8, "hickory": 6})
    mark(evening, 3, {"cherry": 2})
    refused = evening.close()
    assert refused.status_code == 422
    assert "Not everybody is finished" in refused.content.decode()
    assert evening.practice.closed_at is None
    evening.close(unfinished_too="on")
    result = evening.result()
    assert "Left before the end: Hazel after 1 of 2 plates." in result
    assert "Their marks are left out" in result
    assert "The result was opened at" in result
    assert "when 2 of 3 tasters had finished." in result
    assert [mean.text for mean in evening.practice.outcome.score.means] == ["36", "29.25"]


def test_the_key_opened_early_is_recorded_and_shown():
    evening = Evening("triangle")
    assert "What goes on which plate" in evening.cook.get(evening.url("practice_serving")).content.decode()
    evening.serve()
    closed = evening.cook.get(evening.url("practice_serving")).content.decode()
    assert "The key is closed" in closed
    assert evening.plates(1).keys() & numbers_on(closed) == set()
    assert evening.cook.post(evening.url("practice_key"), {"reason": " "}).status_code == 422
    opened = evening.cook.post(evening.url("practice_key"), {"reason": "a plate fell"}).content.decode()
    assert evening.plates(1).keys() <= numbers_on(opened)
    assert "The key is closed" in evening.cook.get(evening.url("practice_serving")).content.decode()
    assert LogRow.objects.filter(chain__contest=evening.practice.contest, what="key opened").count() == 1
    evening.close(unfinished_too="on")
    result = evening.result()
    assert re.search(r"The cook opened the key early, at \d\d:\d\d, when 0 of 3 tasters had finished", result)
    assert "“a plate fell”" in result
    assert "Cannot tell: nobody answered." in result


def test_a_taster_sees_own_plates_alone_and_nothing_of_what_is_on_them():
    evening = Evening("preference", versions=("cherry wood", "hickory wood"))
    evening.serve()
    page = evening.phone(1).get(evening.tasting).content.decode()
    others = [*evening.plates(2), *evening.plates(3)]
    assert [plate for plate in others if f">{plate}<" in page] == []
    assert "cherry" not in page
    assert "hickory" not in page
    assert "Team Alder" not in page
    phone = evening.phone(1)
    assert phone.post(evening.tasting, {"round": "round-1", "plate": others[0]}).status_code == 422
    for name in ("practice", "practice_serving"):
        assert phone.get(evening.url(name)).status_code == 302
    evening.close(unfinished_too="on")
    assert "/sign-in/" in phone.get(evening.tasting)["Location"]  # the pass ends with the tasting


@pytest.mark.parametrize("question", ["preference", "score"])
def test_a_taster_who_has_no_card_to_fill_in_is_led_to_the_plates(question):
    evening = Evening(question)
    phone = evening.phone(1)
    answer = phone.get(reverse("judging:seat", args=[evening.practice.contest.slug]), follow=True)
    assert answer.redirect_chain[-1][0] == evening.tasting
    assert "score sheets" not in answer.content.decode()


def test_the_first_answer_stands():
    evening = Evening("preference")
    assert evening.phone(1).post(evening.tasting, {"round": "round-1", "plate": "100"}).status_code == 422
    evening.serve()
    phone = evening.phone(1)
    one, other = evening.plates(1)
    assert phone.post(evening.tasting, {"round": "round-1"}).status_code == 422
    assert phone.post(evening.tasting, {"round": "round-1", "plate": one}).status_code == 302
    assert phone.post(evening.tasting, {"round": "round-1", "plate": one}).status_code == 302
    refused = phone.post(evening.tasting, {"round": "round-1", "plate": other})
    assert refused.status_code == 422
    assert f"{one} is handed in for this round already" in refused.content.decode()
    assert Answer.objects.count() == 1
    facts = LogRow.objects.get(what="answer handed in").facts
    assert facts == f'{{"box":"{one}","category":"round-1","taster":1}}'


def test_the_cook_sees_who_is_done_and_no_answer():
    evening = Evening("preference")
    evening.serve()
    before = evening.cook.get(evening.url()).content.decode()
    evening.phone(2).post(evening.tasting, {"round": "round-1", "plate": next(iter(evening.plates(2)))})
    page = evening.cook.get(evening.url()).content.decode()
    assert before.count("finished</span>") == 0
    assert page.count("finished</span>") == 1
    assert [plate for plate in evening.plates(2) if f">{plate}<" in page] == []


@pytest.mark.parametrize(
    ("question", "versions", "more", "says"),
    [
        ("score", ("cherry",), {}, "name at least two"),
        ("triangle", ("a", "b", "c"), {}, "leave two, or ask how the versions score"),
        ("score", ("Cherry", "cherry "), {}, "Two of these are called the same"),
        ("score", tuple("abcdefg"), {}, "taste at most 6"),
        ("preference", ("a", "b"), {"rounds": "3"}, "elsewhere a taster counts once"),
        ("score", ("a", "b"), {"tasters": ()}, "Name the tasters, one a line"),
        ("score", ("a", "b" * 41), {}, "Line 2 is longer than 40 characters"),
        ("score", ("a", "b"), {"dish": "7 bones"}, "Begin it with a letter"),
    ],
)
def test_what_cannot_be_tasted_is_refused_and_nothing_is_lost(question, versions, more, says):
    evening = Evening(question, versions, **more)
    page = evening.answer.content.decode()
    assert evening.answer.status_code == 422
    assert says in page
    assert versions[0].strip() in page
    assert (Practice.objects.count(), Contest.objects.count(), Box.objects.count()) == (0, 0, 0)


def test_two_tasters_may_taste_and_are_told_that_it_cannot_tell():
    evening = Evening("triangle", tasters=TASTERS[:2])
    page = evening.cook.get(evening.url()).content.decode()
    assert "Three tastings are the least that can tell; 2 will answer" in page
    evening.serve()
    for number in (1, 2):
        evening.phone(number).post(evening.tasting, {"round": "round-1", "plate": evening.odd(number)})
    evening.close()
    assert "Cannot tell: two tastings are too few." in evening.result()


def test_a_practice_set_up_wrongly_is_called_off():
    evening = Evening("score")
    phone = evening.phone(1)
    assert evening.close().status_code == 422  # there is no result before the plates are out
    evening.close(call_off="yes")
    assert "Called off before the plates went out." in evening.result()
    assert evening.cook.get(evening.url("practice_serving")).status_code == 302
    assert "/sign-in/" in phone.get(evening.tasting)["Location"]
    for page in ("season", "cook_log", "plan"):
        there = evening.cook.get(reverse(f"reports:{page}", args=[evening.team.uid])).content.decode()
        assert "blind tasting" not in there
        assert "Called off" not in there
    assert evening.cook.get(reverse("reports:practices", args=[evening.team.uid])).status_code == 200
    served = Evening("score")
    served.serve()
    assert served.close(call_off="yes").status_code == 422
    assert served.practice.closed_at is None


def test_the_rule_set_of_a_practice_stays():
    team = Evening("score").team
    account = team.members.get().account
    own = copy_rule_set(owner=account, rule_set=shipped_rule_set("plain-points"))
    practice = Practice.objects.get(team=team)
    Contest.objects.filter(pk=practice.contest_id).update(rule_set=own)
    with pytest.raises(ValidationError, match="A tasting was marked by this rule set"):
        delete_rule_set(owner=account, rule_set=own)


def test_the_form_that_arrives_twice_makes_one_practice():
    evening = Evening("score")
    assert evening.cook.post(evening.new, evening.data)["Location"] == evening.answer["Location"]
    assert Practice.objects.count() == 1


def test_the_plates_can_be_drawn_again_from_what_the_result_shows():
    evening = Evening("score", ("cherry", "hickory", "pecan"))
    draw = evening.practice.contest.draws.get()
    assert draw.secret_text.strip() not in evening.cook.get(evening.url()).content.decode()
    assert draw.commitment in evening.cook.get(evening.url()).content.decode()
    for name in ("secret.txt", "plan.txt"):
        assert evening.cook.get(evening.url("practice_draw", name)).status_code == 404
    evening.serve()
    evening.close(unfinished_too="on")
    files = {name: evening.cook.get(evening.url("practice_draw", name)).content for name in
             ("secret.txt", "public.txt", "plan.txt")}  # fmt: skip
    # As `sha256sum` and `cat secret.txt public.txt | sha256sum` print them.
    assert hashlib.sha256(files["secret.txt"]).hexdigest() == draw.commitment
    assert hashlib.sha256(files["plan.txt"]).hexdigest() == draw.fingerprint
    seed = hashlib.sha256(files["secret.txt"] + files["public.txt"]).hexdigest()
    assert f"seed\t{seed}\n" in files["plan.txt"].decode()
    assert drawn_again(files["plan.txt"].decode())


def test_another_team_meets_no_such_page():
    evening = Evening("score")
    other = Team.objects.create(name="Team Birch")
    TeamMember.objects.create(team=other, account=evening.account)
    assert evening.cook.get(f"/teams/{other.uid}/practice/{evening.practice.contest.uid}/").status_code == 404
    stranger = factories.client_for(factories.make_contest(teams=1), "stranger")
    assert stranger.get(evening.url()).status_code == 404
    assert stranger.get(evening.url("practice_serving")).status_code == 404


def closed_scores() -> Evening:
    evening = Evening("score")
    evening.serve()
    for number, (cherry, hickory) in enumerate([(8, 7), (7, 7), (9, 7)], 1):
        mark(evening, number, {"cherry": cherry, "hickory": hickory})
    evening.close()
    return evening


def test_practice_stands_in_the_cook_log_and_the_season_marked_as_such():
    evening = closed_scores()
    log = evening.cook.get(reverse("reports:cook_log", args=[evening.team.uid])).content.decode()
    assert "Ribs, practice" in log
    assert "Cannot tell: the versions may score alike or not." in log
    season = evening.cook.get(reverse("reports:season", args=[evening.team.uid])).content.decode()
    assert "Practice at home" in season
    assert "cherry: 88.9 % ± 19.5" in season  # 36 of 40.5 points; half width t(2) √(10.125 ÷ 3) = 7.9 by hand
    day = evening.cook.get(
        reverse("reports:cook_log_of", args=[evening.team.uid, evening.practice.contest.uid, "ribs"])
    )
    assert "<strong>Practice.</strong>" in day.content.decode()
    plan = evening.cook.get(reverse("reports:plan", args=[evening.team.uid])).content.decode()
    assert "Ribs, blind tasting" in plan
    assert "/change/" not in plan  # its day is the practice's


def test_practice_is_never_mixed_into_contests_and_their_trends():
    """A season with two published contests is the same to the byte with and without a practice beside it."""
    from judging.services.tally import close_tally, sign_off
    from reports.cook.comparison import compared, cooks_of
    from reports.results.publishing import publish
    from reports.season.boxes import season_of
    from reports.season.cards import inputs_hash
    from reports.season.seasons import contests_of, groups_of, published_tallies

    evening = closed_scores()
    practice_day = evening.practice.contest.date
    for _ in range(2):
        contest = factories.make_drawn(teams=4, date=practice_day)
        factories.take_in(contest)
        factories.mark_everything(contest)
        contest.entries.filter(number=1).update(team=evening.team)
        sign_off(tally=close_tally(contest=contest, by="clerk"), by="head judge")
        publish(contest=contest, by="organiser")
    group = f"year-{practice_day.year}"
    contests = contests_of(group)
    assert [each.kind for each in contests] == ["contest", "contest"]
    season = season_of(evening.team, group)
    assert {box.kind for box in season.boxes} == {"contest"}
    assert [each.key for each in groups_of(evening.team)] == [group]
    before = inputs_hash(contests, published_tallies(contests))
    assert [each.boxes for each in compared(cooks_of(evening.team), "F") if each.boxes] == []

    page = evening.cook.get(reverse("reports:season", args=[evening.team.uid])).content.decode()
    assert "Practice at home" in page
    boxes = page[page.index("Every box") : page.index("Practice at home")]
    assert "blind tasting" not in boxes
    Plate.objects.all().delete()
    Practice.objects.all().delete()
    assert inputs_hash(contests_of(group), published_tallies(contests_of(group))) == before
    without = evening.cook.get(reverse("reports:season", args=[evening.team.uid])).content.decode()
    assert "Practice at home" not in without
    assert without[without.index("Every box") :].startswith(boxes[: boxes.index("</table>")])


def test_no_list_of_contests_shows_a_practice():
    evening = closed_scores()
    slug = evening.practice.contest.slug
    for client in (Client(), evening.cook, factories.client_for(factories.make_contest(teams=1), "organiser")):
        assert slug not in client.get("/").content.decode()
        for path in ("results.csv", "results.xlsx", "table/", "package.zip", "draw/", "draw/secret.txt", ""):
            assert client.get(f"/r/{slug}/{path}").status_code == 404
        for path in ("", "marks/", "tally/", "names/", "desk/", "rulings/", "set-up/", "draw/", "paper/", "boxes-in/"):
            assert client.get(f"/c/{slug}/{path}").status_code in (302, 404)
    assert not evening.practice.contest.roles.exists()
