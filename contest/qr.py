"""Addresses of passes, and QR codes as inline SVG: right on screen, in print and under a strict content policy."""

import segno
from django.http import HttpRequest
from django.urls import reverse
from django.utils.safestring import SafeString, mark_safe


def address_of_pass(request: HttpRequest, word: str) -> str:
    """Where a pass word opens its door, the word in the fragment, which no server's log ever sees."""
    return f"{request.build_absolute_uri(reverse('contest:pass_in'))}#{word}"


def qr_svg(text: str, *, scale: int = 5) -> SafeString:
    """A QR code of `text`, dark on white in both colour schemes, with its quiet zone of four modules."""
    svg = segno.make(text, error="m").svg_inline(scale=scale, dark="#000", light="#fff", omitsize=True)
    return mark_safe(svg)  # noqa: S308  (numbers and colours only; the text is drawn, not written)
