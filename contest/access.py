"""Who may open which page.

Every view carries one access mark (a system check refuses the project otherwise). A mark loads what its URL names
and hands it to the view, so that no view can forget to ask. Somebody without a part in a contest gets 404, as if
the contest did not exist; somebody with another part gets 403; a visitor is asked to sign in, whether or not the
address exists.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import cached_property, wraps
from typing import Any

from django.contrib.auth.views import redirect_to_login
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest
from django.http.response import HttpResponseBase
from django.shortcuts import get_object_or_404
from django_htmx.http import HttpResponseClientRefresh
from django_htmx.middleware import HtmxDetails

from contest.commandline import program
from contest.models import Account, Contest, ContestRole, Pass, Seat, Table, Team
from contest.present import present

PASS_KEY = "pass_id"  # noqa: S105  (the session key that holds the pass's row)

#: Parts that see boxes and marks, never whose box it is.
SEALED_PARTS = frozenset({"organiser", "announcer", "head_judge", "tally", "captain", "judge"})
PARTS = SEALED_PARTS | {"desk"}


def seat_name(seat: Seat) -> str:
    """A judge by place, never by name: for rows and the log's side row."""
    return f"judge at table {seat.table.number}, seat {seat.letter}"


@dataclass
class Viewer:
    """The person behind a request: an account, or the holder of a pass, or a visitor. Never two of them."""

    account: Account | None = None
    held_pass: Pass | None = None
    _parts: dict[int, frozenset[str]] = field(default_factory=dict)

    @property
    def is_visitor(self) -> bool:
        return self.account is None and self.held_pass is None

    @cached_property
    def name(self) -> str:
        """The name that goes beside what this viewer does: in rows, in the log's side row."""
        if self.account is not None:
            return str(self.account)
        if self.held_pass is None:
            return ""
        if self.held_pass.opens == Pass.Opens.TABLE:
            return f"captain of table {present(self.held_pass.table).number}"
        if self.held_pass.opens == Pass.Opens.SEAT:
            seat = present(self.held_pass.seat)
            practice = present(self.held_pass.contest).kind == Contest.Kind.PRACTICE
            return f"taster {seat.table.number}" if practice else seat_name(seat)
        return "turn-in desk"

    @property
    def table(self) -> Table | None:
        """The captain's table."""
        if self.held_pass is not None and self.held_pass.opens == Pass.Opens.TABLE:
            return self.held_pass.table
        return None

    @property
    def seat(self) -> Seat | None:
        """The judge's seat."""
        if self.held_pass is not None and self.held_pass.opens == Pass.Opens.SEAT:
            return self.held_pass.seat
        return None

    @property
    def signed_in_account(self) -> Account:
        """The account, on a page that only accounts open. Raises PermissionDenied for anyone else."""
        if self.account is None:
            raise PermissionDenied
        return self.account

    @property
    def judge_seat(self) -> Seat:
        """The judge's seat, on a page that only judges open. Raises PermissionDenied for anyone else."""
        if self.seat is None:
            raise PermissionDenied
        return self.seat

    def parts(self, contest: Contest) -> frozenset[str]:
        """What the viewer does in `contest`, among PARTS; empty for a stranger."""
        if contest.pk not in self._parts:
            self._parts[contest.pk] = self._find_parts(contest)
        return self._parts[contest.pk]

    def load_parts(self, contests: Sequence[Contest]) -> None:
        """Look up in one go what the viewer does in many contests that a page lists."""
        if self.account is not None:
            rows = ContestRole.objects.filter(contest__in=contests, account=self.account)
            held = {row.contest_id: row.held for row in rows}
            self._parts.update({contest.pk: held.get(contest.pk, frozenset()) for contest in contests})

    def _find_parts(self, contest: Contest) -> frozenset[str]:
        if self.account is not None:
            row = ContestRole.objects.filter(contest=contest, account=self.account).first()
            return row.held if row else frozenset()
        if self.held_pass is None or self.held_pass.contest_id != contest.pk:
            return frozenset()
        part = {Pass.Opens.DESK: "desk", Pass.Opens.TABLE: "captain", Pass.Opens.SEAT: "judge"}
        return frozenset({part[Pass.Opens(self.held_pass.opens)]})


class Request(HttpRequest):
    """A request as every view gets it: for annotations, since the middleware sets both on Django's own object."""

    viewer: Viewer
    htmx: HtmxDetails


