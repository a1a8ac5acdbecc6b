"""A second pair of eyes: which sheets, blind to the first, compared, and in the way of closing until done."""

import hashlib
import json

import pytest

from contest import day
from contest.models import Contest, LogRow
from contest.refusals import Refused
from judging.models import Reading
from judging.rules.keying import KeyingErrors, in_sample
from judging.selectors.keying import differences, keying_errors, second_sheets
from judging.services.cards import SheetRefused, hand_in_sheet
from judging.services.keying import key_again, resolve
from judging.services.rulings import rule
from tests.factories import client_for, give_part, make_account, make_drawn, take_in
from tests.judging.pages import address, posted

pytestmark = pytest.mark.django_db
KEYS = ("appearance", "taste", "tenderness")
FIRST = {"201": "8 9 7", "202": "6 6 5", "203": "9 8 8"}


def rows(texts):
    return {number: dict(zip(KEYS, text.split(), strict=bool(text))) for number, text in texts.items()}


def keyed(keying="all", **fields):
    """Three boxes, one seat's sheet handed in by one clerk."""
    contest = make_drawn(teams=3, categories=("chicken",), seats=4, keying=keying, **fields)
    take_in(contest)
    hand_in(contest, "A")
    return contest


def seat_of(contest, letter="A"):
    return contest.tables.get().seats.get(letter=letter)


def hand_in(contest, letter, texts=FIRST, by="Clerk Alder", **more):
    hand_in_sheet(
        contest=contest,
        category=contest.categories.get(),
        seat=seat_of(contest, letter),
        marks=rows(texts),
        by=by,
        **more,
    )


def again(contest, texts=FIRST, letter="A", by="Clerk Birch"):
    return key_again(
        contest=contest, category=contest.categories.get(), seat=seat_of(contest, letter), marks=rows(texts), by=by
    )


def again_address(contest, letter="A"):
    return address(contest, "again", "chicken", 1, letter)


def two_clerks(contest):
    """Clients of two accounts that may key; the sheet of seat A is the first one's."""
    first, second = (give_part(contest, "tally", make_account()) for _ in range(2))
    clients = []
    for account in (first, second):
        client = client_for(contest, "visitor")
        client.force_login(account, backend="django.contrib.auth.backends.ModelBackend")
        clients.append(client)
    Reading.objects.filter(kind="first").update(by=str(first))
    return clients


def test_the_sample_is_chosen_by_the_digest_of_commitment_and_place():
    # The digest, taken here by the standard library from the text as the help describes it.
    for seat in "ABCDEF":
        digest = hashlib.sha256(f"{'c' * 64}:ribs:3{seat}".encode()).hexdigest()
        assert in_sample("c" * 64, "ribs", 3, seat) is (digest[-1] in "048c")


def test_about_one_sheet_in_four_is_in_the_sample():
    chosen = sum(
        in_sample(f"{draw:064x}", "ribs", table, seat)
        for draw in range(50)
        for table in range(1, 5)
        for seat in "ABCDEF"
    )
    # 1,200 draws of a quarter: 300 expected, standard deviation 15.
    assert 240 <= chosen <= 360


@pytest.mark.parametrize(("keying", "sheets"), [("single", 0), ("all", 4)])
def test_the_contest_says_how_many_sheets_are_keyed_twice(keying, sheets):
    assert len(second_sheets(keyed(keying))) == sheets


def test_a_sample_is_what_the_draw_chose():
    contest = keyed("sample")
    chosen = {each.sheet.label for each in second_sheets(contest)}
    assert chosen == {f"1{seat}" for seat in "ABCD" if in_sample("c" * 64, "chicken", 1, seat)}


def test_a_second_keying_that_agrees_settles_the_sheet_and_changes_no_mark():
    contest = keyed()
    done = again(contest)
    assert (done.agreed, done.differ) == (("201", "202", "203"), ())
    assert Reading.objects.filter(kind="second", standing=False, by="Clerk Birch").count() == 3
    assert Reading.objects.filter(standing=True, kind="first").count() == 3
    assert [each.done for each in second_sheets(contest)] == [True, False, False, False]
    assert differences(contest) == []
    facts = json.loads(LogRow.objects.filter(what="card keyed again").first().facts)
    assert facts == {
        "agrees": True, "box": "201", "category": "chicken", "seat": "1A",
        "marks": {"appearance": "8", "taste": "9", "tenderness": "7"},
    }  # fmt: skip


