"""The help pages: Markdown files in `contest/help/`, each rendered once and kept.

A page's file starts with its title and one paragraph of what it is for; then come sections with headings of the second
level. Links between pages and to pictures are written as between files, so that they also work where the files are read
in the repository.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import pairwise
from pathlib import Path

from django.templatetags.static import static
from django.urls import reverse
from django.utils.html import escape
from markdown_it import MarkdownIt
from markdown_it.renderer import RendererHTML
from markdown_it.token import Token
from markdown_it.utils import EnvType, OptionsDict

FOLDER = Path(__file__).parent / "help"
PICTURES = Path(__file__).parent / "static" / "contest" / "help"

SMALL, FULL = "small-contest", "full-contest"
#: All topics in reading order, under the headings of the index.
GROUPS: Mapping[str, tuple[str, ...]] = {
    "Run a contest": (SMALL, FULL),
    "Your part on the day": ("captain", "judge", "head-judge", "turn-in-desk", "scorekeeper", "announcer"),
    "For teams": ("cooks", "practice", "food-safety"),
    "Rules and checks": ("rules", "check-a-result", "blind-judging"),
    "The computer": ("serving", "commands"),
}
TOPICS = tuple(topic for topics in GROUPS.values() for topic in topics)

#: The start of a view's name -> its help; the longest start that fits decides, and "" is the index.
HELP_OF: Mapping[str, str] = {
    "contest:": FULL,
    "contest:home": "",
    "contest:first_account": "",
    "contest:sign_": "",
    "contest:pass": "",
    "contest:help": "",
    "contest:helper": FULL,
    "contest:new_small": SMALL,
    "contest:boxes_in": SMALL,
    "contest:rule_set": "rules",
    "contest:contest_rules": "rules",
    "contest:desk": "turn-in-desk",
    "contest:windows": "turn-in-desk",
    "contest:check_in": "turn-in-desk",
    "contest:seal": "blind-judging",
    "judging:": "scorekeeper",
    "judging:captain": "captain",
    "judging:seat": "judge",
    "judging:rulings": "head-judge",
    "judging:tally": FULL,
    "judging:lock": FULL,
    "judging:unlock": FULL,
    "judging:close": FULL,
    "judging:sign": FULL,
    "judging:revise": FULL,
    "judging:working": "rules",
    "reports:": "cooks",
    "reports:names": "announcer",
    "reports:publish": "announcer",
    "reports:sheet_": FULL,
    "reports:paper": FULL,
    "reports:agreement": FULL,
    "reports:how_sure": FULL,
    "reports:backups": "serving",
    "reports:result": "check-a-result",
    "reports:revision": "check-a-result",
    "reports:overall_working": "check-a-result",
    "reports:draw_": "check-a-result",
    "reports:practice": "practice",
    "reports:tasting": "practice",
}


@dataclass(frozen=True)
class Section:
    anchor: str
    title: str


@dataclass(frozen=True)
class HelpPage:
    """A page ready to show: `lede` and `body` are HTML that was made here, without any of the file's own."""

    topic: str
    title: str
    lede: str
    body: str
    sections: tuple[Section, ...]

    @property
    def url(self) -> str:
        return url_of(self.topic)


def topic_of(view_name: str, *, small: bool = False) -> str:
    """Return the topic that fits a page of the site; "" for the index. A `small` contest has a guide of its own."""
    fitting = [start for start in HELP_OF if view_name.startswith(start)]
    topic = HELP_OF[max(fitting, key=len)] if fitting else ""
    return SMALL if small and topic == FULL else topic


def url_of(topic: str) -> str:
    return reverse("contest:help_topic", args=[topic]) if topic else reverse("contest:help")


@cache
def read_page(topic: str) -> HelpPage:
    """Read and render a page; it is kept until the process ends. KeyError where there is no such topic."""
    if topic not in TOPICS:
        raise KeyError(topic)
    return render_page(topic, (FOLDER / f"{topic}.md").read_text(encoding="utf-8"))


