"""One unit of print: a template, what it shows, and for which seats its pages are repeated."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import segno
from django.template.loader import render_to_string
from django.utils.safestring import SafeString


@dataclass(frozen=True)
class Sheet:
    """Pages with a count of their own. `title` stands at the head where it differs from the paper's name."""

    template: str
    context: Mapping[str, Any] = field(default_factory=dict)
    seats: tuple[str, ...] = ()
    title: str = ""
    landscape: bool = False

    def body(self, **more: Any) -> SafeString:
        return render_to_string(f"reports/paper/{self.template}.html", {**self.context, "seats": self.seats, **more})


def qr_picture(text: str) -> str:
    """A QR code as the address of a picture that holds itself: nothing is fetched, on screen or in print."""
    # Never the small kind, which phones do not read. A picture of points is drawn far faster than a drawing.
    return segno.make(text, error="m", micro=False).png_data_uri(scale=1, dark="#000", light="#fff", border=4)
