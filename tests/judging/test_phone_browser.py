"""A judge's phone against the served site: no signal, a server that dies, two tabs, a token that ended.

The site is opened by a name over plain HTTP, as at a field, where browsers grant no service worker and no lock. Every
test has a seat of its own and waits for rows in the database, never for a page to say so.
"""

import socket
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from playwright.sync_api import Browser, BrowserContext, Page, Route, expect

from tests.judging.field import make_field
from tests.site.looking import PHONE, faults_of
from tests.site.served import Served, environment, rows, wait_for

pytestmark = pytest.mark.browser

CHICKEN = ["201", "203", "205"]
READINGS = """
    SELECT box.number, reading.kind, reading.client_key FROM judging_reading reading
    JOIN judging_card card ON card.id = reading.card_id JOIN contest_box box ON box.id = card.box_id
    JOIN contest_seat seat ON seat.id = card.seat_id JOIN contest_table t ON t.id = seat.table_id
    WHERE t.number || seat.letter = '{seat}' ORDER BY box.number, reading.id
"""
MARKS = "SELECT criterion, value FROM judging_mark JOIN judging_reading r ON r.id = reading_id WHERE client_key = '{}'"


class Field:
    """A served contest: three boxes a category at each of two tables, six seats each; a seat for every asker."""

    def __init__(self, data: Path) -> None:
        self.data = data
        self.made = make_field(data, teams=6, tables=2)
        self.slug = self.made["slug"]
        self.free = [seat for seat in self.made["seats"] if seat["seat"].startswith("1")]
        self.served = Served(data, "--loopback", "--host", "field.test")

    @property
    def address(self) -> str:
        return f"http://field.test:{self.served.port}"

    def stop(self) -> None:
        """As if the plug was pulled."""
        self.served.close()
        self.served.output_file.unlink()

    def start(self) -> None:
        self.served = Served(self.data, "--loopback", "--host", "field.test", port=self.served.port)

    def stored(self, seat: str) -> list[tuple[str, str, str]]:
        return rows(self.data, READINGS.format(seat=seat))

    def wait_for_boxes(self, seat: str, boxes: list[str]) -> None:
        """Exactly one first reading for each of `boxes`, under different keys."""
        wait_for(lambda: [(box, kind) for box, kind, _ in self.stored(seat)] == [(box, "first") for box in boxes], 60)
        assert len({key for _, _, key in self.stored(seat)}) == len(boxes)

    def shell(self, code: str) -> str:
        answer = subprocess.run(
            [sys.executable, "-c", f"import django; django.setup()\n{code}"],
            env=environment(self.data), cwd=settings.BASE_DIR, capture_output=True, text=True, timeout=60,
        )  # fmt: skip
        assert answer.returncode == 0, answer.stderr
        return answer.stdout.strip()


@pytest.fixture(scope="module")
def field(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Field]:
    made = Field(tmp_path_factory.mktemp("field"))
    yield made
    made.served.close()


class Judge:
    """A judge with a phone: touches and reads, never calls the site's code."""

    def __init__(self, field: Field, browser: Browser, seat: dict[str, Any], context: BrowserContext | None = None):
        self.field, self.seat = field, seat
        self.context = context or browser.new_context(viewport=PHONE, reduced_motion="reduce")
        self.page: Page = self.context.new_page()
        self.page.set_default_timeout(20_000)

    def sign_in(self, word: str = "") -> "Judge":
        self.page.goto(f"{self.field.address}/in/#{word or self.seat['word']}")
        self.page.locator("#phone .seat-foot").wait_for()
        return self

    def reopen(self) -> None:
        self.page.goto(f"{self.field.address}/c/{self.field.slug}/seat/")
        self.page.locator("#phone .seat-foot").wait_for()

    def mark(self, value: str | int) -> None:
        button = self.page.locator(f'.scale [data-mark="{value}"]')
        button.click()
        expect(button).to_have_attribute("aria-pressed", "true")

    def go_on(self, text: str) -> None:
        self.page.get_by_role("button", name=text, exact=True).click()

    def look_at_all(self, boxes: list[str] = CHICKEN, value: int = 7) -> None:
        for box, following in zip(boxes, [*boxes[1:], None], strict=True):
            expect(self.page.locator("#box")).to_have_text(box)
            self.mark(value)
            self.go_on(f"Next: {following}" if following else "All are marked")
        self.go_on("Portions are going round")

    def taste(self, box: str, taste: int = 8, tenderness: int = 6, *, hand_in: bool = True) -> None:
        expect(self.page.locator("#box")).to_have_text(box)
        self.mark(taste)
        self.go_on(f"Tenderness of {box}")
        self.mark(tenderness)
        self.go_on(f"Check {box}")
        if hand_in:
            self.go_on(f"Hand in {box}")

    def count_says(self, text: str) -> None:
        expect(self.page.locator("#unsent-count")).to_have_text(text, timeout=40_000)

    def dot_says(self, box: str, text: str) -> None:
        expect(self.page.locator(".dots").get_by_role("button", name=f"{box}, {text}")).to_be_visible(timeout=40_000)