def test_a_mark_that_differs_waits_for_the_paper():
    contest = keyed()
    done = again(contest, FIRST | {"202": "6 6 6"})
    assert done.differ == ("202",)
    (found,) = differences(contest)
    assert (found.box, found.kind, found.standing_by, found.other_by) == (
        "202",
        "second",
        "Clerk Alder",
        "Clerk Birch",
    )
    assert found.standing[2] == ("Tenderness", "5", True)
    assert found.other[2] == ("Tenderness", "6", True)


def test_the_second_keyers_page_shows_no_mark_of_the_first():
    contest = keyed()
    _, second = two_clerks(contest)
    page = second.get(again_address(contest)).content.decode()
    assert "<h1>Chicken · table 1 · seat A</h1>" in page
    form = page.split('<form method="post" id="sheet"')[1]
    values = [part.split('"')[0] for part in form.split(' value="')[1:] if "csrf" not in part]
    assert set(values[1:]) <= {"", "0"}, "marks are blank and versions are those of an untouched card"
    assert "Earlier marks" not in page
    assert "201: _ _ _" in page


def test_the_second_keyers_page_is_the_same_whatever_the_first_keyed():
    def page(texts):
        contest = make_drawn(
            teams=3,
            categories=("chicken",),
            seats=4,
            keying="all",
            name="Example Cook-off",
            slug=f"example-{len(texts)}",
        )
        hand_in(contest, "A", texts | {"203": "9 8 8"})
        client = two_clerks(contest)[1]
        text = client.get(again_address(contest)).content.decode().split('id="sheet"')[1]
        return text.split("csrfmiddlewaretoken")[1].split(">", 1)[1].replace(contest.slug, "")

    assert page({"201": "8 9 7", "202": "6 6 5"}) == page({"201": "1 2 3", "202": "4 4 4", "203": "9 9 9"})


def test_who_keyed_first_is_kept_from_keying_again_while_somebody_else_can():
    contest = keyed()
    first, second = two_clerks(contest)
    answer = first.get(again_address(contest))
    assert "Hand the paper to another clerk" in answer.content.decode()
    assert first.post(again_address(contest), posted(FIRST)).status_code == 422
    assert not Reading.objects.filter(kind="second").exists()
    assert second.post(again_address(contest), posted(FIRST)).status_code == 302
    assert Reading.objects.filter(kind="second").count() == 3


def test_alone_the_same_person_keys_again_with_a_word_of_warning():
    contest = keyed()
    client = client_for(contest, "tally")
    Reading.objects.filter(kind="first").update(by=str(contest.roles.get().account))
    page = client.get(again_address(contest))
    assert "You keyed this sheet first, and no other account may key it" in page.content.decode()
    assert client.post(again_address(contest), posted(FIRST)).status_code == 302


def test_a_card_without_marks_on_the_paper_is_a_difference():
    contest = keyed()
    _, second = two_clerks(contest)
    data = posted({"201": "8 9 7", "202": "6 6 5"}, none=("203",))
    assert second.post(again_address(contest), data).status_code == 302
    (found,) = differences(contest)
    assert (found.box, found.other_is_empty) == ("203", True)
    with pytest.raises(Refused, match="head judge dismisses"):
        resolve(contest=contest, reading=found.reading, chosen="other", reason="blank", by="Clerk Birch")
    box, seat = contest.boxes.get(number="203"), seat_of(contest)
    rule(contest=contest, kind="dismissal", scope="card", box=box, seat=seat, reason="no marks", by="head judge")
    assert differences(contest) == []


def test_marks_off_the_scale_are_refused_and_nothing_is_stored():
    contest = keyed()
    with pytest.raises(SheetRefused) as refused:
        again(contest, FIRST | {"202": "6 6 12"})
    assert list(refused.value.cells) == [("202", "tenderness")]
    assert not Reading.objects.filter(kind="second").exists()


