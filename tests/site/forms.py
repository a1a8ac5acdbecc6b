"""The forms of a page as a browser would send them: as they stand, every blank filled in, and with nonsense."""

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from html.parser import HTMLParser
from urllib.parse import urljoin, urlsplit

NONSENSE = "\u0000<nonsense> é 99999999999"
BLANKS = {"number": "1", "date": "2026-06-14", "time": "12:31", "email": "someone@field.test"}
NOT_SENT = {"submit", "button", "reset", "image", "file"}


@dataclass
class ShownForm:
    """One form of a page: where it goes, and its fields as name and value, in order."""

    action: str
    method: str
    fields: list[tuple[str, str]] = field(default_factory=list)
    blanks: dict[str, str] = field(default_factory=dict)  # name -> what a person might type there
    choices: dict[str, list[str]] = field(default_factory=dict)  # radio and required ticks that nobody made yet
    buttons: list[tuple[str, str]] = field(default_factory=list)

    def as_shown(self) -> dict[str, list[str]]:
        return self._data(self.fields + self.buttons[:1])

    def filled(self, fill: str = "") -> dict[str, list[str]]:
        """Blanks typed in (with `fill` where given), the first choice taken, the last button pressed."""
        chosen = {name for name, _ in self.fields}
        ticked = [(name, values[0]) for name, values in self.choices.items() if name not in chosen]
        typed = [
            (name, value or (fill or self.blanks[name] if name in self.blanks else "")) for name, value in self.fields
        ]
        return self._data(typed + ticked + self.buttons[-1:])

    def nonsense(self) -> dict[str, list[str]]:
        """Every field that is not hidden holds what nobody may type."""
        free = {*self.blanks, *self.choices}
        return self._data(
            [(name, NONSENSE if name in free else value) for name, value in self.fields] + self.buttons[:1]
        )

    def _data(self, pairs: list[tuple[str, str]]) -> dict[str, list[str]]:
        found: dict[str, list[str]] = {}
        for name, value in pairs:
            if name and name != "csrfmiddlewaretoken":
                found.setdefault(name, []).append(value)
        return found


class _Reader(HTMLParser):
    def __init__(self, address: str) -> None:
        super().__init__()
        self.address, self.forms = address, []
        self.form: ShownForm | None = None
        self.area = self.select = ""
        self.text, self.options, self.marked = "", [], ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {name: value or "" for name, value in attrs}
        if tag == "form":
            action = urlsplit(urljoin(self.address, given.get("action", "") or self.address))
            self.form = ShownForm(action.path, given.get("method", "get").lower())
            self.forms.append(self.form)
        elif self.form is None or "disabled" in given:
            return
        elif tag == "input":
            self._input(given)
        elif tag == "button" and given.get("type", "submit") == "submit" and given.get("name"):
            self.form.buttons.append((given["name"], given.get("value", "")))
        elif tag == "textarea":
            self.area, self.text = given.get("name", ""), ""
        elif tag == "select":
            self.select, self.options, self.marked = given.get("name", ""), [], ""
        elif tag == "option":
            self.options.append(given.get("value", ""))
            self.marked = given.get("value", "") if "selected" in given else self.marked

    def _input(self, given: dict[str, str]) -> None:
        name, kind, value = given.get("name", ""), given.get("type", "text"), given.get("value", "")
        if kind in NOT_SENT:
            if kind == "submit" and name:
                self.form.buttons.append((name, value))
        elif kind in ("checkbox", "radio"):
            if "checked" in given:
                self.form.fields.append((name, value or "on"))
            self.form.choices.setdefault(name, []).append(value or "on")
        else:
            self.form.fields.append((name, value))
            if kind != "hidden":
                self.form.blanks[name] = given.get("min") or BLANKS.get(kind, "Example words")

    def handle_data(self, data: str) -> None:
        self.text += data if self.area else ""

    def handle_endtag(self, tag: str) -> None:
        if tag == "form":
            self.form = None
        elif self.form is not None and tag == "textarea":
            self.form.fields.append((self.area, self.text))
            self.form.blanks[self.area] = "Example words"
            self.area = ""
        elif self.form is not None and tag == "select":
            first = next((option for option in self.options if option), "")
            self.form.fields.append((self.select, self.marked))
            self.form.blanks[self.select] = first
            self.select = ""


def forms_on(page: str, address: str) -> Iterator[ShownForm]:
    """The forms that are posted from a page of this address; two that differ in their values alone count once."""
    reader = _Reader(address)
    reader.feed("".join(re.findall(r"<form\b.*?</form>", page, re.DOTALL)))  # reading the rest takes long
    seen: set[tuple[object, ...]] = set()
    for form in reader.forms:
        shape = (form.action, tuple(name for name, _ in form.fields), tuple(form.buttons))
        if form.method == "post" and shape not in seen:
            seen.add(shape)
            yield form
