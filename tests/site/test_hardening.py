"""What guards the site, looked at from outside: a real server behind HTTPS, its answers, its cookies, its log."""

import http.cookiejar
import io
import json
import math
import re
import subprocess
import urllib.error
import urllib.parse
import urllib.request
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.test import Client
from django.urls import get_resolver
from openpyxl import Workbook

from contest.checks import walk
from contest.forms.entrance import KNOWN_WORDS, NoKnownWords
from contest.models import Account
from contest.services import passes
from contest.services.passes import digest_of, issue_pass, word_of
from contest.services.throttle import MOST_AT_AN_ADDRESS
from contest.tablefile import TableFileError, read_file
from reports.rules.package.archive import MOST_FILES, PackageError, unpack
from tests import factories
from tests.site.served import Served, command, environment

PASSWORD = "seven-larks-over-the-weir"
WRONG = "a-wrong-one-that-somebody-uses-elsewhere"

#: A contest with a phone for a judge; prints what opens a door.
PREPARE = """
import json
from datetime import date, time
from contest.models import Account, Contest, Seat
from contest.services.passes import issue_pass, word_of
from contest.services.seat_tokens import issue_token, text_of
from contest.services.setup import create_small_contest
organiser = Account.objects.create_user("organiser", password=PASSWORD)
contest = create_small_contest(organiser=organiser, name="Example Yard", date=date(2030, 5, 4), time_zone="UTC",
    categories=[("Ribs", time(13))], team_names=["Team Ash", "Team Elder"], judges=3)
Contest.objects.update(phones=True)
seat = Seat.objects.order_by("pk").first()
held = issue_pass(opens="seat", contest=contest, seat=seat)
desk = issue_pass(opens="desk", contest=contest)
print(json.dumps({"slug": contest.slug, "seat": word_of(held), "desk": word_of(desk), "token": text_of(issue_token(
    held=held)), "sheet": str(contest.entries.first().sheet_key)}))
"""


class Browser:
    """A visitor with cookies; `https` says what the proxy in front would say."""

    def __init__(self, site: Served, https: bool = True) -> None:
        self.site, self.cookies = site, http.cookiejar.CookieJar()
        self.headers = {"X-Forwarded-Proto": "https" if https else "http"}

    def ask(self, path: str, data: bytes | None = None, **headers: str) -> tuple[int, str, Any]:
        """Status, text and headers of an answer that is not followed."""

        class Stay(urllib.request.HTTPRedirectHandler):
            def redirect_request(self, *arguments: Any) -> None:
                return None

        url = self.site.address + path
        request = urllib.request.Request(url, data, {**self.headers, **headers})
        kept = "; ".join(f"{cookie.name}={cookie.value}" for cookie in self.cookies)
        if kept:
            request.add_header("Cookie", kept)
        try:
            answer = urllib.request.build_opener(Stay).open(request, timeout=60)
        except urllib.error.HTTPError as error:
            answer = error
        with answer:
            secure = urllib.request.Request(url.replace("http://", "https://"))  # the cookies are for https only
            self.cookies.extract_cookies(answer, secure)
            return answer.status, answer.read().decode(errors="replace"), answer.headers

    def send(self, path: str, **fields: str) -> tuple[int, str, Any]:
        """Load the form at `path` and send it with its token."""
        _, text, _ = self.ask(path)
        token = re.search(r'name="csrfmiddlewaretoken" value="(\w+)"', text)
        data = urllib.parse.urlencode({"csrfmiddlewaretoken": token[1] if token else "", **fields}).encode()
        return self.ask(path, data, Referer=self.site.address.replace("http://", "https://") + path)


@pytest.fixture(scope="module")
def opens(tmp_path_factory: pytest.TempPathFactory) -> Iterator[dict[str, Any]]:
    """A server behind HTTPS (`site`), and everything that opens a door of it."""
    data = tmp_path_factory.mktemp("https")
    for arguments in (["migrate", "-v", "0"], ["shell", "-v", "0", "-c", f"PASSWORD = {PASSWORD!r}\n{PREPARE}"]):
        made = subprocess.run(command(*arguments), env=environment(data), capture_output=True, text=True, timeout=120)
        assert made.returncode == 0, made.stderr
    site = Served(data, "--loopback", FAIRBOX_HTTPS="1")
    yield {"site": site, "key": (data / "secret.key").read_text(), **json.loads(made.stdout)}
    site.close()


