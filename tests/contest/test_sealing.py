"""Opening the seal before the tally is closed: who can, what is asked first, what it shows and what it leaves."""

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse

from contest.models import LogRow
from contest.selectors.opened import named_boxes
from contest.services.desk import correct_labels
from contest.services.sealing import open_seal
from judging.services.tally import close_tally
from tests.factories import client_for, make_contest, make_drawn, mark_everything, take_in

pytestmark = pytest.mark.django_db
REASON = "a dispute over who handed in"


def address(contest):
    return reverse("contest:seal", args=[contest.slug])


def opened(contest):
    return open_seal(contest=contest, name=contest.name, reason=REASON, by="Rowan Example")


def test_while_the_seal_holds_the_page_names_nobody():
    contest = make_drawn()
    text = client_for(contest, "organiser").get(address(contest)).content.decode()
    assert "Open the seal of this contest" in text
    for entry in contest.entries.all():
        assert entry.team.name not in text
    assert named_boxes(contest) == []


def test_opened_it_shows_every_name_beside_its_boxes():
    contest = make_drawn(make_contest(teams=6, tables=2))
    client = client_for(contest, "organiser")
    answer = client.post(address(contest), {"name": contest.name, "reason": REASON})
    assert (answer.status_code, answer["Location"]) == (302, address(contest))
    contest.refresh_from_db()
    text = client.get(address(contest)).content.decode()
    assert REASON in text
    for box in contest.boxes.all():
        row = text[text.index(f">{box.number}<") :].split("</tr>")[0]
        assert box.pairing.entry.team.name in row
    # The factory's chicken: boxes 201 to 206, the pairing shifted by two against the team order.
    (chicken, boxes), (ribs, _) = named_boxes(contest)
    assert (chicken.key, ribs.key) == ("chicken", "ribs")
    assert [(box.number, box.table, box.team_number) for box in boxes] == [
        ("201", 1, 3), ("202", 2, 4), ("203", 1, 5), ("204", 2, 6), ("205", 1, 1), ("206", 2, 2),
    ]  # fmt: skip


def test_labels_that_the_desk_corrected_count():
    contest = make_drawn()
    one, other = contest.boxes.get(number="201"), contest.boxes.get(number="202")
    correct_labels(contest=contest, one=one, other=other, reason="seen on the lid", by="desk")
    boxes = named_boxes(opened(contest))[0][1]
    assert [(box.number, box.team_number) for box in boxes[:2]] == [("201", 4), ("202", 3)]


@pytest.mark.parametrize("part", ["announcer", "head_judge", "tally", "desk", "desk pass", "captain", "judge"])
def test_nobody_else_opens_it_or_sees_the_names(part):
    contest = make_drawn()
    client = client_for(contest, part)
    assert client.post(address(contest), {"name": contest.name, "reason": REASON}).status_code == 403
    contest.refresh_from_db()
    assert contest.seal_opened_at is None
    opened(contest)
    assert client.get(address(contest)).status_code == 403


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"name": "Another Cook-off", "reason": REASON}, "Type the name of the contest as it stands above"),
        ({"name": "", "reason": REASON}, "it is the last question"),
        ({"reason": "  "}, "the reason stands on the result"),
        ({"reason": "x" * 301}, "at most 300 characters"),
    ],
)
def test_a_question_that_was_not_answered_changes_nothing(given, said):
    contest = make_drawn()
    answer = client_for(contest, "organiser").post(address(contest), {"name": contest.name, **given})
    assert answer.status_code == 422
    text = answer.content.decode()
    assert said in text
    assert given["reason"].strip() in text
    contest.refresh_from_db()
    assert contest.seal_opened_at is None
    assert not LogRow.objects.filter(what="seal opened").exists()


def test_the_log_of_the_day_has_a_row_that_names_nobody():
    contest = opened(make_drawn())
    row = LogRow.objects.get(what="seal opened")
    assert (row.chain.name, row.facts) == ("day", '{"reason":"a dispute over who handed in"}')
    assert row.person.name == "Rowan Example"
    assert not LogRow.objects.filter(chain__name="cards").exists()
    with pytest.raises(ValidationError, match="opened already"):
        opened(contest)
    assert LogRow.objects.filter(what="seal opened").count() == 1


def test_there_is_nothing_to_open_before_the_draw_or_after_closing():
    contest = make_contest()
    with pytest.raises(ValidationError, match="nothing is sealed"):
        opened(contest)
    make_drawn(contest)
    take_in(contest)
    mark_everything(contest)
    close_tally(contest=contest, by="clerk")
    contest.refresh_from_db()
    with pytest.raises(ValidationError, match="has done its work"):
        opened(contest)
    text = client_for(contest, "organiser").get(address(contest)).content.decode()
    assert "was not opened before the tally was closed" in text
    assert "<form" not in text.split("<main")[1]


@pytest.mark.parametrize("small", [False, True])
def test_a_quiet_link_leads_there_from_the_tally_and_everybody_at_the_tally_sees_that_it_was_opened(small):
    contest = make_drawn(make_contest(small=small))
    page = reverse("judging:tally", args=[contest.slug])
    assert address(contest) in client_for(contest, "organiser").get(page).content.decode()
    assert address(contest) not in client_for(contest, "tally").get(page).content.decode()
    opened(contest)
    for part in ("organiser", "tally", "head_judge"):
        text = client_for(contest, part).get(page).content.decode()
        assert "The organiser opened the seal early" in text
        assert REASON not in text  # it may name what these roles must not know
