"""The eye itself: a page with each fault is found to have it, and a page without has none."""

import pytest
from playwright.sync_api import Browser, Page

from tests.site.looking import FAULTS, PHONE, UNSEEN, axe_faults

pytestmark = pytest.mark.browser

GOOD = """<!doctype html><html lang="en"><head><title>Example</title><style>
:focus-visible { outline: 3px solid #a83a12 } a, input { display: inline-block; min-width: 44px; min-height: 44px }
</style></head><body><main><h1>Example</h1>
<label for="n">Name</label> <input id="n"> <a href="/x">To the front page</a></main></body></html>"""


def faults(browser: Browser, html: str) -> list[str]:
    page: Page = browser.new_page(viewport=PHONE)
    page.set_content(html)
    page.keyboard.press("Shift")
    found = [*page.evaluate(FAULTS), *page.evaluate(UNSEEN), *axe_faults(page)]
    page.close()
    return found


def test_a_page_in_order_has_no_fault(browser: Browser) -> None:
    assert faults(browser, GOOD) == []


@pytest.mark.parametrize(
    ("find", "put", "said"),
    [
        ("<h1>Example", "<p style='width: 900px'>x</p><h1>Example", "px wider than the screen"),
        ("min-height: 44px", "height: 20px", "small target"),
        ("outline: 3px solid #a83a12", "outline: none", "focus is not seen: <input>"),
        ("<input id=\"n\">", "<input>", "label: Form elements must have labels"),
        (' lang="en"', "", "html-has-lang"),
        ("<h1>", "<h1 style='color: #ccc'>", "color-contrast"),
        ("<h1>Example", "<p style='overflow: hidden; width: 30px; white-space: nowrap'>too long</p><h1>E", "clipped"),
        (
            "<h1>", "<nav class='rooms' style='padding-left: 400px'><a href='/y' aria-current>Y</a></nav><h1>",
            "the open room is out of sight",
        ),
        (
            "<label", "<div style='position: fixed; inset: 0; background: #fff'>over it</div><label",
            "focus is hidden behind <div>: <input>",
        ),
    ],
)  # fmt: skip
def test_each_fault_is_found(browser: Browser, find: str, put: str, said: str) -> None:
    assert find in GOOD
    found = faults(browser, GOOD.replace(find, put))
    assert [fault for fault in found if said in fault], found
