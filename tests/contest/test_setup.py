"""The set-up of a full contest."""

from datetime import UTC, date, datetime, time

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse

from contest import day
from contest.models import Contest, ContestRole, RuleSet, Season, Table
from contest.services import setup
from contest.services.rulesets import shipped_rule_set
from tests.factories import client_for, make_account, make_card, make_contest, make_drawn

pytestmark = pytest.mark.django_db

UID = "11111111-2222-4333-8444-555555555555"


def url(name, contest, *args):
    return reverse(f"contest:{name}", args=[contest.slug, *args])


def details(contest, **changes):
    typed = {
        "name": contest.name,
        "place": contest.place,
        "date": contest.date.isoformat(),
        "time_zone": contest.time_zone,
        "rule_set": contest.rule_set_id,
        "conflicts": contest.conflicts,
        **changes,
    }
    return {f"details-{key}": value for key, value in typed.items()}


def category(**changes):
    typed = {
        "name": "Brisket",
        "time": "13:30",
        "minutes_before": 5,
        "minutes_after": 5,
        "counts_overall": "on",
        "places_called": 3,
    }
    return {key: value for key, value in (typed | changes).items() if value is not None}


def test_five_questions_lead_to_the_set_up(client):
    account = make_account()
    client.force_login(account, backend="django.contrib.auth.backends.ModelBackend")
    typed = {
        "uid": UID,
        "name": "Example Cook-off One",
        "date": "2030-06-15",
        "place": "Example Green",
        "time_zone": "America/Chicago",
        "rule_set": shipped_rule_set("taste-double").pk,
    }
    answer = client.post("/new/", typed)
    contest = Contest.objects.get()
    assert answer.url == url("setup", contest)
    assert contest.slug == "example-cook-off-one"
    assert ContestRole.objects.get().held == {"organiser"}
    assert client.post("/new/", typed).url == answer.url
    assert Contest.objects.count() == 1


@pytest.mark.parametrize("field", ["name", "date", "time_zone", "rule_set"])
def test_a_question_left_open_is_said(client, field):
    client.force_login(make_account(), backend="django.contrib.auth.backends.ModelBackend")
    rules = shipped_rule_set("taste-double").pk
    typed = {"uid": UID, "name": "A name", "date": "2030-06-15", "time_zone": "UTC", "rule_set": rules}
    answer = client.post("/new/", typed | {field: ""})
    assert answer.status_code == 422
    assert "This field is required" in answer.content.decode()


def test_a_typed_address_that_is_taken_is_refused():
    there = make_contest(slug="example")
    with pytest.raises(ValidationError, match="Another contest has this address"):
        setup.create_contest(
            organiser=make_account(),
            name="Example",
            date=there.date,
            time_zone="UTC",
            rule_set=there.rule_set,
            slug="example",
        )


def test_names_without_latin_letters_still_get_addresses():
    make = {"organiser": make_account(), "date": date(2030, 6, 15), "time_zone": "UTC"}
    made = [setup.create_contest(name="烧烤", rule_set=shipped_rule_set("plain-points"), **make) for _ in range(2)]
    assert [contest.slug for contest in made] == ["contest", "contest-2"]
    noon = datetime(2030, 6, 15, 12, tzinfo=UTC)
    keys = [setup.add_category(contest=made[0], name=name, turn_in_at=noon).key for name in ("鸡", "猪", "Overall")]
    assert keys == ["category", "category-2", "overall-2"]


def test_an_unknown_clock_is_refused():
    with pytest.raises(ValidationError, match="no time zone"):
        setup.create_contest(
            organiser=make_account(),
            name="Example",
            date=date(2030, 6, 15),
            time_zone="Mars/Base",
            rule_set=shipped_rule_set("plain-points"),
        )


def test_categories_stand_in_the_order_of_their_times():
    contest = make_contest(categories=("chicken", "ribs"))
    client_for(contest, "organiser").post(url("category_new", contest), category(name="Sausage", time="11:30"))
    assert list(contest.categories.values_list("key", flat=True)) == ["sausage", "chicken", "ribs"]


def test_teams_on_the_list_enter_a_category_that_is_added():
    contest = make_contest(teams=5)
    client_for(contest, "organiser").post(url("category_new", contest), category())
    assert contest.categories.get(key="brisket").entered.count() == 5


def test_a_turn_in_after_midnight_is_on_the_next_day():
    contest = make_contest(time_zone="America/New_York")
    client_for(contest, "organiser").post(url("category_new", contest), category(time="00:30", next_day="on"))
    # New York keeps UTC-4 in June (tz database).
    assert contest.categories.get(key="brisket").turn_in_at == datetime(2026, 6, 14, 4, 30, tzinfo=UTC)
    page = client_for(contest, "organiser").get(url("category", contest, "brisket")).content.decode()
    assert 'value="00:30"' in page
    assert "checked" in page.split('name="next_day"')[1].split(">")[0]


