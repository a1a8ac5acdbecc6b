"""People at the screen, for tests that play a whole contest: each has a browser of their own."""

from typing import Any

from playwright.sync_api import Browser, Page, expect

from tests.site.served import Served


class Person:
    """Somebody with a device: clicks, types and reads, never calls the site's code."""

    def __init__(self, site: Served, browser: Browser) -> None:
        self.site = site
        self.page: Page = browser.new_context(reduced_motion="reduce").new_page()
        self.page.set_default_timeout(30_000)
        self.page.goto(site.address)

    def enter(self, word: str) -> None:
        """Type a pass word from a slip."""
        self.page.goto(f"{self.site.address}/in/")
        self.page.get_by_label("Pass word").fill(word)
        self.press("Enter")
        self.page.get_by_role("button", name="Sign out").wait_for()

    def press(self, name: str, **more: Any) -> None:
        self.page.get_by_role("button", name=name, **{"exact": True, **more}).first.click()

    def follow(self, name: str, **more: Any) -> None:
        self.page.get_by_role("link", name=name, **{"exact": True, **more}).first.click()

    def room(self, name: str) -> None:
        self.page.get_by_role("navigation", name="Contest").get_by_role("link", name=name, exact=True).click()

    def fill(self, label: str, text: str, **more: Any) -> None:
        self.page.get_by_label(label, **{"exact": True, **more}).first.fill(text)

    def reads(self, text: str) -> None:
        expect(self.page.locator("main")).to_contain_text(text)

    def never_reads(self, *texts: str) -> None:
        content = self.page.content()
        found = [text for text in texts if text in content]
        assert found == [], f"{self.page.url} shows {found}"

    def refused_at(self, path: str) -> bool:
        return self.page.request.get(f"{self.site.address}{path}").status == 403

    def key_next_sheet(self, marks: dict[str, int]) -> str:
        """The clerk's way with a sheet: digits alone, box by box. `marks`: box number -> the mark for everything.

        Returns the heading of the sheet.
        """
        if not self.page.locator("#sheet").count():
            self.room("Marks")
            self.follow("Key it")
        heading = self.page.locator("main h1").inner_text()
        numbers = self.page.locator("[data-box]").evaluate_all("boxes => boxes.map(box => box.dataset.box)")
        for number in numbers:
            if self.page.locator(f"[data-box='{number}'] .cell input").count():
                self.page.keyboard.type(str(marks[number]) * 3)
        with self.page.expect_navigation():
            self.page.keyboard.press("Enter")
        return heading
