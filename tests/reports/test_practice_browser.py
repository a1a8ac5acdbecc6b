"""An evening of practice at 390 px: the cook's phone and three tasters', clicked through from the set-up to the result.

First scores by card on the tasters' own page, then a triangle test on the same phones. Pages that the tour of every
role reaches are looked at there (tests/site/test_screens.py), the others here.
"""

import re
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.site.looking import PHONE, faults_of
from tests.site.served import Served, command, environment, rows

pytestmark = pytest.mark.browser

TASTERS = ("Juniper", "Linden", "Hazel")
MORE = """
from contest.models import Account, Team, TeamMember
account = Account.objects.create_user("cook", password="smoke and patience")
team = Team.objects.create(name="Team Alder")
TeamMember.objects.create(team=team, account=account)
"""


@pytest.fixture
def site(tmp_path: Path) -> Iterator[Served]:
    for arguments in (("migrate", "-v", "0"), ("shell", "-v", "0", "-c", MORE)):
        made = subprocess.run(command(*arguments), env=environment(tmp_path), capture_output=True, text=True)
        assert made.returncode == 0, made.stderr
    served = Served(tmp_path, "--loopback")
    yield served
    served.close()


class Phone:
    def __init__(self, site: Served, browser: Browser) -> None:
        self.site = site
        self.page: Page = browser.new_context(viewport=PHONE, reduced_motion="reduce").new_page()
        self.page.set_default_timeout(15_000)

    def go(self, path: str) -> None:
        self.page.goto(f"{self.site.address}{path}")

    def press(self, name: str) -> None:
        self.page.get_by_role("button", name=name, exact=True).first.click()

    def follow(self, name: str) -> None:
        self.page.get_by_role("link", name=name, exact=True).first.click()

    def reads(self, text: str) -> None:
        expect(self.page.locator("main")).to_contain_text(text)

    def enter(self, word: str) -> None:
        self.go("/in/")
        self.page.get_by_label("Pass word").fill(word)
        self.page.keyboard.press("Enter")
        self.page.get_by_role("button", name="Sign out").wait_for()

    def looks_right(self, name: str, faults: list[str]) -> None:
        faults += faults_of(self.page, f"practice-{name}")
        self.page.set_viewport_size(PHONE)


def set_up(cook: Phone, question: str) -> None:
    cook.follow("Practice")
    cook.follow("Set up a tasting")
    cook.page.get_by_label("What do you serve?").fill("Ribs")
    cook.page.get_by_label("Versions", exact=True).fill("cherry\nhickory")
    cook.page.get_by_label("Tasters", exact=True).fill("\n".join(TASTERS))
    cook.page.get_by_label(question, exact=True).check()


def read_key(cook: Phone) -> dict[str, dict[str, str]]:
    """Taster -> plate number -> version, as the serving page shows it."""
    found = {}
    for taster in TASTERS:
        plates = cook.page.get_by_role("region", name=taster).locator("li")
        found[taster] = {
            plate.locator(".box-number").inner_text(): plate.locator("span").last.inner_text() for plate in plates.all()
        }
    return found


def words_of(cook: Phone) -> list[str]:
    return [word.text_content().strip() for word in cook.page.locator(".doors .pass-word").all()]


def give(page: Page, criterion: str, mark: int) -> None:
    """One mark, and on to the next once it is kept."""
    expect(page.locator(".chips [aria-current]")).to_contain_text(criterion)
    page.locator(f"[data-mark='{mark}']").click()
    expect(page.locator(f"[data-mark='{mark}']")).to_have_attribute("aria-pressed", "true")
    page.locator(".next-step.go").click()


