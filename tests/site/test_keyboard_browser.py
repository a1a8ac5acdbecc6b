"""A small contest from the first account to the published result with the keyboard alone, and errors that are told.

WCAG 2.2: 2.1.1 (all of it by keyboard), 2.4.7 (the place is seen), 3.3.1 and 4.1.3 (what is wrong is told).
"""

import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.site.served import Served, command, environment, rows

pytestmark = pytest.mark.browser

#: What a screen reader calls the element that has the focus, its kind, and how wide its outline is.
PLACE = """
() => {
  const at = document.activeElement;
  const said = at.getAttribute("aria-label") || at.labels?.[0]?.innerText || at.innerText || at.value || "";
  return [said.trim().replace(/\\s+/g, " "), at.type || at.tagName.toLowerCase(),
    parseFloat(getComputedStyle(at).outlineWidth)];
}
"""
#: Fields that are wrong and do not say where their error stands, by themselves or by the group they are in.
UNTOLD = """
() => [...document.querySelectorAll("[aria-invalid=true]")].filter(field => {
  const group = field.closest("fieldset");
  const said = [field, group].map(each => each?.getAttribute("aria-describedby") || "").join(" ").split(" ");
  return !said.some(id => id && document.getElementById(id)?.matches(".errorlist, .error"))
    && !(field.type === "radio" && group?.querySelector(".errorlist"));
}).map(field => field.name)
"""
#: One person with three teams, whose turn-in time is now.
PREPARE = """
from django.utils import timezone
from contest.models import Account
from contest.services.setup import create_small_contest
now = timezone.now()
create_small_contest(
    organiser=Account.objects.create_user("organiser", password="smoke and patience"), name="Example Yard Cook-off",
    date=now.date(), time_zone="UTC", categories=[("Ribs", now.time().replace(second=0, microsecond=0))],
    team_names=["Team Maple", "Team Oak", "Team Pine"], judges=3, one_person=True)
"""


@pytest.fixture
def site(tmp_path: Path) -> Iterator[Served]:
    for arguments in (["migrate", "-v", "0"], ["shell", "-v", "0", "-c", PREPARE]):
        subprocess.run(command(*arguments), env=environment(tmp_path), check=True, timeout=120)
    served = Served(tmp_path, "--loopback")
    yield served
    served.close()


class Keys:
    """Somebody without a mouse: presses keys, and knows the place by its name."""

    def __init__(self, site: Served, browser: Browser) -> None:
        self.page: Page = browser.new_context(reduced_motion="reduce").new_page()
        self.page.goto(f"{site.address}/sign-in/")

    def reach(self, name: str, kind: str = "") -> None:
        """Press Tab until the place is called `name`; its focus must be seen there."""
        passed = []
        for _ in range(150):
            found, found_kind, outline = self.page.evaluate(PLACE)
            if found.startswith(name) and kind in ("", found_kind):
                assert outline >= 2, f"the focus on {name} is not seen"
                return
            passed.append(found[:30])
            self.page.keyboard.press("Tab")
        raise AssertionError(f"no way to {name} by Tab on {self.page.url}: {passed}")

    def type(self, name: str, text: str) -> None:
        self.reach(name)
        self.page.keyboard.type(text)

    def press(self, name: str, kind: str = "") -> None:
        """Enter on a button or a link, and wait for the page that follows."""
        self.reach(name, kind)
        with self.page.expect_navigation():
            self.page.keyboard.press("Enter")

    def tick(self, name: str) -> None:
        self.reach(name, "checkbox")
        self.page.keyboard.press("Space")

    def reads(self, text: str) -> None:
        expect(self.page.locator("main")).to_contain_text(text)

    @property
    def place(self) -> str:
        return str(self.page.evaluate(PLACE)[0])


def sign_in(keys: Keys, password: str = "smoke and patience") -> None:
    keys.type("Name", "organiser")
    keys.type("Password", password)
    keys.press("Sign in", "submit")


def test_a_small_contest_runs_by_keyboard_alone(site: Served, browser: Browser, tmp_path: Path) -> None:
    keys = Keys(site, browser)
    sign_in(keys)
    keys.press("Example Yard Cook-off")
    keys.press("Boxes in", "a")
    keys.press("To the desk")
    for team in ("1", "2", "3"):
        keys.type("Team number", team)
        with keys.page.expect_navigation():
            keys.page.keyboard.press("Enter")
        keys.press("Take in")
    assert rows(tmp_path, "select status, count(*) from contest_turnin where standing group by status") == [
        ("accepted", 3)
    ]
    keys.press("Marks", "a")
    keys.press("Key it")
    for sheet in range(3):
        keys.page.keyboard.type(f"{7 + sheet % 2}" * 9)  # three boxes of three marks: digits alone
        with keys.page.expect_navigation():
            keys.page.keyboard.press("Enter")
    assert rows(tmp_path, "select count(*) from judging_reading where standing") == [(9,)]
    keys.press("Results", "a")
    keys.tick("The marks are complete")
    keys.press("Close and sign", "submit")
    keys.press("See the names")
    keys.tick("Everybody may see names")
    keys.press("Publish", "submit")
    assert rows(tmp_path, "select state from contest_contest") == [("published",)]


def test_what_is_wrong_is_told_and_the_keyboard_stands_there(site: Served, browser: Browser) -> None:
    keys = Keys(site, browser)
    sign_in(keys, "not this one at all")
    summary = keys.page.get_by_role("alert")
    expect(summary).to_contain_text("do not fit together")
    expect(summary).to_be_focused()
    sign_in(keys)
    keys.press("Start a small contest")
    keys.press("Make it, and take boxes")
    expect(keys.page.get_by_role("alert").first).to_be_focused()
    name = keys.page.get_by_label("Name", exact=True)
    expect(name).to_have_attribute("aria-invalid", "true")
    described = (name.get_attribute("aria-describedby") or "").split()
    texts = [keys.page.locator(f"#{each}").inner_text() for each in described]
    assert "This field is required." in texts
    assert keys.page.evaluate(UNTOLD) == []


def test_the_first_tab_skips_to_the_page(site: Served, browser: Browser) -> None:
    """WCAG 2.2, 2.4.1."""
    keys = Keys(site, browser)
    keys.page.keyboard.press("Tab")
    assert keys.place == "Skip to the page"
    keys.page.keyboard.press("Enter")
    expect(keys.page.locator("main")).to_be_focused()
