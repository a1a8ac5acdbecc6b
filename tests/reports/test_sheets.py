"""A team's own sheet: its marks to whoever holds the link, and to nobody else."""

import uuid

import pytest
from django.urls import reverse

from contest.models import Account, TeamMember
from judging.models import Mark
from judging.services.tally import close_tally, sign_off
from reports.results.publishing import publish
from tests.factories import client_for, make_account, make_contest, make_drawn, mark_everything, take_in

pytestmark = pytest.mark.django_db


@pytest.fixture
def contest():
    contest = make_drawn(make_contest(teams=6, tables=2, seats=6))
    take_in(contest)
    mark_everything(contest)
    return contest


def put_out(contest):
    sign_off(tally=close_tally(contest=contest, by="head judge"), by="head judge")
    publish(contest=contest, by="organiser")
    contest.refresh_from_db()
    return contest


def sheet_of(entry, name="sheet"):
    return reverse(f"reports:{name}", args=[entry.contest.slug, entry.sheet_key])


def test_a_sheet_opens_only_after_publishing(contest, client):
    entry = contest.entries.get(number=1)
    assert client.get(sheet_of(entry)).status_code == 404
    tally = close_tally(contest=contest, by="head judge")
    sign_off(tally=tally, by="head judge")
    for part in ("visitor", "organiser", "announcer"):
        for name in ("sheet", "claim"):
            assert client_for(contest, part).get(sheet_of(entry, name)).status_code == 404
    publish(contest=contest, by="organiser")
    assert client.get(sheet_of(entry)).status_code == 200


def test_a_guessed_link_opens_nothing(contest, client):
    put_out(contest)
    other = put_out(make_full())
    assert client.get(reverse("reports:sheet", args=[contest.slug, uuid.uuid4()])).status_code == 404
    # A key of another contest under this contest's address.
    key = other.entries.get(number=1).sheet_key
    assert client.get(reverse("reports:sheet", args=[contest.slug, key])).status_code == 404


def make_full():
    contest = make_drawn(make_contest(teams=6, tables=2, seats=6))
    take_in(contest)
    mark_everything(contest)
    return contest


def test_every_seats_marks_the_dropped_card_in_words_and_the_means(contest, client):
    entry = contest.boxes.get(number="203").pairing.entry
    put_out(contest)
    text = client.get(sheet_of(entry)).content.decode()
    for letter in "ABCDEF":
        assert f"Seat {letter}" in text
    # Box 203 stands at table 1 with 201 and 205. Base marks 5 + number mod 4: 6, 8, 6; a card is 4.5 × base, two of
    # the five that count have one more taste, worth 2 points. Totals: 22.5 × base + 4 = 139, 184, 139; mean 154.
    assert "<dd>184</dd>" in text
    assert "<dd>154</dd>" in text
    # Table 2: 202, 204, 206 with bases 7, 5, 7: 161.5, 116.5, 161.5. The field: 901.5 ÷ 6 = 150.25.
    assert "<dd>150.25</dd>" in text
    assert "dropped" in text
    assert "The lowest, 36, was dropped" in text
    assert text.count('class="dropped"') == len(entry.entered.all())


def test_a_sheet_holds_no_other_teams_boxes(contest, client):
    put_out(contest)
    entry = contest.entries.get(number=1)
    own = {box.number for box in contest.boxes.filter(pairing__entry=entry)}
    text = client.get(sheet_of(entry)).content.decode()
    for box in contest.boxes.all():
        assert (f'id="b{box.number}"' in text) == (box.number in own)


def test_a_penalty_stands_on_the_sheet_as_it_counted(client):
    contest = make_drawn(make_contest(teams=3, seats=6, rules="uneven-weights"))
    take_in(contest)
    mark_everything(contest)
    from judging.models import Ruling

    box = contest.boxes.get(number="201")
    Ruling.objects.create(
        contest=contest, kind="penalty", scope="criterion", criterion="appearance", box=box, reason="foil", by="head"
    )
    put_out(contest)
    text = client.get(sheet_of(box.pairing.entry)).content.decode()
    assert text.count('<td class="fig">0</td>') == 6
    assert Mark.objects.filter(value=0).count() == 0