class ViewerMiddleware:
    """Puts `request.viewer` in place; what somebody is shown under their name is kept by no cache."""

    def __init__(self, get_response: Callable[[Request], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: Request) -> HttpResponseBase:
        request.viewer = find_viewer(request)
        answer = self.get_response(request)
        if not request.viewer.is_visitor and "Cache-Control" not in answer.headers:
            # On a shared laptop the Back button must not show what the person before was allowed to see.
            answer["Cache-Control"] = "no-store, private"
        return answer


def find_viewer(request: Request) -> Viewer:
    if request.user.is_authenticated:
        return Viewer(account=request.user)
    pass_id = request.session.get(PASS_KEY)
    if pass_id is None:
        return Viewer()
    held = (
        Pass.objects.filter(pk=pass_id, revoked_at__isnull=True)
        .select_related("contest", "table", "seat__table")
        .first()
    )
    return Viewer(held_pass=None if held is None or held.has_ended else held)


def viewer_context(request: Request) -> dict[str, Any]:
    return {"viewer": getattr(request, "viewer", Viewer()), "program": program()}


@dataclass(frozen=True)
class Access:
    """The mark on a view: a word for the audience and the parts that may open it."""

    audience: str
    parts: frozenset[str] = frozenset()


def mark(view: Callable[..., HttpResponseBase], access: Access) -> Callable[..., HttpResponseBase]:
    """Put the access mark on a view; the marks below, and the one for phones in `bearer`, do no more than ask first."""
    view.access = access  # type: ignore[attr-defined]  # the system check reads it
    return view


def ask_to_sign_in(request: Request) -> HttpResponseBase:
    if getattr(request, "htmx", False):  # a part of a page asks: the page itself is to be loaded anew
        return HttpResponseClientRefresh()
    return redirect_to_login(request.get_full_path())


def anyone(view: Callable[..., HttpResponseBase]) -> Callable[..., HttpResponseBase]:
    """A page for everybody. What it shows of a contest must be public."""
    return mark(view, Access("anyone"))


def signed_in(view: Callable[..., HttpResponseBase]) -> Callable[..., HttpResponseBase]:
    """A page for any account; a pass is not enough."""

    @wraps(view)
    def wrapper(request: Request, *args: Any, **kwargs: Any) -> HttpResponseBase:
        if request.viewer.account is None:
            return ask_to_sign_in(request)
        return view(request, *args, **kwargs)

    return mark(wrapper, Access("signed in"))


def for_parts(*parts: str) -> Callable[[Callable[..., HttpResponseBase]], Callable[..., HttpResponseBase]]:
    """A page of one contest for those who do one of `parts`.

    The URL names the contest by `slug`; the view gets the `Contest` in its place. A captain whose URL names a
    table by `table` gets only the table of the pass, a `Table` in its place; others get any table of the contest.
    """
    wanted = frozenset(parts)
    if not wanted <= PARTS:
        raise ValueError(f"unknown parts: {sorted(wanted - PARTS)}")

    def decorate(view: Callable[..., HttpResponseBase]) -> Callable[..., HttpResponseBase]:
        @wraps(view)
        def wrapper(request: Request, slug: str, **kwargs: Any) -> HttpResponseBase:
            if request.viewer.is_visitor:
                return ask_to_sign_in(request)
            contest = Contest.objects.select_related("rule_set").filter(slug=slug).first()
            held = request.viewer.parts(contest) if contest else frozenset()
            if contest is None or not held:
                raise Http404("No such page.")
            if not held & wanted:
                raise PermissionDenied
            if "table" in kwargs:
                kwargs["table"] = _load_table(request.viewer, contest, kwargs["table"])
            return view(request, contest, **kwargs)

        return mark(wrapper, Access("parts", wanted))

    return decorate


def _load_table(viewer: Viewer, contest: Contest, number: int) -> Table:
    table = get_object_or_404(Table, contest=contest, number=number)
    if viewer.table is not None and viewer.table != table:
        raise PermissionDenied
    return table


def for_team(view: Callable[..., HttpResponseBase]) -> Callable[..., HttpResponseBase]:
    """A page of one team for its members. The URL names it by `team` (its uid); the view gets the `Team`."""

    @wraps(view)
    def wrapper(request: Request, team: Any, **kwargs: Any) -> HttpResponseBase:
        if request.viewer.account is None:
            return ask_to_sign_in(request)
        found = get_object_or_404(Team, uid=team, members__account=request.viewer.account)
        return view(request, found, **kwargs)

    return mark(wrapper, Access("team"))
