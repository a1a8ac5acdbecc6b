"""Helpers: roles, passes and their slips."""

import pytest
from django.core.exceptions import ValidationError
from django.test import Client
from django.urls import reverse

from contest.models import Account, ContestRole, LogRow, Pass
from contest.qr import address_of_pass, qr_svg
from contest.services.passes import find_pass, issue_pass, word_of
from contest.services.roles import give_role, make_helper, set_roles
from tests.factories import give_part, make_account, make_contest, make_drawn

pytestmark = pytest.mark.django_db


def url(name, contest, *args):
    return reverse(f"contest:{name}", args=[contest.slug, *args])


def organiser_of(contest, client):
    account = give_part(contest, "organiser")
    client.force_login(account, backend="django.contrib.auth.backends.ModelBackend")
    return account


def add(client, contest, name, *roles):
    return client.post(url("helpers", contest), {"helper-name": name, "helper-roles": list(roles)})


def test_a_name_is_enough_to_make_a_helper_who_signs_in_with_a_pass(client):
    contest = make_contest()
    organiser_of(contest, client)
    assert add(client, contest, "Clerk Rowan", "tally").status_code == 302
    helper = Account.objects.get(first_name="Clerk Rowan")
    assert helper.username == "clerk-rowan"
    assert not helper.has_usable_password()
    slip = client.get(url("slips", contest), {"for": f"account-{helper.pk}"}).content.decode()
    word = word_of(Pass.objects.get(account=helper))
    assert word in slip
    client.logout()
    client.post(reverse("contest:pass_in"), {"word": word})
    assert client.get(url("day", contest)).status_code == 200
    assert client.get(url("helpers", contest)).status_code == 403


def test_the_desk_beside_another_role_is_said_in_words_and_nothing_is_made(client):
    contest = make_contest()
    organiser_of(contest, client)
    answer = add(client, contest, "Clerk Rowan", "tally", "desk")
    assert answer.status_code == 422
    assert "knows whose box is whose and cannot hold another role" in answer.content.decode()
    assert 'value="Clerk Rowan"' in answer.content.decode()
    assert not Account.objects.filter(first_name="Clerk Rowan").exists()


def test_a_one_person_contest_lets_one_account_do_everything(client):
    contest = make_contest(one_person=True)
    organiser_of(contest, client)
    assert add(client, contest, "Clerk Rowan", "tally", "desk").status_code == 302


@pytest.mark.parametrize(
    ("name", "roles", "said"),
    [
        ("", ("tally",), "This field is required"),
        ("Clerk Rowan", (), "Tick at least one role"),
        ("clerk  yew", ("tally",), "helps here already"),
        ("Clerk Rowan", ("king",), "Select a valid choice"),
    ],
)
def test_a_helper_that_does_not_fit_is_refused(client, name, roles, said):
    contest = make_contest()
    organiser_of(contest, client)
    make_helper(contest=contest, name="Clerk Yew", parts={"tally"}, by="organiser")
    answer = add(client, contest, name, *roles)
    assert answer.status_code == 422
    assert said in answer.content.decode()
    assert Account.objects.filter(contest_roles__contest=contest).count() == 2


def test_two_helpers_of_one_name_in_two_contests_are_two_accounts():
    first, second = make_contest(), make_contest()
    made = [make_helper(contest=each, name="Clerk Rowan", parts={"tally"}, by="x") for each in (first, second)]
    assert [each.username for each in made] == ["clerk-rowan", "clerk-rowan-2"]


def test_roles_are_changed_by_ticks_and_logged_without_a_name(client):
    contest = make_contest()
    organiser_of(contest, client)
    helper = make_helper(contest=contest, name="Clerk Rowan", parts={"tally"}, by="organiser")
    client.post(url("helper_roles", contest, helper.pk), {f"account-{helper.pk}-roles": ["announcer"]})
    assert ContestRole.objects.get(account=helper).held == {"announcer"}
    rows = LogRow.objects.filter(chain__contest=contest)
    assert list(rows.values_list("what", "facts")) == [
        ("role given", '{"part":"tally"}'),
        ("role given", '{"part":"announcer"}'),
        ("role taken back", '{"part":"tally"}'),
    ]
    assert "Rowan" not in "".join(rows.values_list("facts", flat=True))


