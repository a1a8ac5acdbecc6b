"""Lists that grow for years: searched by a plain form, shown a page at a time."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from django.core.paginator import Page, Paginator
from django.db.models import Q, QuerySet
from django.http import HttpRequest

from contest.selectors.people import fold

PAGE_SIZE = 25
#: A longer search is cut off: every word is a condition, and a database takes so many.
MOST_SEARCHED = 100


@dataclass(frozen=True)
class PageLink:
    """A link to a page of the list; `number` is None for a gap between numbers."""

    number: int | None
    query: str = ""
    is_current: bool = False


@dataclass(frozen=True)
class ListPage:
    """One page of a list, with what its search form and its links need.

    `label` names the list to screen readers. `kept`: what else the address asks for, which a new search keeps.
    """

    label: str
    rows: Sequence[Any]
    page: Page
    search: str
    can_search: bool
    name: str
    kept: list[tuple[str, str]]
    links: list[PageLink]

    def __iter__(self) -> Iterator[Any]:
        return iter(self.rows)

    def __len__(self) -> int:
        return len(self.rows)

    @property
    def total(self) -> int:
        """How many there are on all pages."""
        return int(self.page.paginator.count)

    @property
    def is_asked(self) -> bool:
        """Whether the reader searched or turned a page: a folded list is then opened."""
        return bool(self.search) or self.page.number > 1

    @property
    def previous(self) -> PageLink | None:
        """The page before."""
        return self._link(self.page.number - 1)

    @property
    def next(self) -> PageLink | None:
        """The page after."""
        return self._link(self.page.number + 1)

    def _link(self, number: int) -> PageLink | None:
        return next((link for link in self.links if link.number == number), None)


def searched(request: HttpRequest) -> str:
    """Return what the address searches for, in one line; the sign that no database takes is left out."""
    return " ".join(request.GET.get("q", "").replace("\0", " ").split())[:MOST_SEARCHED]


def list_page(
    request: HttpRequest,
    rows: "QuerySet[Any] | Sequence[Any]",
    label: str,
    *,
    fields: Sequence[str] = (),
    text: Callable[[Any], str] | None = None,
    name: str = "page",
) -> ListPage:
    """Return the page of `rows` that the address asks for, searched by its `q`.

    Every word searched for must be in one of the `fields` of a query, or in the `text` of a row of a list. A page
    beyond the end is the last one, one that is not a number or below 1 the first. `name`: of the page's parameter,
    where an address shows several lists.
    """
    search = searched(request)
    whole = len(rows) if isinstance(rows, Sequence) else rows.count()
    if search and (fields or text):
        rows = _matching(rows, search.split(), fields, text)
    page = Paginator(rows, PAGE_SIZE).get_page(_number(request.GET.get(name, "")))
    can_search = bool(fields or text) and (whole > PAGE_SIZE or bool(search))
    kept = [(key, str(value)) for key, value in request.GET.items() if key not in ("q", name)]
    return ListPage(label, list(page.object_list), page, search, can_search, name, kept, _links(request, page, name))


def _number(text: str) -> int:
    try:
        return max(1, int(text))
    except ValueError:
        return 1


def _matching(
    rows: "QuerySet[Any] | Sequence[Any]", words: list[str], fields: Sequence[str], text: Callable[[Any], str] | None
) -> "QuerySet[Any] | Sequence[Any]":
    if isinstance(rows, QuerySet):
        matching = rows.order_by()
        for word in words:
            anywhere = Q()
            for field in fields:
                anywhere |= Q(**{f"{field}__icontains": word})
            matching = matching.filter(anywhere)
        return rows.filter(pk__in=matching.values("pk"))  # a field with many values would repeat its row
    wanted = [fold(word) for word in words]
    return [row for row in rows if text is not None and all(word in fold(text(row)) for word in wanted)]


def _links(request: HttpRequest, page: Page, name: str) -> list[PageLink]:
    """The first pages, the last ones and those around this one."""
    if page.paginator.num_pages < 2:
        return []
    links = []
    for number in page.paginator.get_elided_page_range(page.number, on_each_side=1, on_ends=1):
        if number == page.paginator.ELLIPSIS:
            links.append(PageLink(None))
            continue
        query = request.GET.copy()
        query[name] = str(number)
        links.append(PageLink(int(number), query.urlencode(), int(number) == page.number))
    return links
