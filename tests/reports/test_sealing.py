"""How a contest was sealed: every thing that bears on it is a row of the log and a line on the published result."""

import json
from decimal import Decimal

import pytest
from django.urls import reverse

from contest.models import Contest, LogRow, Pass
from contest.services.desk import log_sign_in
from contest.services.passes import issue_pass, reissue_pass, word_of
from contest.services.people import change_entry
from contest.services.roles import give_role
from contest.services.sealing import open_seal
from contest.services.setup import change_category, declare_one_person
from judging.models import Reading
from judging.services.cards import hand_in_sheet
from judging.services.tally import revise, sign_off, unlock_marks
from reports.paper import catalogue
from reports.paper.look import Options
from reports.results.packaging import package_files
from reports.results.publishing import publish
from reports.rules.package.archive import unpack
from reports.rules.package.verify import verify
from tests.factories import client_for, give_part, make_account
from tests.running import close_and_publish, run_day

pytestmark = pytest.mark.django_db
PERSON = "Larch Person"


def as_person(contest: Contest, part: str):
    account = give_part(contest, part)
    account.first_name = PERSON
    account.save()
    return account


def page_of(client, contest: Contest) -> str:
    """The published result as everybody reads it."""
    return client.get(reverse("reports:results", args=[contest.slug])).content.decode()


def book_of(contest: Contest) -> str:
    return "".join(sheet.body() for sheet in catalogue.PAPERS["book"].build(contest, Options()))


def everything(client) -> Contest:
    """One of each thing that bears on the seal, done by somebody with a name."""

    def before(contest: Contest) -> None:
        declare_one_person(contest=contest, account=as_person(contest, "organiser"), by=PERSON)

    contest = run_day(before=before, redrawn="a table broke")
    entry = contest.entries.get(number=4)
    change_entry(entry=entry, number=4, team_name="Team Larch", head_cook="", home="", by=PERSON)
    change_category(category=contest.categories.get(key="ribs"), by=PERSON, name="Spare ribs")
    open_seal(contest=contest, name=contest.name, reason="a dispute at the desk", by=PERSON)
    for _ in range(3):
        held = issue_pass(opens=Pass.Opens.DESK, contest=contest)
        client.post(reverse("contest:pass_in"), {"word": word_of(held)})
    log_sign_in(account=as_person(contest, "desk"), address="192.0.2.7")
    reissue_pass(held=issue_pass(opens="table", contest=contest, table=contest.tables.get(number=2)), by=PERSON)
    reissue_pass(held=issue_pass(opens="desk", contest=contest), by=PERSON)
    give_role(contest=contest, account=make_account(), part="announcer", by=PERSON)
    close_and_publish(contest)
    return contest


#: In the order of the day; each is the sentence on the page for what `everything` did.
LINES = (
    "One person was declared to work both the desk and the tally.",
    "The boxes were drawn (draw 1); 12 boxes.",
    "The boxes were drawn (draw 2); 12 boxes. Reason for drawing again: a table broke",
    "The desk corrected two swapped labels: boxes ",
    "The head judge ruled: a penalty for appearance of box ",
    "The head judge ruled: a card of box ",
    "A card of box ",
    "The head judge took a ruling back: a penalty for box ",
    "The head judge ruled: box ",
    "The head judge ruled: the team of box ",
    "The name of team 4 was corrected after the draw: “Team ",
    "” is now “Team Larch”.",
    "The name of a category was corrected after the draw: “Ribs” is now “Spare ribs”.",
    "The seal was opened early: the organiser saw names beside boxes from here on. Reason: a dispute at the desk",
    "Somebody signed in at the turn-in desk.",
    "A new pass word was made for a table captain of table 2; the one before it no longer opens.",
    "A new pass word was made for the turn-in desk; the one before it no longer opens.",
    "After the draw somebody was given a role: announcer.",
    "The tally was closed.",
    "The head judge signed off revision 1.",
    "Revision 1 was published.",
)

SENTENCES = (
    "One person worked both the turn-in desk and the tally.",
    "The boxes were drawn 2 times; the last draw stands.",
    "2 names were corrected after the draw.",
    "The turn-in desk signed in 4 times.",
    "2 pass words were given anew after the draw.",
    "One role was given after the draw.",
    "The desk corrected swapped labels once.",
    # The field's day: one card marked anew after its dismissal, one misread.
    "2 cards were corrected after they were handed in.",
    # A penalty, a lost card, a dismissed one, a ruling taken back, a box and a team disqualified.
    "The head judge made 6 rulings.",
    "One ruling was taken back.",
)


def test_every_one_of_them_is_a_line_on_the_published_result_and_in_the_book(client):
    contest = everything(client)
    opened = contest.local(contest.seal_opened_at)
    sentence = f"The seal was opened early on {opened.day} {opened:%B} {opened:%H:%M}, by the organiser: a dispute"
    for text in (page_of(client, contest), book_of(contest)):
        place = 0
        for line in LINES:
            place = text.find(line, place) if line != "A card of box " else text.find(line)
            assert place != -1, line
        for said in (*SENTENCES, sentence):
            assert said in text, said
        assert text.count("Somebody signed in at the turn-in desk.") == 4