def test_a_wrong_change_of_roles_is_said_beside_that_helper(client):
    contest = make_contest()
    organiser_of(contest, client)
    helper = make_helper(contest=contest, name="Clerk Rowan", parts={"tally"}, by="organiser")
    answer = client.post(url("helper_roles", contest, helper.pk), {f"account-{helper.pk}-roles": ["tally", "desk"]})
    assert answer.status_code == 422
    assert "cannot hold another role" in answer.content.decode()
    assert ContestRole.objects.get(account=helper).held == {"tally"}


def test_no_role_left_takes_the_helper_off_the_list(client):
    contest = make_contest()
    organiser_of(contest, client)
    helper = make_helper(contest=contest, name="Clerk Rowan", parts={"tally"}, by="organiser")
    client.post(url("helper_roles", contest, helper.pk), {})
    assert not ContestRole.objects.filter(account=helper).exists()


def test_nobody_changes_sides_after_the_draw():
    contest = make_drawn()
    desk, clerk = give_part(contest, "desk"), give_part(contest, "tally")
    for account, parts in ((desk, {"tally"}), (desk, set()), (clerk, {"desk"})):
        with pytest.raises(ValidationError, match="given but not taken back"):
            set_roles(contest=contest, account=account, parts=parts, by="organiser")
    give_role(contest=contest, account=clerk, part="announcer", by="organiser")
    assert ContestRole.objects.get(account=clerk).held == {"tally", "announcer"}
    with pytest.raises(ValidationError, match="cannot hold another role"):
        give_role(contest=contest, account=desk, part="tally", by="organiser")


def test_a_contest_keeps_an_organiser(client):
    contest = make_contest()
    account = organiser_of(contest, client)
    answer = client.post(url("helper_roles", contest, account.pk), {f"account-{account.pk}-roles": ["tally"]})
    assert answer.status_code == 422
    assert "A contest needs an organiser" in answer.content.decode()


def test_somebody_with_an_account_gets_roles_and_no_slip(client):
    contest = make_contest()
    organiser_of(contest, client)
    known = make_account("known")
    typed = {"known-username": "Known", "known-roles": ["head_judge"]}
    assert client.post(url("helper_known", contest), typed).status_code == 302
    assert ContestRole.objects.get(account=known).held == {"head_judge"}
    assert client.get(url("slips", contest), {"for": f"account-{known.pk}"}).status_code == 404
    answer = client.post(url("helper_known", contest), {"known-username": "nobody", "known-roles": ["tally"]})
    assert answer.status_code == 422
    assert "Nobody signs in with this name here" in answer.content.decode()


def test_no_organiser_prints_a_pass_that_opens_more_than_their_own_contests(client):
    theirs, ours = make_contest(), make_contest()
    helper = make_helper(contest=theirs, name="Clerk Rowan", parts={"tally"}, by="x")
    organiser_of(ours, client)
    give_role(contest=ours, account=helper, part="tally", by="x")
    page = client.get(url("slips", ours)).content.decode()
    assert word_of(Pass.objects.get(account=helper)) not in page
    assert client.get(url("slips", ours), {"for": f"account-{helper.pk}"}).status_code == 404
    assert client.post(url("new_pass", ours), {"for": f"account-{helper.pk}"}).status_code == 404


def test_nobody_prints_a_pass_of_the_installations_owner(client):
    contest = make_contest()
    account = organiser_of(contest, client)
    owner = make_account("owner")
    owner.set_unusable_password()
    owner.is_superuser = True
    owner.save()
    give_role(contest=contest, account=owner, part="tally", by="x")
    keys = [f"account-{each.pk}" for each in (account, owner)]
    assert [client.get(url("slips", contest), {"for": key}).status_code for key in keys] == [404, 404]


def test_slips_for_the_desk_each_table_and_each_helper(client):
    contest = make_contest(tables=2)
    organiser_of(contest, client)
    make_helper(contest=contest, name="Clerk Rowan", parts={"tally"}, by="x")
    page = client.get(url("slips", contest)).content.decode()
    for name in ("Turn-in desk", "Captain of table 1", "Captain of table 2", "Clerk Rowan"):
        assert f"<h2>{name}</h2>" in page
    assert "Tally clerk." in page
    assert page.count('class="slip"') == 4
    assert page.count("<svg") == 4
    assert " style=" not in page
    for table in contest.tables.all():
        assert word_of(Pass.objects.get(table=table)) in page