@pytest.fixture
def judge(field: Field, browser: Browser) -> Iterator[Judge]:
    made = Judge(field, browser, field.free.pop())
    yield made.sign_in()
    made.context.close()


SAFE = "Every card handed in here is at the desk"


def test_a_whole_flight_without_signal_arrives_with_the_signal(field: Field, judge: Judge) -> None:
    seat = judge.seat["seat"]
    assert judge.page.evaluate("[isSecureContext, navigator.locks, navigator.serviceWorker]") == [False, None, None]
    judge.context.set_offline(True)
    judge.look_at_all()
    for number, box in enumerate(CHICKEN, start=1):
        judge.taste(box, tenderness=number)
        judge.count_says(f"{number} card{'s' if number > 1 else ''} on this phone only · trying again")
    judge.dot_says("203", "on this phone only")
    assert field.stored(seat) == []
    judge.context.set_offline(False)
    field.wait_for_boxes(seat, CHICKEN)
    judge.count_says(SAFE)
    judge.dot_says("203", "handed in")
    key = field.stored(seat)[2][2]
    assert dict(rows(field.data, MARKS.format(key))) == {"appearance": 7, "taste": 8, "tenderness": 3}


def test_a_server_that_dies_in_the_middle_of_a_flight_loses_nothing(field: Field, judge: Judge) -> None:
    seat = judge.seat["seat"]
    judge.look_at_all()
    judge.taste("201")
    field.wait_for_boxes(seat, ["201"])
    field.stop()
    judge.taste("203")
    judge.count_says("1 card on this phone only · trying again")
    judge.taste("205")
    judge.count_says("2 cards on this phone only · trying again")
    field.start()
    field.wait_for_boxes(seat, CHICKEN)
    judge.count_says(SAFE)


def test_two_tabs_share_one_queue(field: Field, browser: Browser, judge: Judge) -> None:
    seat = judge.seat["seat"]
    judge.look_at_all()
    other = Judge(field, browser, judge.seat, judge.context)
    other.reopen()
    judge.context.set_offline(True)
    judge.taste("201", hand_in=False)
    expect(other.page.locator(".chips")).to_contain_text("Tenderness 6")
    other.go_on("Check 201")
    judge.page.evaluate("document.querySelector('.next-step').click()")
    other.page.evaluate("document.querySelector('.next-step').click()")
    judge.taste("203")
    for tab in (judge, other):
        tab.count_says("2 cards on this phone only · trying again")
        tab.dot_says("201", "on this phone only")
    judge.context.set_offline(False)
    field.wait_for_boxes(seat, ["201", "203"])
    for tab in (judge, other):
        tab.count_says(SAFE)
    assert len(field.stored(seat)) == 2


def test_a_reload_or_a_closed_tab_loses_nothing_that_was_entered(field: Field, browser: Browser, judge: Judge) -> None:
    judge.mark(9)
    judge.page.reload()
    judge.dot_says("201", "marked")
    expect(judge.page.locator("#box")).to_have_text("203")
    judge.page.locator(".dots").get_by_role("button", name="201").click()
    expect(judge.page.locator(".chips")).to_contain_text("Appearance 9")
    judge.look_at_all(value=8)
    judge.context.set_offline(True)
    judge.taste("201")
    judge.count_says("1 card on this phone only · trying again")
    judge.page.close()
    judge.context.set_offline(False)
    again = Judge(field, browser, judge.seat, judge.context)
    again.reopen()
    field.wait_for_boxes(judge.seat["seat"], ["201"])
    expect(again.page.locator("#box")).to_have_text("203")
    expect(again.page.get_by_role("button", name="Appearance 8 ✓")).to_be_disabled()


def fulfil(status: int, body: str, kind: str, **headers: str):
    def answer(route: Route) -> None:
        route.fulfill(status=status, body=body, content_type=kind, headers=headers)

    return answer


STRANGE = {
    "a bare 200": fulfil(200, "", "text/plain"),
    "a page": fulfil(200, "<!doctype html><p>Welcome to the free network", "text/html"),
    "a page of trouble": fulfil(500, "<h1>Server Error (500)</h1>", "text/html"),
    "JSON without the key": fulfil(200, '{"state": "stored"}', "application/json"),
    "another card's answer": fulfil(200, '{"key": "00", "state": "stored"}', "application/json"),
    "a redirect": fulfil(302, "", "text/html", location="/sign-in/"),
}


