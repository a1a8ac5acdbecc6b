"""A contest of six teams, played by everybody at their own browser, from the first account to the cook's sheet.

Nothing is called but the pages. What is expected at the end is worked out by hand: with *Taste double* a card of
equal marks m weighs 4.5 m, five of six cards count, so a box of six such cards stands at 22.5 m (its tie-break apart).
"""

import re
from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from playwright.sync_api import Browser, expect

from tests.site.cast import Person
from tests.site.served import Served, rows

pytestmark = pytest.mark.browser

TEAMS = ("Team Alder", "Team Birch", "Team Cedar", "Team Elm", "Team Fir", "Team Hazel")
JUDGES = ("Judge Aster", "Judge Borage", "Judge Clover", "Judge Daisy", "Judge Fennel", "Judge Gorse")
MARK = {1: 9, 2: 8, 3: 7, 4: 6, 5: 5, 6: 4}  # what every judge gives team 1, 2 …


@pytest.fixture
def site(tmp_path: Path) -> Iterator[Served]:
    served = Served(tmp_path, "--loopback")
    yield served
    served.close()


def make_first_account(person: Person) -> None:
    person.reads("The first account belongs to its organiser")
    person.fill("Your name for signing in", "organiser")
    person.page.locator("#id_password1").fill("smoke and patience")
    person.page.locator("#id_password2").fill("smoke and patience")
    person.press("Make the account")
    person.reads("Your contests")


def turn_in_time(minutes: int) -> str:
    """Shortly after now by the clock of this machine, and never on another day."""
    now = datetime.now().astimezone()
    latest = now.replace(hour=23, minute=50)
    return f"{min(now, latest) + timedelta(minutes=minutes):%H:%M}"


def set_up(organiser: Person) -> str:
    """From the empty site to a contest that can be drawn; returns its slug."""
    organiser.follow("Set up a full contest")
    organiser.fill("Name", "Example Cook-off One")
    organiser.fill("Date", f"{datetime.now().astimezone():%Y-%m-%d}")
    organiser.fill("Place", "Example Meadow")
    organiser.press("On to the set-up")
    for place, name in enumerate(("Chicken", "Ribs")):
        organiser.follow("Add a category")
        organiser.fill("Name", name)
        organiser.fill("Turn-in", turn_in_time(place))
        organiser.press("Save")
    organiser.fill("Tables", "1")
    organiser.fill("Seats at each", "6")
    organiser.press("Set the tables")
    for room, names in (("Teams", TEAMS), ("Judges", JUDGES)):
        organiser.room(room)
        organiser.follow("Paste or upload a list")
        organiser.fill("Paste or type, one line each", "\n".join(names))
        organiser.press("Check the list")
        organiser.press(f"Import 6 {room.lower()}")
        organiser.reads(names[5])
    organiser.room("Seating")
    organiser.press("Seat at random")
    organiser.reads("Judge Gorse")
    return re.search(r"/c/([\w-]+)/", organiser.page.url).group(1)


def add_helpers(organiser: Person) -> dict[str, str]:
    """Accounts for three helpers, and everybody's pass word from the slips."""
    for name, role in (("Clerk Hyssop", "tally clerk"), ("Head Judge Iris", "head judge"), ("Voice Ivy", "announcer")):
        organiser.room("Helpers")
        form = organiser.page.locator("section", has=organiser.page.get_by_role("heading", name="Add a helper"))
        form.get_by_label("Name", exact=True).fill(name)
        form.get_by_label(re.compile(role, re.I)).first.check()
        form.get_by_role("button", name="Add, and get a pass word").click()
        organiser.reads(name)
    organiser.room("Helpers")
    organiser.follow("Show all slips to print")
    slips = organiser.page.locator(".slip")
    return {
        slips.nth(place).locator("h2").inner_text(): slips.nth(place).locator(".pass-word").inner_text()
        for place in range(slips.count())
    }


def word_for(words: dict[str, str], name: str) -> str:
    return next(word for who, word in words.items() if name.lower() in who.lower())


def take_boxes_in(desk: Person, slug: str) -> dict[str, dict[int, str]]:
    """Every team's box, by typing its number; returns category -> team number -> box number as the desk reads it."""
    found: dict[str, dict[int, str]] = {}
    for key in ("chicken", "ribs"):
        found[key] = {}
        for number in range(1, 7):
            desk.page.goto(f"{desk.site.address}/c/{slug}/desk/?category={key}")
            desk.fill("Team number", str(number))
            desk.page.keyboard.press("Enter")
            box = desk.page.locator(".desk-number").inner_text().split()[-1]
            desk.page.get_by_role("button", name=f"ake in {box}").click()
            desk.reads(f"Box {box} taken in")
            found[key][number] = box
    return found