def render_page(topic: str, text: str) -> HelpPage:
    """Render Markdown without raw HTML. ValueError where the title or the first paragraph is missing."""
    markdown = MarkdownIt("commonmark", {"html": False}, renderer_cls=PageRenderer).enable("table")
    tokens = markdown.parse(text)
    kinds = [token.type for token in tokens[:6]]
    if kinds != ["heading_open", "inline", "heading_close", "paragraph_open", "inline", "paragraph_close"]:
        raise ValueError(f"{topic}.md: start with a title and one paragraph that says what the page is for.")
    sections = tuple(_name_sections(tokens))
    for before, token, after in zip(tokens, tokens[1:], tokens[2:], strict=False):
        if before.type == "paragraph_open" and [child.type for child in token.children or []] == ["image"]:
            before.hidden = after.hidden = True  # a figure is not inside a paragraph
    page = {"section": tokens[1].content}
    return HelpPage(
        topic=topic,
        title=tokens[1].content,
        lede=markdown.renderer.render([tokens[4]], markdown.options, page),
        body=markdown.renderer.render(tokens[6:], markdown.options, page),
        sections=sections,
    )


def anchor_of(title: str) -> str:
    """Return a heading's anchor, as repositories that show Markdown make it."""
    return re.sub(r"[^\w-]", "", title.lower().replace(" ", "-"))


def _name_sections(tokens: Sequence[Token]) -> list[Section]:
    sections = []
    for token, text in pairwise(tokens):
        if token.type == "heading_open" and token.tag == "h2":
            token.attrSet("id", anchor_of(text.content))
            sections.append(Section(anchor_of(text.content), text.content))
    return sections


class PageRenderer(RendererHTML):
    """HTML as the site's pages have it: links by address, pictures in light and dark, tables that scroll by themselves.

    `env["section"]` is the heading above, which names a table for screen readers.
    """

    def heading_open(self, tokens: Sequence[Token], idx: int, options: OptionsDict, env: EnvType) -> str:
        env["section"] = tokens[idx + 1].content
        return self.renderToken(tokens, idx, options, env)

    def link_open(self, tokens: Sequence[Token], idx: int, options: OptionsDict, env: EnvType) -> str:
        name, hash_sign, anchor = str(tokens[idx].attrs["href"]).partition("#")
        if name.endswith(".md"):
            tokens[idx].attrSet("href", url_of(name.removesuffix(".md")) + hash_sign + anchor)
        return self.renderToken(tokens, idx, options, env)

    def image(self, tokens: Sequence[Token], idx: int, options: OptionsDict, env: EnvType) -> str:
        """Both themes' pictures, of which the style sheet shows one; `<picture>` would print the dark one."""
        token = tokens[idx]
        light = Path(str(token.attrs["src"])).name
        width, height = png_size(PICTURES / light)
        text = self.renderInlineAsText(token.children, options, env)
        size = {"width": str(width), "height": str(height), "alt": text}
        shown = ""
        for theme, name in (("light", light), ("dark", light.replace("-light", "-dark"))):
            image: dict[str, str | int | float] = {"class": theme, "src": static(f"contest/help/{name}"), **size}
            shown += f"<img{self.renderAttrs(Token('image', 'img', 0, attrs=image))}>"
        caption = escape(token.attrs.get("title", ""))
        shape = " tall" if height > width else ""
        return f'<figure class="shot{shape}">{shown}<figcaption>{caption}</figcaption></figure>'

    def table_open(self, tokens: Sequence[Token], idx: int, options: OptionsDict, env: EnvType) -> str:
        label = escape(env["section"])
        return (
            f'<div class="ledger-wrap" tabindex="0" role="region" aria-label="{label}: table"><table class="ledger">\n'
        )

    def table_close(self, tokens: Sequence[Token], idx: int, options: OptionsDict, env: EnvType) -> str:
        return "</table></div>\n"

    def th_open(self, tokens: Sequence[Token], idx: int, options: OptionsDict, env: EnvType) -> str:
        return '<th scope="col">'


def png_size(path: Path) -> tuple[int, int]:
    """Return width and height as the file's head states them (PNG, third edition, 11.2.1: IHDR comes first)."""
    with path.open("rb") as file:
        head = file.read(24)
    return int.from_bytes(head[16:20], "big"), int.from_bytes(head[20:24], "big")