def test_only_json_that_names_the_card_makes_it_safe(field: Field, judge: Judge) -> None:
    seat, tried = judge.seat["seat"], []
    judge.look_at_all()
    answers = iter(STRANGE.items())

    def strange(route: Route) -> None:
        name, answer = next(answers, ("end", None))
        tried.append(name)
        if answer:
            answer(route)
        else:
            route.abort()

    judge.context.route("**/api/cards/", strange)
    judge.taste("201")
    for number in range(1, len(STRANGE) + 1):
        wait_for(
            lambda number=number: (
                len(tried) >= number or judge.page.evaluate("dispatchEvent(new Event('online'))") is None
            )
        )
        judge.count_says("1 card on this phone only · trying again")
    wait_for(lambda: len(tried) > len(STRANGE) or judge.page.wait_for_timeout(200), 60)
    assert tried[: len(STRANGE)] == list(STRANGE)
    judge.count_says("1 card on this phone only · trying again")
    assert field.stored(seat) == []
    judge.context.unroute("**/api/cards/")
    field.wait_for_boxes(seat, ["201"])


def test_a_token_that_ended_while_the_phone_was_away(field: Field, browser: Browser, judge: Judge) -> None:
    """The pass is given again; the card waits under the old token until the seat signs in with the new word."""
    seat = judge.seat["seat"]
    judge.look_at_all()
    judge.context.set_offline(True)
    judge.taste("201")
    word = field.shell(
        "from contest.services.passes import find_pass, reissue_pass, word_of\n"
        f"print(word_of(reissue_pass(held=find_pass('{judge.seat['word']}'), by='organiser')))"
    )
    judge.context.set_offline(False)
    judge.page.locator("#unsent summary").click()
    expect(judge.page.locator("#unsent")).to_contain_text("pass word was replaced", timeout=40_000)
    judge.count_says("1 card on this phone only · trying again")
    assert field.stored(seat) == []
    judge.sign_in(word)
    field.wait_for_boxes(seat, ["201"])
    judge.count_says(SAFE)
    judge.seat = {**judge.seat, "word": word}


@pytest.fixture(scope="module")
def second_field(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Field]:
    made = Field(tmp_path_factory.mktemp("second-field"))
    yield made
    made.served.close()


def test_cards_keep_their_own_seat_when_another_judge_signs_in(second_field: Field, browser: Browser) -> None:
    one, other = second_field.free[:2]
    phone = Judge(second_field, browser, one).sign_in()
    phone.look_at_all()
    phone.context.route("**/api/cards/", lambda route: route.abort())
    phone.taste("201", tenderness=2)
    phone.sign_in(other["word"])
    phone.look_at_all()
    phone.taste("201", tenderness=9)
    phone.count_says("2 cards on this phone only · trying again")
    phone.page.locator("#unsent summary").click()
    expect(phone.page.locator("#unsent")).to_contain_text(f"seat {one['seat']}")
    phone.context.unroute("**/api/cards/")
    for seat, tenderness in ((one, 2), (other, 9)):
        second_field.wait_for_boxes(seat["seat"], ["201"])
        key = second_field.stored(seat["seat"])[0][2]
        assert dict(rows(second_field.data, MARKS.format(key)))["tenderness"] == tenderness
    phone.context.close()


def test_two_devices_with_different_marks_are_a_conflict(second_field: Field, browser: Browser) -> None:
    seat = second_field.free[2]
    phones = [Judge(second_field, browser, seat).sign_in() for _ in range(2)]
    for phone, tenderness in zip(phones, (4, 5), strict=True):
        phone.look_at_all()
        phone.context.set_offline(True)
        phone.taste("201", tenderness=tenderness)
    for place, phone in enumerate(phones, start=1):
        phone.context.set_offline(False)
        wait_for(lambda place=place: len(second_field.stored(seat["seat"])) == place, 60)
        phone.count_says(SAFE)
        phone.dot_says("201", "handed in")
    assert [(box, kind) for box, kind, _ in second_field.stored(seat["seat"])] == [
        ("201", "first"),
        ("201", "conflict"),
    ]
    for phone in phones:
        phone.context.close()


def test_a_refused_card_stays_on_the_phone_with_its_reason(second_field: Field, browser: Browser) -> None:
    seat = second_field.free[3]
    phone = Judge(second_field, browser, seat).sign_in()
    phone.look_at_all()
    second_field.shell(
        "from contest.models import Box, TurnIn\n"
        "TurnIn.objects.create(box=Box.objects.get(number='205'), status='late', by='desk')"
    )
    for box in CHICKEN:
        phone.taste(box)
    phone.count_says("1 card refused: see below")
    phone.page.locator("#unsent summary").click()
    expect(phone.page.locator("#unsent")).to_contain_text("205 is not judged: no marks are taken for it.")
    expect(phone.page.locator("#unsent")).to_contain_text("205: Appearance 7, Taste 8, Tenderness 6")
    expect(phone.page.locator("#unsent")).to_contain_text(second_field.address)
    second_field.wait_for_boxes(seat["seat"], ["201", "203"])
    phone.reopen()
    phone.count_says("1 card refused: see below")
    second_field.shell(
        "from contest.models import Box, TurnIn\nTurnIn.objects.update(standing=False)\n"
        "TurnIn.objects.create(box=Box.objects.get(number='205'), status='accepted', by='desk')"
    )
    phone.page.locator("#unsent summary").click()
    phone.go_on("Try again")
    second_field.wait_for_boxes(seat["seat"], CHICKEN)
    phone.context.close()


