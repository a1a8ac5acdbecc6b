"""Templates are laid out for those who read them; the pages made of them carry none of that."""

import re
from pathlib import Path

from django.conf import settings
from django.template import Origin
from django.template.loaders import app_directories

#: Elements at whose edges a blank shows nothing.
BLOCK = (
    "article|aside|body|button|caption|datalist|dd|details|div|dl|dt|fieldset|figcaption|figure|footer|form|h[1-6]|head|"
    "header|hr|html|legend|li|link|main|meta|nav|ol|optgroup|option|p|section|summary|table|tbody|td|tfoot|th|thead|"
    "title|tr|ul"
)
_CODE = r"\{\{.*?\}\}|\{%.*?%\}"
_KEPT = re.compile(r"<(pre|textarea|script|style)\b.*?</\1>|<!--.*?-->", re.S)
_TAG = re.compile(rf'</?[a-z](?:{_CODE}|"(?:{_CODE}|[^"])*"|\'[^\']*\'|[^<>"\'])*>', re.S)
_CONDITION = re.compile(r" (\{% if [^%]*%\})((?:(?!\{% (?:else|elif|endif)).)*\{% endif %\})")
_AFTER_OPENED = re.compile(
    rf"(<(?:{BLOCK}|br)\b(?:{_CODE}|[^<>])*>|\{{% load [^%]*%\}}|</t[dh]>(?=\s*<t[dh]\b))\s*\n\s*"
)
_BEFORE_CLOSED = re.compile(rf"\s*\n\s*(?=</(?:{BLOCK})>)")
_BETWEEN_TAGS = re.compile(r"(?<=>)\s*\n\s*(?=<)")
_BREAK = re.compile(r"(?<!\s)\s*\n\s*")


class Loader(app_directories.Loader):
    """Load this site's templates without their layout; as they are while debugging, where errors name their lines."""

    def get_contents(self, origin: Origin) -> str:
        text = super().get_contents(origin)
        own = Path(origin.name).is_relative_to(settings.BASE_DIR) and origin.name.endswith(".html")
        return without_layout(text) if own and not settings.DEBUG else text


def without_layout(text: str) -> str:
    """Put one blank, or one new line between tags, wherever a template's line is broken and indented.

    What is in `pre`, `textarea`, `script` and `style` stays as it is.
    """
    parts, start = [], 0
    for kept in _KEPT.finditer(text):
        parts += [_closed_up(text[start : kept.start()]), kept[0]]
        start = kept.end()
    return "".join([*parts, _closed_up(text[start:])])


def _closed_up(text: str) -> str:
    text = _TAG.sub(_on_one_line, text)
    text = _BEFORE_CLOSED.sub("", _AFTER_OPENED.sub(r"\1", text))
    return "\n".join(_BREAK.sub(" ", part) for part in _BETWEEN_TAGS.split(text))


def _on_one_line(match: re.Match[str]) -> str:
    """Put single blanks between a tag's attributes; one under a condition takes its blank inside."""
    line = re.sub(r"\s*\n\s*", " ", match[0])
    return _CONDITION.sub(r"\1 \2", re.sub(r"\s+>$", ">", line))