def test_public_lines_name_no_person_no_address_and_no_seat(client):
    contest = everything(client)
    sealed = page_of(client, contest).split("How the contest was sealed")[1]
    for private in (PERSON, "192.0.2.7", "seen at the table", "misread", "seat"):
        assert private not in sealed, private
    for row in LogRow.objects.filter(chain__contest=contest):
        assert PERSON not in row.facts
        assert "192.0.2.7" not in row.facts


def test_the_rulings_say_what_they_were_about(client):
    contest = close_and_publish(run_day())
    text = page_of(client, contest)
    for ruling in contest.rulings.select_related("box__category"):
        box = f"box {ruling.box.number} ({ruling.box.category.key})"
        assert text.count(box) >= 1, ruling


def test_a_contest_in_which_nothing_happened_says_that_nothing_did(client):
    from tests.reports.test_results_pages import make_published

    text = page_of(client, make_published())
    for said in (
        "No account held the turn-in desk beside any other role.",
        "The seal was not opened before the tally was closed.",
        "The boxes were drawn once.",
        "Nobody signed in at the turn-in desk.",
        "No pass word was given anew after the draw.",
        "No name was corrected after the draw.",
        "No label was found swapped.",
        "No card was corrected after it was handed in.",
        "The head judge made no ruling.",
    ):
        assert said in text, said
    assert "opened early" not in text


def test_unlocking_and_revising_are_lines_once_each(client):
    contest = close_and_publish(run_day())
    unlock_marks(contest=contest, reason="a card was misread", by=PERSON)
    correct_one(contest)
    sign_off(tally=revise(contest=contest, reason="a card was misread", by=PERSON), by=PERSON)
    publish(contest=contest, by=PERSON)
    text = page_of(client, contest)
    assert text.count("The marks were unlocked. Reason: a card was misread") == 1
    assert "Locked marks were unlocked once." in text
    assert "The result was revised once." in text
    assert "The result was revised: revision 2. Reason: a card was misread" in text


def correct_one(contest: Contest) -> None:
    found = Reading.objects.filter(standing=True, card__box__draw__standing=True, card__box__contest=contest)
    reading = found.filter(card__box__rulings__isnull=True, card__seat__letter="A").first()
    marks = {mark.criterion: mark.value for mark in reading.marks.all()}
    marks["taste"] = Decimal(9) if marks["taste"] != 9 else Decimal(8)
    box = reading.card.box
    hand_in_sheet(
        contest=contest, category=box.category, seat=reading.card.seat, marks={box.number: marks},
        by="clerk", reason="misread",
    )  # fmt: skip


# The package


def test_the_package_tells_of_it_and_the_verifier_reads_it_out(client):
    contest = everything(client)
    files = unpack(bytes(contest.publications.get().package))
    facts = json.loads(files["contest.json"])
    assert facts["one_person"] is True
    assert facts["seal_opened"]["reason"] == "a dispute at the desk"
    findings = verify(files)
    assert [finding.text for finding in findings if not finding.holds] == []
    assert any("the seal was opened early: a dispute at the desk" in finding.text for finding in findings)
    assert any("“Ribs” became “Spare ribs”" in finding.text for finding in findings)


def test_a_package_that_hides_it_fails():
    contest = run_day()
    open_seal(contest=contest, name=contest.name, reason="a dispute", by=PERSON)
    close_and_publish(contest)
    files = package_files(contest, contest.tallies.get())
    facts = json.loads(files["contest.json"])
    for told in (None, {"at": facts["seal_opened"]["at"], "reason": "to see that all is well"}):
        files["contest.json"] = json.dumps({**facts, "seal_opened": told}).encode()
        wrong = [finding.text for finding in verify(files) if not finding.holds]
        assert "contest.json does not say of the seal what the log of the day says." in wrong


def test_a_package_that_invents_it_fails():
    contest = close_and_publish(run_day())
    files = package_files(contest, contest.tallies.get())
    facts = json.loads(files["contest.json"])
    assert facts["seal_opened"] is None
    files["contest.json"] = json.dumps({**facts, "seal_opened": {"at": "", "reason": "x"}}).encode()
    wrong = [finding.text for finding in verify(files) if not finding.holds]
    assert "contest.json does not say of the seal what the log of the day says." in wrong


def test_a_package_that_hides_the_one_person_fails():
    contest = close_and_publish(
        run_day(before=lambda each: declare_one_person(contest=each, account=give_part(each, "organiser"), by="x"))
    )
    files = package_files(contest, contest.tallies.get())
    facts = json.loads(files["contest.json"])
    files["contest.json"] = json.dumps({**facts, "one_person": False}).encode()
    wrong = [finding.text for finding in verify(files) if not finding.holds]
    assert "The log says that one person worked desk and tally; contest.json does not." in wrong


def test_the_seal_page_stays_the_organisers_after_publishing(client):
    contest = everything(client)
    page = reverse("contest:seal", args=[contest.slug])
    assert client_for(contest, "organiser").get(page).status_code == 200
    assert client_for(contest, "announcer").get(page).status_code == 403
