"""Help: every page opens, is reached from the index and from the pages it fits, and keeps to the language guide."""

import re
import subprocess
import sys
from functools import cache
from html.parser import HTMLParser
from pathlib import Path

import pytest
from django.conf import settings
from django.urls import get_resolver, resolve
from markdown_it import MarkdownIt

from contest.checks import walk
from contest.help_pages import FOLDER, HELP_OF, PICTURES, TOPICS, png_size, read_page, render_page, topic_of
from reports.rules.sensory.tasting import TRIANGLE, TastingRequest, plan, plan_text
from tests.factories import client_for, make_contest

ROOT = Path(settings.BASE_DIR)
FILES = {"README": ROOT / "README.md", **{topic: FOLDER / f"{topic}.md" for topic in TOPICS}}
PARSER = MarkdownIt("commonmark").enable("table")

#: Words that the language guide bans, and words of which the glossary has a better one.
BANNED = re.compile(
    r"""\b(
    stands?|stood|standing                              # be, appear, count
    |somebody|everybody|anybody|nobody|whoever          # someone, everyone, anyone, no one
    |pass[ ]words?|slip[ ]word                          # sign-in code
    |(?<!there[ ])is[ ]no(?![ ](longer|one)\b)          # is not a
    |taken[ ]back|beside|anew|mend\w*|parted|nought
    |ledger|clerk|keyed|keying|marks?|marked|jury|hardness|harder|softer|call[ ]sheet|commitment  # see the glossary
    )\b""",
    re.IGNORECASE | re.VERBOSE,
)