# Behind HTTPS


def test_what_arrives_in_the_open_is_sent_to_https_and_a_phones_token_is_refused(opens: dict[str, Any]) -> None:
    plain = Browser(opens["site"], https=False)
    status, _, headers = plain.ask("/sign-in/")
    assert (status, headers["Location"][:8]) == (301, "https://")
    status, text, _ = plain.ask("/api/seat/", Authorization=f"Bearer {opens['token']}")
    assert (status, json.loads(text)["error"]) == (403, "insecure")
    assert Browser(opens["site"]).ask("/api/seat/", Authorization=f"Bearer {opens['token']}")[0] == 200


def test_cookies_are_bound_to_the_host_and_hidden_from_scripts(opens: dict[str, Any]) -> None:
    visitor = Browser(opens["site"])
    status, _, headers = visitor.send("/in/", word=opens["desk"])
    assert status == 302
    set_now = headers.get_all("Set-Cookie")
    (session,) = [each for each in set_now if each.startswith("__Host-sessionid=")]
    assert {"Secure", "HttpOnly", "Path=/", "SameSite=Lax"} <= set(session.split("; "))
    assert {cookie.name for cookie in visitor.cookies} == {"__Host-sessionid", "__Host-csrftoken"}
    assert all(cookie.secure and cookie.has_nonstandard_attr("HttpOnly") for cookie in visitor.cookies)
    assert "Domain" not in session


def test_https_is_promised_for_a_year_and_for_this_host_alone(opens: dict[str, Any]) -> None:
    _, _, headers = Browser(opens["site"]).ask("/sign-in/")
    assert headers["Strict-Transport-Security"] == "max-age=31536000"  # RFC 6797; one year, ASVS 5.0 3.4.1


def test_static_files_carry_the_policy_and_folders_are_not_listed(opens: dict[str, Any]) -> None:
    visitor = Browser(opens["site"])
    status, _, headers = visitor.ask("/static/contest/mark.svg")
    assert status == 200
    assert "default-src 'none'" in headers["Content-Security-Policy"]
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert visitor.ask("/static/contest/")[0] == 404
    assert visitor.ask("/static/../secret.key")[0] == 404
    assert visitor.ask("/static/%2e%2e/%2e%2e/manage.py")[0] == 404
    assert visitor.ask("/.git/config")[0] == 404


def test_a_form_from_another_site_is_refused(opens: dict[str, Any]) -> None:
    visitor = Browser(opens["site"])
    visitor.ask("/in/")
    data = urllib.parse.urlencode({"word": opens["desk"]}).encode()
    status, text, _ = visitor.ask(
        "/in/", data, Referer="https://elsewhere.example/", Origin="https://elsewhere.example"
    )
    assert (status, "Nothing was changed" in text) == (403, True)


def test_a_body_larger_than_any_file_here_is_refused_before_it_is_read(opens: dict[str, Any]) -> None:
    visitor = Browser(opens["site"])
    try:
        status, _, _ = visitor.ask("/in/", b"x" * (9 * 1024 * 1024))
    except urllib.error.URLError:  # the server hung up while it was being sent
        status = 413
    assert status == 413
    assert visitor.ask("/sign-in/")[0] == 200


# The server's log


