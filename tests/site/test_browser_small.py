"""The small contest: two people, one laptop, four teams, three pages, and the ledger in its envelope.

*Plain points*: equal weights, nothing dropped, the mean of the cards, so a box of equal marks m stands at 3 m.
"""

from collections.abc import Iterator
from datetime import datetime
from pathlib import Path

import pytest
from playwright.sync_api import Browser, expect

from tests.site.cast import Person
from tests.site.served import Served, rows
from tests.site.test_browser_day import make_first_account

pytestmark = pytest.mark.browser

TEAMS = ("Team Maple", "Team Oak", "Team Pine", "Team Rowan")
MARK = {1: 6, 2: 9, 3: 8, 4: 7}


@pytest.fixture
def site(tmp_path: Path) -> Iterator[Served]:
    served = Served(tmp_path, "--loopback")
    yield served
    served.close()


def read_ledger(person: Person) -> dict[str, int]:
    """Box number -> team number, as it stands on the printed ledger."""
    person.room("Ledger")
    found = {}
    for row in person.page.locator("table tbody tr").all():
        cells = row.locator("th, td").all_inner_texts()
        box = next(cell.strip() for cell in cells if len(cell.strip()) == 3 and cell.strip().isdigit())
        team = next(place for place, name in enumerate(TEAMS, start=1) if any(name in cell for cell in cells))
        found[box] = team
    return found


def test_two_people_with_one_laptop(site: Served, browser: Browser, tmp_path: Path) -> None:
    laptop = Person(site, browser)
    make_first_account(laptop)
    laptop.follow("Start a small contest")
    laptop.fill("Name", "Example Yard Cook-off")
    laptop.fill("Date", f"{datetime.now().astimezone():%Y-%m-%d}")
    for category in ("Chicken", "Pork", "Brisket"):
        box = laptop.page.get_by_label(category, exact=True)
        if box.count() and box.is_checked():
            box.uncheck()
    laptop.page.get_by_label("Ribs", exact=True).check()
    laptop.fill("Teams", "\n".join(TEAMS))
    laptop.page.get_by_label("3", exact=True).check()
    times = laptop.page.get_by_label("These times are right: the boxes came in already")
    laptop.press("Make it, and take boxes")
    if times.count():
        times.check()
        laptop.press("Make it, and take boxes")
    rooms = laptop.page.get_by_role("navigation", name="Contest").get_by_role("link")
    expect(rooms).to_have_text(["Boxes in", "Marks", "Results"])
    laptop.reads("0 of 4 boxes recorded")
    laptop.never_reads(*TEAMS)
    word = laptop.page.locator(".pass-word").inner_text()

    laptop.press("Sign out")  # the desk's person takes the laptop, prints the ledger, signs out
    laptop.enter(word)
    ledger = read_ledger(laptop)
    assert sorted(ledger.values()) == [1, 2, 3, 4]
    laptop.press("Sign out")

    laptop.page.goto(f"{site.address}/sign-in/")
    laptop.fill("Name", "organiser")
    laptop.fill("Password", "smoke and patience")
    laptop.press("Sign in")
    laptop.follow("Example Yard Cook-off")
    marks = {box: MARK[team] for box, team in ledger.items()}
    for _ in range(3):
        laptop.key_next_sheet(marks)
    laptop.never_reads(*TEAMS)
    laptop.room("Results")
    laptop.press("Lock the marks")
    laptop.reads("The marks are locked")
    laptop.press("Sign out")

    laptop.enter(word)
    laptop.room("Boxes in")
    laptop.follow("Everything else came in on time…")
    laptop.page.locator("main form button").first.click()
    assert rows(tmp_path, "select status, count(*) from contest_turnin where standing group by status") == [
        ("accepted", 4)
    ]
    laptop.press("Sign out")

    laptop.page.goto(f"{site.address}/sign-in/")
    laptop.fill("Name", "organiser")
    laptop.fill("Password", "smoke and patience")
    laptop.press("Sign in")
    laptop.follow("Example Yard Cook-off")
    laptop.room("Results")
    laptop.page.get_by_label("The marks are complete: close the tally").check()
    laptop.press("Close and sign")
    laptop.follow("See the names")
    laptop.page.get_by_label("Everybody may see names, places and workings now").check()
    laptop.press("Publish")
    places = laptop.page.locator(".standing").first.locator("li")
    expect(places).to_have_count(4)
    for place, (team, points) in enumerate([("Oak", "27"), ("Pine", "24"), ("Rowan", "21"), ("Maple", "18")]):
        expect(places.nth(place)).to_contain_text(f"Team {team}")
        expect(places.nth(place)).to_contain_text(points)