def test_the_organiser_gets_the_links_after_publishing(contest):
    organiser = client_for(contest, "organiser")
    links = reverse("reports:sheet_links", args=[contest.slug])
    slips = reverse("reports:sheet_slips", args=[contest.slug])
    key = str(contest.entries.get(number=1).sheet_key)
    assert key not in organiser.get(links).content.decode()
    assert key not in organiser.get(slips).content.decode()
    put_out(contest)
    assert key in organiser.get(links).content.decode()
    assert organiser.get(slips).content.decode().count("data:image/svg+xml") == 6
    one = organiser.get(reverse("reports:sheet_slip", args=[contest.slug, 1])).content.decode()
    assert one.count("data:image/svg+xml") == 1


def test_an_account_adds_the_team_of_its_sheet(contest, client):
    put_out(contest)
    entry = contest.entries.get(number=1)
    account = make_account()
    client.force_login(account, backend="django.contrib.auth.backends.ModelBackend")
    assert "This is my team" in client.get(sheet_of(entry)).content.decode()
    answer = client.post(sheet_of(entry, "claim"))
    assert answer.url == reverse("reports:team", args=[entry.team.uid])
    client.post(sheet_of(entry, "claim"))
    assert TeamMember.objects.filter(team=entry.team, account=account).count() == 1
    assert "This is my team" not in client.get(sheet_of(entry)).content.decode()
    text = client.get(reverse("reports:teams")).content.decode()
    assert entry.team.name in text
    page = client.get(reverse("reports:team", args=[entry.team.uid])).content.decode()
    assert sheet_of(entry) in page
    assert contest.name in page
    assert reverse("reports:teams") in client.get("/").content.decode()


def test_a_cook_makes_an_account_where_the_sheet_lies(contest, client):
    put_out(contest)
    entry = contest.entries.get(number=2)
    given = {"username": "cook-two", "password1": "brisket-at-dawn", "password2": "brisket-at-noon"}
    answer = client.post(sheet_of(entry, "claim"), given)
    assert answer.status_code == 422
    assert 'value="cook-two"' in answer.content.decode()
    assert not Account.objects.filter(username="cook-two").exists()
    answer = client.post(sheet_of(entry, "claim"), {**given, "password2": "brisket-at-dawn"})
    assert answer.status_code == 302
    account = Account.objects.get(username="cook-two")
    assert not account.is_staff
    assert TeamMember.objects.get().account == account
    assert client.get(answer.url).status_code == 200


def test_another_teams_cook_gets_404(contest, client):
    put_out(contest)
    mine, theirs = contest.entries.get(number=1), contest.entries.get(number=2)
    account = make_account()
    TeamMember.objects.create(team=mine.team, account=account)
    client.force_login(account, backend="django.contrib.auth.backends.ModelBackend")
    assert client.get(reverse("reports:team", args=[mine.team.uid])).status_code == 200
    assert client.get(reverse("reports:team", args=[theirs.team.uid])).status_code == 404


def test_teams_are_for_accounts(contest):
    for part in ("visitor", "captain", "desk pass"):
        assert client_for(contest, part).get(reverse("reports:teams")).status_code == 302
        uid = contest.entries.get(number=1).team.uid
        assert client_for(contest, part).get(reverse("reports:team", args=[uid])).status_code == 302


def test_a_team_page_shows_no_contest_before_it_is_published(contest, client):
    entry = contest.entries.get(number=1)
    account = make_account()
    TeamMember.objects.create(team=entry.team, account=account)
    client.force_login(account, backend="django.contrib.auth.backends.ModelBackend")
    sign_off(tally=close_tally(contest=contest, by="head judge"), by="head judge")
    assert contest.name not in client.get(reverse("reports:team", args=[entry.team.uid])).content.decode()