def test_a_sheet_is_keyed_again_only_once_it_is_in_and_only_once():
    contest = keyed()
    with pytest.raises(Refused, match="not complete"):
        again(contest, letter="B")
    again(contest)
    with pytest.raises(Refused, match="twice already"):
        again(contest, by="Clerk Cedar")
    with pytest.raises(Refused, match="keyed once"):
        again(keyed("single"))


def test_a_card_that_a_judges_own_phone_handed_in_has_no_paper_to_key_again():
    contest = keyed()
    Reading.objects.filter(card__box__number="202").update(device="phone of seat A")
    assert second_sheets(contest)[0].due == ("201", "203")


def test_a_card_marked_anew_after_a_dismissal_is_keyed_again():
    contest = keyed()
    again(contest, FIRST | {"202": "6 6 6"})
    box, seat = contest.boxes.get(number="202"), seat_of(contest)
    rule(contest=contest, kind="dismissal", scope="card", box=box, seat=seat, reason="talked", by="head judge")
    hand_in(contest, "A", {"202": "4 4 4"})
    assert second_sheets(contest)[0].due == ("202",)
    assert differences(contest) == []
    again(contest, {"202": "4 4 4"})
    assert second_sheets(contest)[0].done


def hindrances(contest):
    return [todo.text for todo in day.in_the_way("closing", contest)]


def test_closing_waits_for_the_second_keyings_and_for_the_paper():
    contest = keyed()
    for letter in "BCD":
        hand_in(contest, letter)
    assert hindrances(contest) == ["Four score sheets to be keyed a second time, the first chicken 1A."]
    for letter in "ABCD":
        again(contest, FIRST | ({"203": "9 8 1"} if letter == "C" else {}), letter)
    assert hindrances(contest) == ["One difference between two readings of a card (203): look at the paper."]
    (todo,) = day.in_the_way("closing", contest)
    assert (todo.url, todo.part) == (address(contest, "differences"), "tally")
    (found,) = differences(contest)
    resolve(contest=contest, reading=found.reading, chosen="standing", reason="an 8 it is", by="Clerk Alder")
    assert hindrances(contest) == []


def test_the_error_rate_counts_marks_and_knows_who_was_wrong():
    contest = keyed()
    again(contest, {"201": "8 9 6", "202": "6 5 6", "203": "9 8 8"})
    assert keying_errors(contest) == KeyingErrors(marks=9, differed=3, first_wrong=0, second_wrong=0)
    one, two = differences(contest)
    resolve(contest=contest, reading=one.reading, chosen="standing", reason="a clear 7", by="Clerk Alder")
    resolve(contest=contest, reading=two.reading, chosen="other", reason="two digits swapped", by="Clerk Alder")
    found = keying_errors(contest)
    assert found == KeyingErrors(marks=9, differed=3, first_wrong=2, second_wrong=1)
    # 2 of 9 marks: 2222.2 per 10,000.
    assert (found.open, found.per_10000) == (0, 2222)
    page = client_for(contest, "tally").get(address(contest, "differences")).content.decode()
    assert "<strong>2222 per 10,000</strong>" in page
    assert "22 wrong in 10,000 where data were entered once, 15 where they were entered twice" in page


def test_nothing_compared_has_no_rate():
    assert KeyingErrors().per_10000 is None


def test_how_often_is_chosen_before_the_first_card():
    contest = make_drawn(teams=3, categories=("chicken",))
    client = client_for(contest, "organiser")
    url = f"/c/{contest.slug}/set-up/"
    assert 'name="details-keying"' in client.get(url).content.decode()
    data = {"details-name": contest.name, "details-keying": "all"}
    assert client.post(url, data).status_code == 302
    contest.refresh_from_db()
    assert contest.keying == Contest.Keying.ALL
    assert json.loads(LogRow.objects.get(what="keying chosen").facts) == {"keying": "all"}
    hand_in(contest, "A")
    page = client.get(url).content.decode()
    assert 'name="details-keying"' not in page
    assert "every sheet twice" in page
    assert client.post(url, data | {"details-keying": "single"}).status_code == 302
    contest.refresh_from_db()
    assert contest.keying == Contest.Keying.ALL
