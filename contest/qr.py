"""Addresses of passes, and QR codes as inline SVG: right on screen, in print and under a strict content policy."""

from urllib.parse import urlsplit

import segno
from django.conf import settings
from django.http import HttpRequest
from django.urls import reverse
from django.utils.safestring import SafeString, mark_safe

LOCAL = frozenset({"localhost", "127.0.0.1", "[::1]"})


def site_address(request: HttpRequest) -> str:
    """This site as a phone reaches it, without a closing slash.

    On the serving machine itself it may have been opened as localhost, which on a phone is the phone: then the
    first name that the site answers to on its network stands instead.
    """
    host = request.get_host()
    name, colon, port = host, "", ""
    if ":" in host and not host.endswith("]"):
        name, colon, port = host.rpartition(":")
    if name in LOCAL:
        others = [each for each in settings.ALLOWED_HOSTS if each not in LOCAL and each[:1] not in ("*", ".", "")]
        host = f"{others[0]}{colon}{port}" if others else host
    return f"{request.scheme}://{host}"


def reaches_phones(address: str) -> bool:
    """Whether an address of this site leads anywhere from another device."""
    return urlsplit(address).hostname not in {"localhost", "127.0.0.1", "::1"}


def address_of_pass(request: HttpRequest, word: str) -> str:
    """Where a pass word opens its door, the word in the fragment, which no server's log ever sees."""
    return f"{site_address(request)}{reverse('contest:pass_in')}#{word}"


def qr_svg(text: str, *, scale: int = 5) -> SafeString:
    """An ordinary QR code of `text`, dark on white in both colour schemes, with a quiet zone of four modules."""
    svg = segno.make(text, error="m", micro=False).svg_inline(scale=scale, dark="#000", light="#fff", omitsize=True)
    return mark_safe(svg)  # noqa: S308  (numbers and colours only; the text is drawn, not written)
