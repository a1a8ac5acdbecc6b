"""Making the draw: what is checked, what is kept, what stays sealed."""

import json
from hashlib import sha256

import pytest
from django.utils import timezone

from contest.models import Box, Contest, Draw, Entered, Entry, LabelCorrection, LogRow, Pairing, Pass, TurnIn
from contest.rules.draw import recompute
from contest.selectors.boxes import standing_boxes, statuses, to_judge
from contest.selectors.pairing import boxes_of_teams, entry_of_boxes
from contest.services.draw import DrawRefused, make_draw
from tests.factories import make_contest, make_drawn, make_rule_set, take_in

pytestmark = pytest.mark.django_db


def drawn(**fields):
    contest = make_contest(**fields)
    make_draw(contest=contest, by="organiser")
    return contest


def test_every_entry_gets_one_box_and_the_contest_is_sealed():
    contest = drawn(teams=7, tables=2)
    assert Contest.objects.get().state == "sealed"
    for category in contest.categories.all():
        owners = sorted(Pairing.objects.filter(box__category=category).values_list("entry__number", flat=True))
        assert owners == [1, 2, 3, 4, 5, 6, 7]
        loads = sorted(category.boxes.filter(table__number=number).count() for number in (1, 2))
        assert loads == [3, 4]


def test_withdrawn_entries_are_left_out():
    contest = make_contest(teams=5)
    Entered.objects.filter(entry__number=3, category__key="ribs").update(
        withdrawn_at=timezone.now(), withdrawn_why="went home"
    )
    make_draw(contest=contest, by="organiser")
    assert list(boxes_of_teams(contest.categories.get(key="ribs"))) == [1, 2, 4, 5]
    assert list(boxes_of_teams(contest.categories.get(key="chicken"))) == [1, 2, 3, 4, 5]


def test_rules_are_frozen_so_that_later_edits_do_not_reach_the_contest():
    contest = drawn()
    contest.rule_set.document = "changed"
    contest.rule_set.save()
    frozen = set(contest.categories.values_list("frozen_rules", flat=True))
    assert len(frozen) == 1
    assert 'name = "Taste double"' in frozen.pop()


def test_the_texts_fit_their_sums_and_recompute():
    """The sums are recomputed with the standard library's SHA-256 (FIPS 180-4), as `sha256sum` would."""
    drawn(teams=8, tables=2)
    draw = Draw.objects.get()
    assert len(draw.secret_text.strip()) == 64
    assert draw.commitment == sha256(draw.secret_text.encode()).hexdigest()
    assert draw.seed == sha256((draw.secret_text + draw.public_text).encode()).hexdigest()
    assert draw.fingerprint == sha256(draw.draw_text.encode()).hexdigest()
    assert recompute(draw.draw_text)


def test_every_draw_has_a_secret_of_its_own():
    drawn()
    drawn()
    assert len(set(Draw.objects.values_list("secret_text", flat=True))) == 2


def test_row_ids_follow_the_random_numbers_and_tell_nothing():
    drawn(teams=12, tables=2)
    numbers = list(Box.objects.order_by("pk").values_list("number", flat=True))
    assert len(numbers) == 24
    assert numbers == sorted(numbers)
    assert list(Pairing.objects.order_by("pk").values_list("box__number", flat=True)) == numbers


def test_box_numbers_are_never_team_numbers():
    contest = make_contest(teams=6)
    for entry in contest.entries.all():
        entry.number += 400
        entry.save()
    make_draw(contest=contest, by="organiser")
    teams = {str(number) for number in contest.entries.values_list("number", flat=True)}
    assert not teams & set(Box.objects.values_list("number", flat=True))


def test_the_log_holds_the_sums_and_never_the_pairing():
    drawn()
    draw = Draw.objects.get()
    row = LogRow.objects.get(what="boxes drawn")
    facts = json.loads(row.facts)
    assert (facts["commitment"], facts["fingerprint"], facts["boxes"]) == (draw.commitment, draw.fingerprint, 12)
    assert set(facts) == {"draw", "commitment", "fingerprint", "boxes", "quality", "rules"}
    assert not any(name in row.facts for name in Entry.objects.values_list("team__name", flat=True))
    assert draw.secret_text.strip() not in row.facts
    assert draw.seed not in row.facts


