"""The layout of a template's source shows nothing on the page, and takes nothing away from it."""

import pytest
from django.conf import settings
from django.template.loader import get_template

from contest.config.templates import without_layout

SOURCES = sorted(settings.BASE_DIR.glob("*/templates/**/*.html"))


@pytest.mark.parametrize(
    ("laid_out", "sent"),
    [
        ("<p>\n    Box 201\n    is here.\n  </p>", "<p>Box 201 is here.</p>"),
        ("<td>a</td>\n    <td>b</td>", "<td>a</td><td>b</td>"),
        ("<p>a</p>\n    <p>b</p>", "<p>a</p>\n<p>b</p>"),
        ("{% load static %}\n<p>", "{% load static %}<p>"),
        (
            "{% load tally %}<b>in</b>{% if at %}\n  {{ at }}{% endif %}",
            "{% load tally %}<b>in</b>{% if at %} {{ at }}{% endif %}",
        ),
        ("<b>one</b>\n  <b>other</b>", "<b>one</b>\n<b>other</b>"),
        ('<a\n  class="x"\n  href="y"\n>z</a>', '<a class="x" href="y">z</a>'),
        ("<p>one<b\n>two</b\n></p>", "<p>one<b>two</b></p>"),
        ("<details {% if a %}open{% endif %}>", "<details{% if a %} open{% endif %}>"),
        ("<i {% if a %}x{% else %}y{% endif %}>", "<i {% if a %}x{% else %}y{% endif %}>"),
        ("<pre>\n  a\n  b</pre>\n  c", "<pre>\n  a\n  b</pre> c"),
        ("<textarea>\n a\n</textarea>", "<textarea>\n a\n</textarea>"),
        ("{% if a %}\n  x\n{% endif %}", "{% if a %} x {% endif %}"),
        ('<a href="{% url "x" %}"\n>1 > 0\n and more</a>', '<a href="{% url "x" %}">1 > 0 and more</a>'),
    ],
)
def test_layout_goes_and_words_stay_apart(laid_out, sent):
    assert without_layout(laid_out) == sent
    assert without_layout(sent) == sent


def test_no_template_loses_more_than_blanks():
    texts = {path.name: path.read_text(encoding="utf-8") for path in SOURCES}
    assert len(texts) > 100
    lost = [name for name, text in texts.items() if "".join(without_layout(text).split()) != "".join(text.split())]
    assert lost == []


def test_pages_are_made_of_templates_without_layout():
    source = (settings.BASE_DIR / "contest/templates/contest/base.html").read_text(encoding="utf-8")
    assert get_template("contest/base.html").template.source == without_layout(source) != source