def test_a_slip_shown_twice_is_the_same_slip(client):
    contest = make_contest()
    organiser_of(contest, client)
    client.get(url("slips", contest))
    client.get(url("slips", contest))
    assert Pass.objects.count() == 2


def test_a_new_pass_word_voids_the_old_one(client):
    contest = make_contest()
    organiser_of(contest, client)
    old = word_of(issue_pass(opens="desk", contest=contest))
    answer = client.post(url("new_pass", contest), {"for": "desk"}, follow=True)
    assert find_pass(old) is None
    new = word_of(Pass.objects.get(revoked_at=None))
    assert new in answer.content.decode()
    assert not LogRow.objects.filter(what="pass reissued").exists()


def test_a_new_pass_word_ends_the_sessions_of_the_old_one(client):
    contest = make_contest()
    organiser_of(contest, client)
    helper = make_helper(contest=contest, name="Clerk Rowan", parts={"tally"}, by="x")
    phone = Client()
    phone.post(reverse("contest:pass_in"), {"word": word_of(Pass.objects.get(account=helper))})
    assert phone.get(url("day", contest)).status_code == 200
    client.post(url("new_pass", contest), {"for": f"account-{helper.pk}"})
    assert phone.get(url("day", contest)).status_code == 302
    phone.post(reverse("contest:pass_in"), {"word": word_of(Pass.objects.get(account=helper, revoked_at=None))})
    assert phone.get(url("day", contest)).status_code == 200


def test_after_the_draw_a_new_pass_word_is_logged_and_the_page_says_so_before(client):
    contest = make_drawn()
    organiser_of(contest, client)
    helper = make_helper(contest=contest, name="Clerk Rowan", parts={"tally"}, by="x")
    assert "printed on the result" in client.get(url("slips", contest)).content.decode()
    client.post(url("new_pass", contest), {"for": "table-1"})
    client.post(url("new_pass", contest), {"for": f"account-{helper.pk}"})
    facts = LogRow.objects.filter(chain__contest=contest, what="pass reissued").values_list("facts", flat=True)
    assert list(facts) == ['{"opens":"table","table":1}', '{"opens":"account"}']


def test_a_door_that_is_not_there_is_not_found(client):
    contest = make_contest()
    organiser_of(contest, client)
    assert client.get(url("slips", contest), {"for": "table-9"}).status_code == 404
    assert client.post(url("new_pass", contest), {}).status_code == 404


def test_the_code_leads_phones_to_an_address_they_reach(rf, settings):
    settings.ALLOWED_HOSTS = ["localhost", "127.0.0.1", "[::1]", "192.168.7.4"]
    here = rf.get("/", headers={"host": "localhost:8000"})
    there = rf.get("/", headers={"host": "192.168.7.4:8000"})
    assert address_of_pass(here, "abcd") == "http://192.168.7.4:8000/in/#abcd"
    assert address_of_pass(there, "abcd") == "http://192.168.7.4:8000/in/#abcd"
    settings.ALLOWED_HOSTS = ["localhost"]
    assert address_of_pass(here, "abcd") == "http://localhost:8000/in/#abcd"


@pytest.mark.parametrize(
    ("host", "warned"), [("localhost", True), ("127.0.0.1:8000", True), ("[::1]:8000", True), ("192.168.7.4", False)]
)
def test_slips_that_lead_nowhere_from_a_phone_say_so(client, settings, host, warned):
    settings.ALLOWED_HOSTS = ["localhost", "127.0.0.1", "[::1]"] + ([] if warned else ["192.168.7.4"])
    contest = make_contest()
    organiser_of(contest, client)
    page = client.get(url("slips", contest), headers={"host": host}).content.decode()
    assert ("works on this computer only" in page) == warned


def test_the_code_is_plain_svg():
    svg = qr_svg("http://192.168.7.4:8000/in/#k7pm-3xwa-9hqt")
    assert svg.startswith("<svg")
    assert "style=" not in svg
    assert "<script" not in svg
