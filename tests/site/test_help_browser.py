"""Help as people see it on a phone, and what of it is printed."""

import pytest
from playwright.sync_api import Page

from contest.help_pages import TOPICS
from tests.factories import make_contest
from tests.site.looking import FAULTS, PHONE, THEMES, axe_faults

pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True),
    # The browser plugin's own fixture, not ours.
    pytest.mark.filterwarnings("ignore::pytest.PytestRemovedIn10Warning"),
]
ADDRESSES = ("/help/", *(f"/help/{topic}/" for topic in TOPICS))


@pytest.fixture
def phone(page: Page, live_server) -> Page:
    make_contest()
    page.set_viewport_size(PHONE)
    return page


def test_no_page_of_help_has_faults_on_a_phone(phone: Page, live_server) -> None:
    faults = []
    for address in ADDRESSES:
        phone.goto(live_server.url + address)
        faults += [f"{address}: {fault}" for fault in phone.evaluate(FAULTS)]
        for theme in THEMES:
            phone.emulate_media(color_scheme=theme)
            faults += [f"{address}, {theme}: {fault}" for fault in axe_faults(phone)]
    assert faults == []


def test_picture_follows_the_theme(phone: Page, live_server) -> None:
    phone.goto(f"{live_server.url}/help/judge/")
    shown = {}
    for theme in THEMES:
        phone.emulate_media(color_scheme=theme)
        picture = phone.locator(".shot img:visible")
        picture.evaluate("image => image.decode()")
        shown[theme] = picture.evaluate("image => [image.currentSrc.split('/').at(-1), image.naturalWidth > 0]")
    phone.emulate_media(media="print", color_scheme="dark")
    assert phone.locator(".shot img:visible").get_attribute("class") == "light"
    assert shown == {"light": ["judge-light.png", True], "dark": ["judge-dark.png", True]}


def test_print_has_the_text_without_contents_and_links_of_the_frame(phone: Page, live_server) -> None:
    phone.goto(f"{live_server.url}/help/captain/")
    phone.emulate_media(media="print")
    assert phone.locator(".contents:visible, .top:visible").count() == 0
    assert phone.get_by_role("heading", name="Call the head judge").is_visible()