class Links(HTMLParser):
    """The addresses, anchors and pictures of a page."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.links: list[str] = []
        self.anchors: set[str] = set()
        self.pictures: list[dict[str, str]] = []
        self.tags: list[str] = []
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        values = {name: value or "" for name, value in attrs}
        self.tags.append(tag)
        if tag == "a" and "href" in values:
            self.links.append(values["href"])
        if tag == "img":
            self.pictures.append(values)
        if "id" in values:
            self.anchors.add(values["id"])


def prose(path: Path) -> list[str]:
    """The sentences of a file without code and addresses: of paragraphs, list items, headings and cells."""
    texts = []
    for token in PARSER.parse(path.read_text(encoding="utf-8")):
        if token.type == "inline":
            words = (" " if child.type in ("code_inline", "softbreak") else child.content for child in token.children)
            texts.append("".join(words))
    return [sentence for text in texts for sentence in re.split(r"(?<=[.!?])\s+", text) if sentence.strip()]


def test_every_file_is_a_topic_of_the_index() -> None:
    assert sorted(path.stem for path in FOLDER.iterdir()) == sorted(TOPICS)
    assert len(TOPICS) == len(set(TOPICS))


@pytest.mark.django_db
@pytest.mark.parametrize("topic", TOPICS)
def test_every_page_opens_and_its_links_lead_somewhere(client, topic: str) -> None:
    answer = client.get(f"/help/{topic}/")
    assert answer.status_code == 200
    page = Links(answer.content.decode())
    assert len(read_page(topic).sections) >= 3
    for section in read_page(topic).sections:
        assert f"#{section.anchor}" in page.links
    for link in page.links:
        path, _, anchor = link.partition("#")
        target = page if not path else Links(client.get(path).content.decode())
        assert not path or (path.startswith("/") and client.get(path).status_code in (200, 302)), link
        assert not anchor or anchor in target.anchors, link


@pytest.mark.django_db
def test_index_leads_to_every_page(client) -> None:
    links = Links(client.get("/help/").content.decode()).links
    assert [link for link in links if re.fullmatch(r"/help/[\w-]+/", link)] == [f"/help/{topic}/" for topic in TOPICS]


@pytest.mark.django_db
def test_unknown_topic_is_not_found(client) -> None:
    assert client.get("/help/smoke-signals/").status_code == 404


@pytest.mark.parametrize("topic", TOPICS)
def test_pages_hold_no_html_of_their_own(topic: str) -> None:
    markdown = (FOLDER / f"{topic}.md").read_text(encoding="utf-8")
    assert [token.type for token in PARSER.parse(markdown) if token.type == "html_block"] == []
    inline = [child for token in PARSER.parse(markdown) for child in token.children or []]
    assert [child.content for child in inline if child.type == "html_inline"] == []


def test_html_in_a_page_is_shown_as_text() -> None:
    page = render_page(
        "captain",
        "# Title\n\nWhat <b>it</b> is for.\n\n## One\n\n<script>alert(1)</script>\n\n[x](javascript:alert(1))\n",
    )
    assert page.lede == "What &lt;b&gt;it&lt;/b&gt; is for."
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in page.body
    assert set(Links(page.lede + page.body).tags) == {"h2", "p"}


def test_page_without_a_purpose_is_refused() -> None:
    with pytest.raises(ValueError, match="start with a title and one paragraph"):
        render_page("captain", "# Title\n\n## One\n\nText.\n")


def test_page_is_rendered_once() -> None:
    assert read_page("captain") is read_page("captain")


def test_parts_of_a_page_are_rendered_as_the_site_has_them() -> None:
    """A link between files, a table, and the head of a picture whose size another program states."""
    body = read_page("turn-in-desk").body
    assert '<a href="/help/food-safety/">' in body
    light, dark = Links(body).pictures
    assert light["src"] == "/static/contest/help/desk-light.png"
    assert dark["src"] == "/static/contest/help/desk-dark.png"
    assert light["alt"].startswith("The turn-in desk")
    assert 'role="region" aria-label="Who sees what: table"' in read_page("blind-judging").body


def test_sizes_of_pictures_are_those_that_pillow_reads() -> None:
    from PIL import Image

    for path in PICTURES.glob("*.png"):
        with Image.open(path) as image:
            assert png_size(path) == image.size


def test_pictures_are_used_in_both_themes_and_stay_small() -> None:
    stored = [*PICTURES.iterdir(), *(ROOT / "fixtures/pictures").glob("*.png")]
    named = {"readme-light.png", "readme-dark.png"}
    for topic in TOPICS:
        for picture in Links(read_page(topic).body).pictures:
            named.add(picture["src"].rsplit("/")[-1])
            assert len(picture["alt"]) > 20
    assert {path.name for path in stored} == named
    assert sum(path.stat().st_size for path in stored) < 1_500_000


# ---- which help fits which page


def view_names() -> set[str]:
    names = set()
    for route, pattern in walk(get_resolver()):
        namespace = pattern.callback.__module__.split(".")[0]
        if pattern.name and not route.startswith("site-admin/"):
            names.add(f"{namespace}:{pattern.name}")
    return names


def test_every_page_of_the_site_has_help_that_exists() -> None:
    assert {topic_of(name) for name in view_names()} <= {"", *TOPICS}
    to_index = {name for name in view_names() if topic_of(name) == ""}
    assert to_index == {
        "contest:home", "contest:first_account", "contest:sign_in", "contest:sign_out", "contest:password",
        "contest:pass_in", "contest:help", "contest:help_topic",
    }  # fmt: skip


def test_no_entry_of_the_mapping_is_dead() -> None:
    dead = [start for start in HELP_OF if not any(name.startswith(start) for name in view_names())]
    assert dead == []


@pytest.mark.parametrize(
    ("path", "topic"),
    [
        ("/c/a/desk/record/", "turn-in-desk"),
        ("/c/a/marks/ribs/1/A/", "scorekeeper"),
        ("/c/a/table/1/", "captain"),
        ("/c/a/seat/", "judge"),
        ("/c/a/rulings/", "head-judge"),
        ("/c/a/names/", "announcer"),
        ("/c/a/teams/", "full-contest"),
        ("/r/a/", "check-a-result"),
        ("/r/a/sheet/00000000-0000-0000-0000-000000000000/", "cooks"),
        ("/teams/00000000-0000-0000-0000-000000000000/practice/new/", "practice"),
        ("/c/a/backups/", "serving"),
        ("/rules/1/edit/", "rules"),
    ],
)
def test_pages_lead_to_the_help_of_their_part(path: str, topic: str) -> None:
    assert topic_of(resolve(path).view_name) == topic


@pytest.mark.django_db
def test_help_link_is_on_pages_and_on_what_is_not_found(client) -> None:
    make_contest()
    assert "/help/" in Links(client.get("/sign-in/").content.decode()).links
    assert "/help/" in Links(client.get("/no-such-page/").content.decode()).links
    assert "/help/check-a-result/" in Links(client.get("/r/nowhere/").content.decode()).links


@pytest.mark.django_db
def test_small_contest_leads_to_its_own_help() -> None:
    for small, topic in ((True, "small-contest"), (False, "full-contest")):
        contest = make_contest(small=small)
        answer = client_for(contest, "organiser").get(f"/c/{contest.slug}/set-up/")
        assert f"/help/{topic}/" in Links(answer.content.decode()).links


# ---- words and commands, of the README as well


def test_words_that_are_found_are_the_banned_ones() -> None:
    for text in (
        "Results stand here",
        "Everybody waits",
        "a pass word",
        "This is no problem",
        "the marks",
        "tally clerk",
    ):
        assert BANNED.search(text), text
    for text in ("There is no internet", "standings", "a password", "bookmarks", "No one is late", "no longer"):
        assert not BANNED.search(text), text


@pytest.mark.parametrize("name", FILES)
def test_no_banned_word_occurs(name: str) -> None:
    hits = [(hit.group(), sentence) for sentence in prose(FILES[name]) for hit in BANNED.finditer(sentence)]
    assert hits == []


@pytest.mark.parametrize("name", FILES)
def test_no_sentence_has_more_than_twenty_words(name: str) -> None:
    long = [
        (len(words), sentence)
        for sentence in prose(FILES[name])
        if len(words := re.findall(r"\w[\w’'./%-]*", sentence)) > 20
    ]
    assert long == []


def commands_in(path: Path) -> list[str]:
    blocks = [token.content for token in PARSER.parse(path.read_text(encoding="utf-8")) if token.type == "code_block"]
    return [line for block in blocks for line in block.splitlines() if re.search(r"manage\.py \w", line)]


@cache
def options_of(command: str) -> set[str]:
    """What the command itself says that it takes."""
    arguments = [sys.executable, "manage.py", command, "--help"]
    answer = subprocess.run(arguments, cwd=ROOT, capture_output=True, text=True, check=True)
    return set(re.findall(r"--[a-z-]+", answer.stdout))


@pytest.mark.parametrize("name", FILES)
def test_commands_and_their_options_exist(name: str) -> None:
    for line in commands_in(FILES[name]):
        command = re.search(r"manage\.py (\w+)", line).group(1)
        after = line.partition(f"manage.py {command}")[2]
        assert set(re.findall(r"--[a-z-]+", after)) <= options_of(command), line


def test_serving_page_names_every_option_of_serve() -> None:
    text = FILES["serving"].read_text(encoding="utf-8")
    django_own = {"--help", "--version", "--verbosity", "--settings", "--pythonpath", "--traceback", "--no-color",
                  "--force-color", "--skip-checks"}  # fmt: skip
    assert options_of("serve") - django_own <= set(re.findall(r"--[a-z-]+", text))


@pytest.mark.parametrize(("changed", "answer"), [(False, "True\n"), (True, "False\n")])
def test_line_that_checks_plates_tells_a_changed_plan(tmp_path: Path, changed: bool, answer: str) -> None:
    request = TastingRequest(TRIANGLE, versions=2, tasters=3)
    text = plan_text(request, "ab" * 32, plan(request, "ab" * 32), ["cherry", "hickory"])
    last = text.splitlines()[-1]
    other = f"{last[:-1]}{3 - int(last[-1])}"  # the other of the two versions on the last plate
    (tmp_path / "plan.txt").write_text(text.replace(last, other) if changed else text)
    (line,) = [line for line in FILES["practice"].read_text(encoding="utf-8").splitlines() if "drawn_again" in line]
    typed = line.strip().replace(".venv/bin/python", sys.executable).replace("plan.txt", str(tmp_path / "plan.txt"))
    assert subprocess.run(["sh", "-c", typed], cwd=ROOT, capture_output=True, text=True).stdout == answer