def test_a_contest_from_the_first_account_to_the_cooks_sheet(site: Served, browser: Browser, tmp_path: Path) -> None:
    organiser = Person(site, browser)
    make_first_account(organiser)
    slug = set_up(organiser)
    words = add_helpers(organiser)
    organiser.room("Draw")
    organiser.press("Draw the boxes")
    organiser.reads("sealed until the tally is closed")
    organiser.never_reads(*TEAMS)

    desk = Person(site, browser)
    desk.enter(word_for(words, "desk"))
    boxes = take_boxes_in(desk, slug)
    assert sorted(rows(tmp_path, "select status, count(*) from contest_turnin group by status")) == [("accepted", 12)]
    assert desk.refused_at(f"/c/{slug}/marks/")
    assert desk.refused_at(f"/c/{slug}/tally/")

    captain = Person(site, browser)
    captain.enter(word_for(words, "table 1"))
    captain.press(f"{boxes['chicken'][1]} is here")
    captain.reads("1 of 6 here")
    captain.never_reads(*TEAMS)
    captain.page.get_by_text("Call the head judge", exact=True).first.click()
    captain.page.get_by_label("A question about a box").check()
    captain.fill("In a few words", "Is this box whole?")
    captain.page.locator("details.call").get_by_role("button", name="Call the head judge").click()

    clerk = Person(site, browser)
    clerk.enter(word_for(words, "Clerk Hyssop"))
    clerk.follow("Example Cook-off One")
    marks = {box: MARK[number] for teams in boxes.values() for number, box in teams.items()}
    keyed = [clerk.key_next_sheet(marks) for _ in range(11)]
    assert len(set(keyed)) == 11
    clerk.never_reads(*TEAMS)
    assert clerk.refused_at(f"/c/{slug}/desk/")
    assert clerk.refused_at(f"/c/{slug}/names/")
    clerk.room("Tally")
    clerk.reads("Still missing")
    clerk.key_next_sheet(marks)
    assert rows(tmp_path, "select count(*) from judging_mark") == [(12 * 6 * 3,)]

    head_judge = Person(site, browser)
    head_judge.enter(word_for(words, "Head Judge Iris"))
    head_judge.follow("Example Cook-off One")
    head_judge.room("Rulings")
    head_judge.reads("Is this box whole?")
    answer_call(head_judge)
    head_judge.fill("Rule on a box", boxes["ribs"][1])
    head_judge.press("Open")
    head_judge.page.get_by_label("Box disqualified").check()
    head_judge.fill("Reason", "A name was written inside the box.")
    head_judge.press("Put in force")
    head_judge.reads("A name was written inside the box.")
    head_judge.never_reads(*TEAMS)

    clerk.room("Tally")
    clerk.page.get_by_label("The marks are complete: close the tally").check()
    clerk.press("Close the tally")
    clerk.reads("waits for the head judge")
    head_judge.room("Tally")
    head_judge.press("Sign off the tally")

    announcer = Person(site, browser)
    announcer.enter(word_for(words, "Voice Ivy"))
    announcer.page.goto(f"{site.address}/c/{slug}/names/")
    announcer.reads("Team Birch")
    assert announcer.page.get_by_role("button", name="Publish").count() == 0

    visitor = Person(site, browser)
    assert visitor.page.request.get(f"{site.address}/r/{slug}/").status == 404
    organiser.room("Tally")
    organiser.follow("See the names")
    organiser.page.get_by_label("Everybody may see names, places and workings now").check()
    organiser.press("Publish")

    visitor.page.goto(site.address)
    visitor.follow("Example Cook-off One")
    # Team Alder's ribs are out: 22.5 x 9 = 202.5. Team Birch has 22.5 x 8 twice: 360. Team Cedar 22.5 x 7 twice: 315.
    champions = visitor.page.get_by_role("region", name="Champions")
    expect(champions).to_contain_text("Team Birch")
    expect(champions).to_contain_text("360 points")
    expect(champions).to_contain_text("Team Cedar")
    expect(champions).to_contain_text("315 points")
    visitor.reads("disqualified")
    visitor.never_reads(*JUDGES)

    organiser.page.goto(f"{site.address}/c/{slug}/sheets/")
    link = organiser.page.get_by_label(re.compile("Team Birch")).input_value()
    cook = Person(site, browser)
    cook.page.goto(link)
    cook.reads("Chicken: second of 6")
    cook.reads("180")
    cook.never_reads("Team Alder", "Team Cedar", *JUDGES)
    cook.follow("This is my team")
    cook.fill("Your name for signing in", "cook")
    cook.page.locator("#id_password1").fill("smoke and patience")
    cook.page.locator("#id_password2").fill("smoke and patience")
    cook.press("Make the account and add Team Birch")
    cook.page.goto(f"{site.address}/teams/")
    cook.reads("Team Birch")


def answer_call(head_judge: Person) -> None:
    call = head_judge.page.locator("main").get_by_text("Is this box whole?")
    expect(call.first).to_be_visible()
    head_judge.page.get_by_label(re.compile("answer", re.I)).first.fill("Yes, go on.")
    head_judge.page.get_by_role("button", name=re.compile("answer", re.I)).first.click()
    expect(call).to_have_count(0)