def test_the_captains_word_reaches_the_phone_and_settles_appearance(second_field: Field, browser: Browser) -> None:
    seat = second_field.free[4]
    phone = Judge(second_field, browser, seat).sign_in()
    phone.page.get_by_label("Category").select_option("ribs")
    for following in ("209", "211"):
        phone.mark(6)
        phone.go_on(f"Next: {following}")
    second_field.shell(
        "from contest.models import Contest\nfrom judging.services.phones import portions_go_round\n"
        "c = Contest.objects.get()\n"
        "portions_go_round(contest=c, table=c.tables.get(number=1), category=c.categories.get(key='ribs'), by='x')"
    )
    phone.page.evaluate("dispatchEvent(new Event('focus'))")
    expect(phone.page.get_by_role("button", name="Taste _")).to_be_visible()
    phone.mark(5)  # the one that was not looked at before can still be marked
    phone.page.locator(".dots").get_by_role("button", name="207").click()
    expect(phone.page.get_by_role("button", name="Appearance 6 ✓")).to_be_disabled()
    phone.context.close()


def test_without_a_script_the_plain_forms_hand_in(second_field: Field, browser: Browser) -> None:
    seat = second_field.made["seats"][-1]
    context = browser.new_context(viewport=PHONE, java_script_enabled=False)
    page = context.new_page()
    page.goto(f"{second_field.address}/in/")
    page.get_by_label("Pass word").fill(seat["word"])
    page.get_by_role("button", name="Enter").click()
    page.get_by_role("link", name="202").click()
    for criterion, value in (("Appearance", "8"), ("Taste", "9"), ("Tenderness", "7")):
        page.get_by_role("group", name=criterion).get_by_label(value).check()
    page.get_by_role("button", name="Hand in 202").click()
    second_field.wait_for_boxes(seat["seat"], ["202"])
    context.close()


def test_the_page_bars_no_thumb_and_no_reader(second_field: Field, browser: Browser) -> None:
    seat = second_field.made["seats"][6]
    phone = Judge(second_field, browser, seat).sign_in()
    boxes = ["202", "204", "206"]
    faults = faults_of(phone.page, "seat-appearance")
    phone.look_at_all(boxes)
    faults += faults_of(phone.page, "seat-taste")
    phone.context.set_offline(True)
    phone.taste("202", hand_in=False)
    faults += faults_of(phone.page, "seat-check")
    phone.go_on("Hand in 202")
    phone.count_says("1 card on this phone only · trying again")
    phone.page.locator("#unsent summary").click()
    faults += faults_of(phone.page, "seat-unsent")
    assert faults == []
    phone.context.close()


def test_ten_megabytes_are_refused_before_they_are_read(second_field: Field) -> None:
    """The server answers while the body is still to come, and other cards come in as before."""
    with socket.create_connection(("127.0.0.1", second_field.served.port), timeout=20) as connection:
        head = "POST /api/cards/ HTTP/1.1\r\nHost: field.test\r\nContent-Type: application/json\r\n"
        connection.sendall(f"{head}Content-Length: {10 * 1024 * 1024}\r\n\r\n{{".encode())
        assert connection.recv(100).split(b"\r\n")[0].split()[1] == b"413"


def test_in_a_secure_context_a_reload_without_signal_shows_the_page_and_what_was_marked(
    second_field: Field, browser: Browser
) -> None:
    """A browser trusts loopback as it trusts HTTPS: there the service worker is granted."""
    judge = Judge(second_field, browser, second_field.free[5])
    judge.page.goto(f"http://127.0.0.1:{second_field.served.port}/in/#{judge.seat['word']}")
    judge.page.locator("#phone[data-kept-for-reload]").wait_for()
    judge.mark(7)
    second_field.stop()
    try:
        judge.page.reload()
        expect(judge.page.locator("#box")).to_have_text("203")  # 201 is marked: the next one waits
        judge.page.locator(".dots").get_by_role("button", name="201").click()
        expect(judge.page.locator('.scale [data-mark="7"]')).to_have_attribute("aria-pressed", "true")
    finally:
        second_field.start()
    judge.context.close()