def test_turn_ins_move_with_the_date_and_the_clock():
    contest = make_contest(categories=("ribs",), time_zone="UTC")
    setup.change_details(contest=contest, by="organiser", date=date(2026, 7, 4), time_zone="Asia/Tokyo")
    # Noon in Tokyo, UTC+9 all year (tz database).
    assert contest.categories.get().turn_in_at == datetime(2026, 7, 4, 3, 0, tzinfo=UTC)


def test_turn_ins_keep_their_hour_across_a_change_of_the_clocks():
    contest = make_contest(categories=("ribs",), time_zone="Europe/Lisbon", date=date(2026, 10, 24))
    row = contest.categories.get()
    row.turn_in_at = setup.local_moment(contest, time(12))
    row.save()
    setup.change_details(contest=contest, by="organiser", date=date(2026, 10, 25))
    row.refresh_from_db()
    # The European Union's clocks go back on the last Sunday of October.
    assert row.turn_in_at == datetime(2026, 10, 25, 12, 0, tzinfo=UTC)


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"name": "Ribs"}, "There is a category Ribs already"),
        ({"name": ""}, "This field is required"),
        ({"time": "25:00"}, "hours and minutes"),
        ({"minutes_before": "500"}, "less than or equal to 120"),
        ({"places_called": "-1"}, "greater than or equal to 0"),
        ({"rule_set": "999999"}, "Select a valid choice"),
    ],
)
def test_a_category_that_does_not_fit_is_refused_and_kept(changes, said):
    contest = make_contest()
    answer = client_for(contest, "organiser").post(url("category_new", contest), category(**changes))
    assert answer.status_code == 422
    assert said in answer.content.decode()
    assert contest.categories.count() == 2
    assert 'value="3"' in answer.content.decode() or "places_called" in changes


def test_rules_of_its_own_that_do_not_fit_the_seats_are_refused():
    contest = make_contest(seats=3, rules="plain-points")
    own = shipped_rule_set("taste-double")
    answer = client_for(contest, "organiser").post(url("category_new", contest), category(rule_set=own.pk))
    assert answer.status_code == 422
    assert "needs 4 cards a box at least: 3 seats are too few" in answer.content.decode()
    assert not contest.categories.filter(key="brisket").exists()


def test_a_category_is_changed_and_removed():
    contest = make_contest()
    organiser = client_for(contest, "organiser")
    organiser.post(url("category", contest, "ribs"), category(name="Spare ribs", time="15:00", counts_overall=None))
    row = contest.categories.get(key="ribs")
    assert (row.name, row.counts_overall, row.turn_in_at.hour) == ("Spare ribs", False, 15)
    organiser.post(url("category_remove", contest, "ribs"))
    assert not contest.categories.filter(key="ribs").exists()


def test_after_draw_only_name_and_places_of_a_category_change():
    contest = make_drawn()
    organiser = client_for(contest, "organiser")
    organiser.post(url("category", contest, "ribs"), {"places_called": 10, "name": "Other", "time": "09:00"})
    row = contest.categories.get(key="ribs")
    assert (row.name, row.places_called, f"{row.turn_in_at:%H:%M}") == ("Other", 10, "12:30")
    assert organiser.get(url("category_new", contest)).status_code == 404
    organiser.post(url("category_remove", contest, "ribs"))
    assert contest.categories.filter(key="ribs").exists()
    with pytest.raises(ValidationError, match="boxes are drawn"):
        setup.change_category(category=row, by="organiser", minutes_after=9)
    with pytest.raises(ValidationError, match="new draw"):
        setup.add_category(contest=contest, name="Pork", turn_in_at=row.turn_in_at)


def test_tables_and_seats_grow_and_shrink():
    contest = make_contest(tables=1, seats=6)
    organiser = client_for(contest, "organiser")
    organiser.post(url("setup_tables", contest), {"tables-tables": 3, "tables-seats": 5})
    assert [(table.number, table.seats.count()) for table in contest.tables.all()] == [(1, 5), (2, 5), (3, 5)]
    organiser.post(url("setup_tables", contest), {"tables-tables": 2, "tables-seats": 6})
    assert "".join(seat.letter for seat in Table.objects.get(contest=contest, number=2).seats.all()) == "ABCDEF"
    assert contest.tables.count() == 2


@pytest.mark.parametrize(
    ("tables", "seats", "said"),
    [
        ("0", "6", "greater than or equal to 1"),
        ("2", "7", "takes 6 cards a box at most"),
        ("2", "3", "needs 4 cards a box at least"),
        ("two", "6", "Enter a whole number"),
    ],
)
def test_seats_that_do_not_fit_the_rules_are_refused(tables, seats, said):
    contest = make_contest()
    answer = client_for(contest, "organiser").post(
        url("setup_tables", contest), {"tables-tables": tables, "tables-seats": seats}
    )
    assert answer.status_code == 422
    assert said in answer.content.decode()
    assert contest.tables.count() == 1