def test_the_desk_has_its_pass_from_the_draw_on():
    drawn()
    assert Pass.objects.get().opens == "desk"


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda contest: contest.categories.all().delete(), "There is no category yet."),
        (lambda contest: contest.tables.all().delete(), "There is no table yet."),
        (
            lambda contest: Entered.objects.filter(category__key="ribs").delete(),
            "Ribs: no team has entered. Enter teams, or cancel the category.",
        ),
        (
            lambda contest: contest.tables.get().seats.filter(letter__in="CDEF").delete(),
            "Chicken, table 1: 2 judges, but Taste double ranks no box with fewer than 4 cards.",
        ),
        (
            lambda contest: contest.tables.get().seats.create(letter="G"),
            "Chicken, table 1: 7 judges, but Taste double takes 6 cards for a box at most.",
        ),
        (
            lambda contest: contest.categories.filter(key="ribs").update(rule_set=broken_rules()),
            "Ribs: its rule set cannot be used:",
        ),
        (
            lambda contest: Contest.objects.update(most_boxes=5),
            "Chicken: 6 boxes for 5 places at 1 table of 5; add a table or allow 6 boxes a table.",
        ),
    ],
)
def test_what_cannot_be_drawn_is_refused_with_its_name_and_nothing_is_written(change, words):
    contest = make_contest()
    change(contest)
    contest.refresh_from_db()
    with pytest.raises(DrawRefused) as refusal:
        make_draw(contest=contest, by="organiser")
    assert words in str(refusal.value)
    assert not Draw.objects.exists()
    assert not Box.objects.exists()
    assert not LogRow.objects.exists()
    assert Contest.objects.get().state == "preparing"
    assert set(contest.categories.values_list("frozen_rules", flat=True)) <= {""}


def broken_rules():
    rules = make_rule_set()
    rules.document = 'name = "No criteria"'
    rules.save()
    return rules


def test_a_vacant_seat_hands_in_no_card_and_does_not_count():
    contest = make_contest(seats=7)
    for sitting in contest.tables.get().seats.get(letter="G").sittings.all():
        sitting.judge, sitting.vacant = None, True
        sitting.save()
    make_draw(contest=contest, by="organiser")
    assert Box.objects.count() == 12


def test_a_second_draw_is_refused():
    contest = drawn()
    with pytest.raises(DrawRefused, match="drawn already"):
        make_draw(contest=contest, by="organiser")
    assert Draw.objects.count() == 1


def test_a_cancelled_category_is_not_drawn():
    contest = make_contest()
    contest.categories.filter(key="ribs").update(cancelled_at=timezone.now(), cancelled_why="no smoke")
    make_draw(contest=contest, by="organiser")
    assert set(Box.objects.values_list("category__key", flat=True)) == {"chicken"}


def test_label_corrections_are_applied_in_their_order():
    contest = make_drawn(teams=4, categories=("chicken",))
    a, b, c, _ = standing_boxes(contest)
    before = {pk: entry.number for pk, entry in entry_of_boxes(contest).items()}
    for one, other in ((a, b), (b, c)):
        LabelCorrection.objects.create(contest=contest, one=one, other=other, reason="swapped", by="desk")
    after = {pk: entry.number for pk, entry in entry_of_boxes(contest).items()}
    assert (after[a.pk], after[b.pk], after[c.pk]) == (before[b.pk], before[c.pk], before[a.pk])


def test_statuses_and_what_is_to_be_judged():
    contest = make_drawn(teams=5, categories=("chicken", "ribs"))
    boxes = list(standing_boxes(contest))
    for box, status in zip(boxes, ("accepted", "late", "absent", "refused", "undone"), strict=False):
        TurnIn.objects.create(box=box, status=status, by="desk", reason="why")
    assert [statuses(contest).get(box.pk) for box in boxes[:5]] == ["accepted", "late", "absent", "refused", None]
    contest.categories.filter(key="ribs").update(cancelled_at=timezone.now(), cancelled_why="no smoke")
    assert to_judge(contest) == {boxes[0].pk, boxes[4].pk}


def test_statuses_of_a_superseded_draw_do_not_count():
    contest = make_drawn()
    take_in(contest)
    Draw.objects.update(standing=False)
    assert statuses(contest) == {}
    assert list(standing_boxes(contest)) == []