def mark_all(phone: Phone, marks: dict[str, int]) -> None:
    """A taster's way through the page: appearance of every plate, then taste and tenderness, plate by plate."""
    page = phone.page
    page.locator("#phone:not([hidden])").wait_for()
    assert "cherry" not in page.content()
    for _ in marks:
        number = page.locator("#box").inner_text()
        give(page, "Appearance", marks[number])
        expect(page.locator("#box", has_text=number)).to_have_count(0)
    phone.press("Now I taste")
    for _ in marks:
        number = page.locator("#box").inner_text()
        give(page, "Taste", marks[number])
        give(page, "Tenderness", marks[number])
        phone.press(f"Hand in {number}")
        expect(page.locator("#box", has_text=number)).to_have_count(0)
    phone.reads("Every plate of ribs is handed in.")
    expect(page.locator("#unsent-count")).to_contain_text("is stored")


def test_an_evening_on_four_phones(site: Served, browser: Browser, tmp_path: Path) -> None:
    faults: list[str] = []
    cook = Phone(site, browser)
    cook.go("/sign-in/")
    cook.page.get_by_label("Name", exact=True).fill("cook")
    cook.page.get_by_label("Password").fill("smoke and patience")
    cook.press("Sign in")
    cook.go("/teams/")
    cook.follow("Team Alder")

    set_up(cook, "How do the versions score?")
    cook.press("Draw the plates")
    cook.reads("Six tasters are the least that can tell two versions apart.")
    words = words_of(cook)
    cook.press("A4 Plate cards")
    tasters = [Phone(site, browser) for _ in TASTERS]
    for phone, word in zip(tasters, words, strict=True):
        phone.enter(word)
        phone.reads("The cook is plating.")
    file = cook.page.get_by_role("link", name="Open Plate cards")  # made by the background worker, polled for
    expect(file).to_be_visible(timeout=30_000)
    assert cook.page.request.get(f"{site.address}{file.get_attribute('href')}").body().startswith(b"%PDF-")
    cook.follow("What goes on which plate")
    key = read_key(cook)
    cook.press("The plates are out: let them taste")
    cook.reads("3 of 3 not finished yet")
    for phone, taster, liked in zip(tasters, TASTERS, (8, 9, 7), strict=True):
        marks = {number: liked if on_it == "cherry" else 6 for number, on_it in key[taster].items()}
        expect(phone.page).to_have_url(re.compile("/seat/$"))  # the page goes on by itself
        mark_all(phone, marks)
    tasters[2].looks_right("handed-in", faults)
    cook.reads("Everybody is finished.")
    cook.looks_right("finished", faults)
    cook.press("Show the result")
    cook.reads("Cannot tell: the versions may score alike or not.")
    cook.reads("Cherry 9.0 points above hickory")
    cook.looks_right("scores", faults)

    cook.follow("← Practice")
    set_up(cook, "Can they tell the difference?")
    cook.press("Draw the plates")
    cook.reads("3 of 3 must find the odd plate")
    words = words_of(cook)
    cook.follow("What goes on which plate")
    key = read_key(cook)
    cook.press("The plates are out: let them taste")
    for place, (phone, taster) in enumerate(zip(tasters, TASTERS, strict=True)):
        phone.enter(words[place])
        plates = key[taster]
        odd = next(number for number, on_it in plates.items() if list(plates.values()).count(on_it) == 1)
        phone.page.get_by_role("radio", name=odd).check()
        if place == 0:
            phone.looks_right("triangle", faults)
        phone.press("Hand in")
        phone.reads("Everything is handed in.")
    tasters[0].looks_right("thanks", faults)
    cook.follow("Open the key all the same…")
    cook.looks_right("key", faults)
    cook.page.get_by_label("Why", exact=True).fill("a plate fell")
    cook.press("Open the key now")
    cook.reads("The result will say so.")
    cook.follow("← Ribs")
    cook.press("Show the result")
    cook.reads("They can tell the difference.")
    cook.reads("The cook opened the key early")
    cook.looks_right("told", faults)
    cook.follow("← Practice")

    assert rows(tmp_path, "select count(*) from reports_answer") == [(3,)]
    assert rows(tmp_path, "select count(*) from judging_reading where standing") == [(6,)]
    assert faults == [], "\n" + "\n".join(faults)