def test_after_the_draw_tables_stay():
    contest = make_drawn()
    answer = client_for(contest, "organiser").post(
        url("setup_tables", contest), {"tables-tables": 2, "tables-seats": 6}
    )
    assert answer.status_code == 422
    assert contest.tables.count() == 1


def test_particulars_are_saved_with_a_new_season():
    contest = make_contest()
    organiser = client_for(contest, "organiser")
    answer = organiser.post(url("setup", contest), details(contest, name="Renamed", season_name="Valley", most_boxes=8))
    contest.refresh_from_db()
    assert answer.status_code == 302
    assert (contest.name, str(contest.season), contest.most_boxes) == ("Renamed", "Valley 2026", 8)
    organiser.post(url("setup", contest), details(contest, season_name="Valley"))
    assert Season.objects.count() == 1


def test_a_rule_set_that_does_not_fit_the_seats_is_refused_and_nothing_half_saved():
    contest = make_contest(seats=3, rules="plain-points")
    wanted = shipped_rule_set("taste-double")
    answer = client_for(contest, "organiser").post(
        url("setup", contest), details(contest, name="Renamed", rule_set=wanted.pk)
    )
    assert answer.status_code == 422
    assert "3 seats are too few" in answer.content.decode()
    contest.refresh_from_db()
    assert contest.name != "Renamed"
    assert contest.rule_set != wanted


def test_after_the_draw_name_and_place_change_and_the_rest_stays():
    contest = make_drawn()
    organiser = client_for(contest, "organiser")
    organiser.post(url("setup", contest), details(contest, name="Renamed", place="Elsewhere", date="2031-01-01"))
    contest.refresh_from_db()
    assert (contest.name, contest.place, contest.date) == ("Renamed", "Elsewhere", date(2026, 6, 13))
    with pytest.raises(ValidationError, match="boxes are drawn"):
        setup.change_details(contest=contest, by="organiser", date=date(2031, 1, 1))


def test_one_person_is_declared_once_and_printed():
    contest = make_contest()
    organiser = client_for(contest, "organiser")
    assert organiser.post(url("setup_one_person", contest), {}).status_code == 422
    organiser.post(url("setup_one_person", contest), {"one_person-sure": "on"})
    contest.refresh_from_db()
    assert contest.one_person
    assert contest.roles.get().held == {"organiser", "announcer", "head_judge", "tally", "desk"}
    assert contest.log_chains.get(name="day").rows.filter(what="one person declared").count() == 1
    assert "cannot be taken back" in organiser.get(url("setup", contest)).content.decode()


def test_one_person_is_refused_after_the_first_card():
    contest = make_drawn()
    box = contest.boxes.first()
    make_card(box, box.table.seats.first(), {"appearance": 7, "taste": 7, "tenderness": 7})
    answer = client_for(contest, "organiser").post(url("setup_one_person", contest), {"one_person-sure": "on"})
    contest.refresh_from_db()
    assert answer.status_code == 422
    assert not contest.one_person
    assert day.in_the_way("one_person", contest)


def test_a_contest_without_a_draw_is_deleted_and_one_with_a_draw_is_not():
    contest = make_contest()
    organiser = client_for(contest, "organiser")
    assert organiser.post(url("setup_delete", contest), {}).status_code == 422
    organiser.post(url("setup_delete", contest), {"delete-sure": "on"})
    assert not Contest.objects.filter(pk=contest.pk).exists()
    drawn = make_drawn()
    answer = client_for(drawn, "organiser").post(url("setup_delete", drawn), {"delete-sure": "on"})
    assert answer.status_code == 422
    assert Contest.objects.filter(pk=drawn.pk).exists()


def test_the_day_says_what_is_missing_in_order(client):
    account = make_account()
    contest = setup.create_contest(
        organiser=account,
        name="Example",
        date=date(2030, 6, 15),
        time_zone="UTC",
        rule_set=shipped_rule_set("taste-double"),
    )
    texts = [todo.text for todo in day.steps(contest)[0].todos]
    assert texts[:3] == [
        "Add the categories and their turn-in times.",
        "Say how many tables judge, and their seats.",
        "Enter the teams.",
    ]
    setup.add_category(contest=contest, name="Ribs", turn_in_at=datetime(2030, 6, 15, 12, 30, tzinfo=UTC))
    setup.set_tables(contest=contest, tables=2, seats=6)
    before = day.steps(contest)[0]
    assert before.todos[0].text == "Enter the teams."
    assert before.lines[:3] == ["Taste double", "1 category, 12:30", "2 tables"]


def test_the_overall_keeps_the_rules_of_the_draw(client):
    from contest.selectors.rules import contest_rules
    from contest.services.draw import make_draw

    contest = make_contest()
    make_draw(contest=contest, by="organiser")
    RuleSet.objects.filter(pk=contest.rule_set_id).update(document=shipped_rule_set("plain-points").document)
    contest = Contest.objects.get(pk=contest.pk)
    assert contest_rules(contest).name == "Taste double"