def test_nothing_that_opens_a_door_stands_in_the_log(opens: dict[str, Any]) -> None:
    site, slug = opens["site"], opens["slug"]
    organiser, desk, phone = Browser(site), Browser(site), Browser(site)
    assert organiser.send("/sign-in/", username="organiser", password=WRONG)[0] == 422
    assert organiser.send("/sign-in/", username="organiser", password=PASSWORD)[0] == 302
    assert desk.send("/in/", word=opens["seat"][:-1] + ("2" if opens["seat"][-1] != "2" else "3"))[0] == 422
    assert desk.send("/in/", word=opens["desk"])[0] == 302
    assert organiser.ask(f"/c/{slug}/desk/")[0] == 403
    assert phone.ask("/api/seat/", Authorization=f"Bearer {opens['token'][:-1]}")[0] == 401
    assert phone.ask(f"/r/{slug}/sheet/{opens['sheet']}/")[0] == 404
    assert phone.ask(f"/r/{slug}/sheet/{opens['sheet'].replace('-', '')}/")[0] == 404
    assert phone.ask("/no-such%0a2026-01-01T00:00:00Z%20INFO%20contest.entrance:%20account%20signed%20in/")[0] == 404
    log = site.output()
    assert "contest.entrance: account signed in: organiser, from 127.0.0.1" in log
    assert "contest.entrance: name or password refused, from 127.0.0.1" in log
    assert "contest.entrance: pass word taken: Turn-in desk of example-yard, from 127.0.0.1" in log
    assert "contest.entrance: pass word refused, from 127.0.0.1" in log
    assert f"Forbidden (Permission denied): /c/{slug}/desk/" in log
    assert f"Not Found: /r/{slug}/sheet/{opens['sheet'][:4]}…/" in log
    assert "Traceback" not in log
    lines = [line for line in log.splitlines() if "contest.entrance" in line and "no-such" not in line]
    assert all(re.match(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ INFO ", line) for line in lines)
    secrets = {
        "password": PASSWORD, "wrong password": WRONG, "pass word": opens["desk"], "seat": opens["seat"],
        "token": opens["token"].partition(".")[2][:-1], "sheet": opens["sheet"], "key": opens["key"],
        "bare sheet": opens["sheet"].replace("-", ""), "bare word": opens["desk"].replace("-", ""),
        "first signs": opens["seat"][:9],
        **{cookie.name: cookie.value for each in (organiser, desk) for cookie in each.cookies},
    }  # fmt: skip
    assert [name for name, secret in secrets.items() if secret in log] == []


# Ways in


def test_a_pass_word_has_sixty_bits_and_uses_all_of_its_signs() -> None:
    """Entropy: log2 of the number of words that are equally likely. Bytes fall evenly on 32 signs."""
    assert len(set(passes.ALPHABET)) == len(passes.ALPHABET) == 32
    assert 256 % len(passes.ALPHABET) == 0
    assert math.log2(len(passes.ALPHABET) ** passes.WORD_LENGTH) == 60 >= 40
    words = [word_of(passes.Pass(opens="desk")).replace("-", "") for _ in range(2000)]
    assert len(set(words)) == 2000
    assert {len(word) for word in words} == {12}
    assert all({word[place] for word in words} == set(passes.ALPHABET) for place in range(12))


@pytest.mark.django_db
def test_pass_words_are_not_kept_and_their_digests_need_the_secret_key(settings: Any) -> None:
    held = issue_pass(opens="desk", contest=factories.make_contest(teams=1))
    word = word_of(held)
    row = {field.name: str(getattr(held, field.name)) for field in held._meta.concrete_fields}
    assert not [name for name, value in row.items() if word in value or word.replace("-", "") in value]
    assert held.digest == digest_of(word) == digest_of(word.upper().replace("-", " "))
    settings.SECRET_KEY = "another installation's"
    assert digest_of(word) != held.digest


@pytest.mark.django_db
def test_wrong_pass_words_are_stopped_after_ten() -> None:
    client = Client()
    right = word_of(issue_pass(opens="desk", contest=factories.make_contest(teams=1)))
    wrong = right[:-1] + ("2" if right[-1] != "2" else "3")
    for _ in range(MOST_AT_AN_ADDRESS):
        assert "No such pass word" in client.post("/in/", {"word": wrong}).content.decode()
    assert "wrong too often" in client.post("/in/", {"word": wrong}).content.decode()
    assert "wrong too often" in client.post("/in/", {"word": right}).content.decode()
    assert client.post("/in/", {"word": right}, REMOTE_ADDR="192.0.2.44").status_code == 302


@pytest.mark.django_db
def test_the_admins_own_way_in_is_stopped_as_well(settings: Any) -> None:
    settings.AXES_ENABLED = True
    Account.objects.create_superuser("owner", password=PASSWORD)
    client = Client()
    for _ in range(8):
        client.post("/site-admin/login/", {"username": "owner", "password": WRONG})
    answer = client.post("/site-admin/login/?next=/site-admin/", {"username": "owner", "password": PASSWORD})
    assert answer.status_code == 429


@pytest.mark.django_db
def test_a_password_is_changed_against_the_present_one_and_ends_other_sessions() -> None:
    account = Account.objects.create_user("cook", password=PASSWORD)
    here, elsewhere = Client(), Client()
    for client in (here, elsewhere):
        assert client.post("/sign-in/", {"username": "cook", "password": PASSWORD}).status_code == 302
    new = "nine-herons-and-a-" + "very-" * 10 + "long-evening"  # more than 64 signs: none is cut off
    typed = {"old_password": WRONG, "new_password1": new, "new_password2": new}
    assert here.post("/password/", typed).status_code == 422
    assert here.post("/password/", {**typed, "old_password": PASSWORD}).status_code == 302
    assert here.get("/password/").status_code == 200
    assert elsewhere.get("/password/").status_code == 302
    account.refresh_from_db()
    assert account.check_password(new)
    assert not account.check_password(new[:64])


@pytest.mark.django_db
def test_whoever_signs_in_with_a_pass_word_has_no_password_to_change() -> None:
    account = Account.objects.create_user("clerk")
    account.set_unusable_password()
    account.save()
    client = Client()
    client.post("/in/", {"word": word_of(issue_pass(opens="account", account=account))})
    assert "you sign in with the pass word of your slip" in client.get("/password/").content.decode()


@pytest.mark.django_db
def test_an_account_that_is_switched_off_is_out_at_once() -> None:
    client = factories.client_for(factories.make_contest(teams=1), "organiser")
    assert client.get("/new/").status_code == 200
    Account.objects.update(is_active=False)
    assert client.get("/new/").status_code == 302


@pytest.mark.parametrize("password", ["barbecue", "Barbecue1234", "fairbox-fairbox!", "brisketribs99"])
def test_a_password_that_is_a_word_of_this_place_is_refused(password: str) -> None:
    with pytest.raises(ValidationError, match="anyone here would try first"):
        NoKnownWords().validate(password)


def test_other_passwords_may_be_of_any_kind() -> None:
    for password in (PASSWORD, "0123456789 0123456789", "äöüäöüäöü-漢字漢字", f"{KNOWN_WORDS[0]} and seven larks"):
        NoKnownWords().validate(password)


@pytest.mark.django_db
def test_a_link_to_another_site_is_not_followed_after_signing_in() -> None:
    Account.objects.create_user("cook", password=PASSWORD)
    for following in ("https://elsewhere.example/", "//elsewhere.example/", "javascript:alert(1)", "\\\\elsewhere"):
        answer = Client().post("/sign-in/", {"username": "cook", "password": PASSWORD, "next": following})
        assert (answer.status_code, answer["Location"]) == (302, "/")


# What is shown under a name


@pytest.mark.django_db
def test_pages_under_a_name_are_kept_by_no_cache() -> None:
    contest = factories.make_drawn(teams=4)
    for part, path in (("desk", "desk/ledger/"), ("tally", "marks/"), ("captain", "table/1/"), ("organiser", "")):
        answer = factories.client_for(contest, part).get(f"/c/{contest.slug}/{path}")
        assert (answer.status_code, "no-store" in answer["Cache-Control"]) == (200, True)
    assert "Cache-Control" not in Client().get("/sign-in/")


def test_no_address_answers_methods_that_it_does_not_name() -> None:
    client = Client(raise_request_exception=False)
    for route, _ in walk(get_resolver()):
        path = "/" + re.sub(r"<(?:(\w+):)?\w+>", lambda found: EXAMPLES[found[1] or "str"], route)
        for method in ("TRACE", "PUT", "DELETE", "PATCH", "OPTIONS"):
            answer = client.generic(method, path)
            assert answer.status_code == 405, (method, path, answer.status_code)


EXAMPLES = {"int": "1", "slug": "a", "uuid": "00000000-0000-0000-0000-000000000000", "str": "a"}


# Files that come in


def zipped(files: dict[str, bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in files.items():
            archive.writestr(name, data)
    return out.getvalue()


def test_a_package_that_unpacks_to_too_much_or_too_many_is_refused_unread() -> None:
    bomb = zipped({"zeros": b"\0" * (64 * 1024 * 1024 + 1)})
    assert len(bomb) < 100_000
    with pytest.raises(PackageError, match="which no contest needs"):
        unpack(bomb)
    with pytest.raises(PackageError, match="more than 200 files"):
        unpack(zipped({f"{number}.txt": b"" for number in range(MOST_FILES + 1)}))


def test_a_size_that_the_zip_lies_about_is_found_out() -> None:
    """The directory says ten bytes; what comes out is more, and reading stops there."""
    honest = zipped({"zeros": b"\0" * 5_000_000})
    lying = honest.replace((5_000_000).to_bytes(4, "little"), (10).to_bytes(4, "little"))
    assert lying != honest
    with pytest.raises(PackageError, match="cannot be unpacked"):
        unpack(lying)


def test_names_inside_a_package_are_names_and_never_paths(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    before = sorted(tmp_path.parent.rglob("*"))
    names = ["../outside.txt", "/tmp/outside-of-it.txt", "a/../../outside.txt", "c:\\outside.txt"]
    assert set(unpack(zipped(dict.fromkeys(names, b"x")))) == set(names)
    assert sorted(tmp_path.parent.rglob("*")) == before


@pytest.mark.parametrize(
    ("name", "data", "said"),
    [
        ("teams.csv", b"x" * (1024 * 1024 + 1), "larger than 1 MB"),
        ("teams.csv", b"Team\n" * 1001, "more than 1000 rows"),
        ("teams.csv", b"a," * 41 + b"a", "more than 40 columns"),
        ("teams.xlsx", zipped({"[Content_Types].xml": b"\0" * (21 * 1024 * 1024)}), "too large once unpacked"),
        ("teams.xlsx", zipped({f"{number}": b"" for number in range(201)}), "too large once unpacked"),
        ("teams.xlsx", zipped({"a": b""}), "not an Excel workbook"),
        ("teams.xlsx", b"%PDF-1.7", "not an Excel file inside"),
        ("teams.csv", b"GIF89a\0\0\0", "save it as CSV UTF-8"),
    ],
)
def test_a_list_that_is_too_large_or_something_else_is_refused_with_the_fix(name: str, data: bytes, said: str) -> None:
    with pytest.raises(TableFileError, match=said):
        read_file(name, data)


#: Entities that grow tenfold eight times, and one that reads a file of this machine.
TENFOLD = "".join(f'<!ENTITY {name} "{f"&{before};" * 10}">' for before, name in zip("abcdefg", "bcdefgh", strict=True))
GROWING = f'<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a "aaaaaaaaaa">{TENFOLD}]><x>&h;</x>'
READING = '<?xml version="1.0"?><!DOCTYPE x [<!ENTITY e SYSTEM "file:///etc/hostname">]><x>&e;</x>'


@pytest.mark.parametrize("encoding", ["utf-8", "utf-16"])
@pytest.mark.parametrize("xml", [GROWING, READING])
@pytest.mark.parametrize("part", ["xl/sharedStrings.xml", "xl/worksheets/sheet1.xml", "docProps/app.xml"])
def test_a_workbook_cannot_make_its_reader_grow_or_look_elsewhere(xml: str, part: str, encoding: str) -> None:
    """ECMA-376 part 2 (Open Packaging Conventions) forbids document type declarations in the XML of a package."""
    out = io.BytesIO()
    book = Workbook()
    book.active.append(["Team Alder"])
    book.save(out)
    with zipfile.ZipFile(out) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    assert read_file("teams.xlsx", zipped(parts)).cells == [["Team Alder"]]
    with pytest.raises(TableFileError, match="not an Excel workbook, or it is damaged"):
        read_file("teams.xlsx", zipped({**parts, part: xml.encode(encoding)}))
