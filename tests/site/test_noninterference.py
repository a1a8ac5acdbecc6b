"""Nobody could have steered the result: what sealed roles see does not depend on whose box is whose, and what the desk
and the cooks see does not depend on the marks, to the byte, until the tally is closed.

One scripted day runs twice. On the second one the boxes belong to other teams (P∘σ), or the marks are others; then
every page, method and role is asked again. A page that leaks fails here; four planted leaks show that it would.
"""

import dataclasses
import hashlib
from collections.abc import Callable, Iterator, Sequence
from typing import Any

import pytest
from django.db import transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from contest.models import Pairing, TurnIn
from contest.rules.draw import draw_from_seed
from contest.rules.drawrequest import DrawRequest, Placed
from contest.rules.quality import quality_of
from contest.selectors import boxes as box_selectors
from contest.selectors.pairing import entry_of_boxes
from judging.views import captain
from tests.site import pages, scripted_day
from tests.site.probing import MARKLESS_ROLES, SEALED_ROLES, Prober, differences
from tests.site.scripted_day import CATEGORIES, SAME, STAGES, TEAMS, Day, Sigma, determined

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("few_zones", "unrecorded")]

REVERSED: Sigma = dict.fromkeys(CATEGORIES, TEAMS[::-1])
Wanted = Callable[[Prober], None]


def whole(prober: Prober) -> None:
    prober.probe()
    prober.rows()


def a_day(stage: str, look: Wanted, *, sigma: Sigma = SAME, marks: int = 0, **asked: Any) -> Prober:
    """The day up to `stage`, looked at and undone. `asked`: roles, routes, refused of the Prober."""
    with transaction.atomic():
        with determined() as (clock, chance):
            day = Day(clock, sigma=sigma, marks=marks)
            for reached in day.stages():
                if reached == stage:
                    break
            prober = Prober(day, chance, **asked)
            prober.pairing = list(Pairing.objects.order_by("box__number").values_list("box__number", "entry__number"))
            look(prober)
        transaction.set_rollback(True)
    return prober


def apart(one: Prober, other: Prober) -> list[str]:
    return list(differences(one.found, other.found))


_first: dict[tuple[object, ...], Prober] = {}


def first_day(stage: str, look: Wanted, **asked: Any) -> Prober:
    """The day on which nothing is permuted, played once for each question."""
    key = (stage, look, repr(sorted(asked.items())))
    if key not in _first:
        _first[key] = a_day(stage, look, **asked)
    return _first[key]


@pytest.fixture(scope="module", autouse=True)
def _forget() -> Iterator[None]:
    yield
    _first.clear()


def moves_somebody(order: Sequence[int]) -> bool:
    """Teams 4, 5 and 1 are alike in everything: an order that leaves them in place may permute nothing."""
    return order.index(1) > order.index(4) or order.index(4) > order.index(5)


sigmas = st.fixed_dictionaries(dict.fromkeys(CATEGORIES, st.permutations(TEAMS).filter(moves_somebody)))
#: Who has something to do on the day, and the pages on which something of a contest may stand.
AT_WORK = tuple(role for role in SEALED_ROLES if role not in pages.STRANGERS or role == "cook")
OF_CONTESTS = tuple(route for route in pages.TABLE if route.startswith(("c/", "r/", "api/", "teams/")) or not route)
#: The same examples in every run; each plays a whole day.
few: dict[str, Any] = {
    "derandomize": True,
    "database": None,
    "deadline": None,
    "suppress_health_check": list(HealthCheck),
}


def test_every_page_by_every_method_looks_the_same_to_every_sealed_role_whosever_the_boxes_are() -> None:
    needs_nothing: set[str] = set()

    def everything(prober: Prober) -> None:
        whole(prober)
        prober.papers()
        needs_nothing.update(
            route for route, page in pages.TABLE.items() if page.valid and page.valid(prober.sample) == {}
        )

    one, other = (a_day("judging", everything, sigma=sigma, roles=SEALED_ROLES) for sigma in (SAME, REVERSED))
    assert one.pairing != other.pairing
    assert apart(one, other) == []
    assert {key[2] for key in one.found if key[1] == "PRINT"} == {
        "check-in", "cooks", "judges", "tents", "score", "write-in", "captains",
    }  # fmt: skip
    # Covered is every address that the site knows, by each of its methods, for each role.
    known = {(route, method) for route in pages.routes() for method in pages.TABLE[route].methods}
    assert one.covered == {(*each, role) for each in known for role in SEALED_ROLES}
    # and whatever can be posted was posted with more than nothing, by somebody who may, or needs nothing.
    sent = {route for route, _ in one.sent}
    for_desk = {route for route, page in pages.TABLE.items() if page.who == "desk"}
    assert {route for route, method in known if method == "POST"} - sent - for_desk - needs_nothing == set()


def stages_but(*known: str) -> st.SearchStrategy[str]:
    return st.sampled_from([stage for stage in STAGES if stage not in known])


@settings(max_examples=2, **few)
@given(sigma=sigmas, stage=stages_but("judging"))
def test_no_sealed_role_can_tell_one_pairing_from_another(sigma: Sigma, stage: str) -> None:
    compare_pairings(stage, sigma, refused=False)


@pytest.mark.slow
@settings(max_examples=25, **few)
@given(sigma=sigmas, stage=st.sampled_from(STAGES))
def test_no_sealed_role_can_tell_many_pairings_apart(sigma: Sigma, stage: str) -> None:
    compare_pairings(stage, sigma, refused=True)


def compare_pairings(stage: str, sigma: Sigma, *, refused: bool) -> None:
    asked: dict[str, Any] = {"roles": SEALED_ROLES} if refused else {"roles": AT_WORK, "routes": OF_CONTESTS}
    one = first_day(stage, whole, refused=refused, **asked)
    other = a_day(stage, whole, sigma=sigma, refused=refused, **asked)
    assert one.pairing != other.pairing
    assert apart(one, other) == []


def test_desk_and_cooks_cannot_tell_one_days_marks_from_anothers() -> None:
    compare_marks("locked", refused=False)


@pytest.mark.slow
@pytest.mark.parametrize("stage", STAGES)
def test_nobody_without_marks_learns_of_them_by_a_refusal(stage: str) -> None:
    compare_marks(stage, refused=True)


def compare_marks(stage: str, *, refused: bool) -> None:
    one, other = (a_day(stage, Prober.probe, marks=marks, roles=MARKLESS_ROLES, refused=refused) for marks in (0, 2))
    assert apart(one, other) == []


def test_the_days_do_differ_for_those_who_may_know() -> None:
    """Else all of the above would hold of two days that are the same."""
    asked: dict[str, Any] = {
        "roles": ["desk", "tally"],
        "routes": ["c/<slug:slug>/desk/ledger/", "c/<slug:slug>/tally/"],
        "refused": False,
    }
    one = a_day("judging", Prober.probe, **asked)
    assert apart(one, a_day("judging", Prober.probe, **asked)) == []
    of_pairing = apart(one, a_day("judging", Prober.probe, sigma=REVERSED, **asked))
    assert of_pairing
    assert all(each.startswith("desk ") for each in of_pairing)
    of_marks = apart(one, a_day("judging", Prober.probe, marks=2, **asked))
    assert of_marks
    assert all(each.startswith("tally ") for each in of_marks)


def test_the_figures_of_a_draw_are_the_same_whichever_teams_stand_behind_its_numbers() -> None:
    """They are shown on the day; the days above differ in teams alone, and keep the figures of their design."""
    teams = dict.fromkeys(CATEGORIES, TEAMS)
    request = DrawRequest(categories=CATEGORIES, entries=teams, tables=dict.fromkeys(CATEGORIES, (1, 2, 3)))
    drawn = draw_from_seed(request, "a seed")
    others = dict(zip(TEAMS, TEAMS[3:] + TEAMS[:3], strict=True))
    moved = quality_of([dataclasses.replace(each, team=others[each.team]) for each in drawn.placed])
    assert (moved.repeats, moved.largest_concurrence) == (drawn.quality.repeats, drawn.quality.largest_concurrence)
    assert moved.e_a == pytest.approx(drawn.quality.e_a, abs=1e-12)
    assert moved.sentence == drawn.quality.sentence


# Planted leaks: each is a mistake that somebody could make, and must be seen


TABLE_PAGE = "c/<slug:slug>/table/<int:table>/"


def on_the_captains_page(monkeypatch: Any, text: Callable[[Any, dict[str, Any]], str]) -> None:
    """The page of a table says `text` (contest, context) as well."""
    shown = captain.render

    def render(request: Any, template: str, context: dict[str, Any], **more: Any) -> Any:
        answer = shown(request, template, context, **more)
        said = text(context["contest"], context).encode()
        answer.content = answer.content.replace(b"</title>", b", %s</title>" % said)
        return answer

    monkeypatch.setattr(captain, "render", render)


def a_teams_name_in_a_title(monkeypatch: Any) -> None:
    def names(contest: Any, context: dict[str, Any]) -> str:
        owners = entry_of_boxes(contest)
        return ", ".join(str(owners[each.box.pk].team) for each in context["page"].judged)

    on_the_captains_page(monkeypatch, names)


def box_keys_in_team_order(monkeypatch: Any) -> None:
    """Rows are written in the order of the teams, and a page names boxes by their key."""
    permuted = scripted_day.permuted

    class ByTeam(str):
        """A box number that sorts by its team."""

        team = 0

        def __lt__(self, other: Any) -> bool:
            return self.team < other.team

    def in_team_order(*drawn: Any) -> tuple[Placed, ...]:
        numbered = []
        for each in permuted(*drawn):
            number = ByTeam(each.box)
            number.team = each.team
            numbered.append(dataclasses.replace(each, box=number))
        return tuple(numbered)

    monkeypatch.setattr(scripted_day, "permuted", in_team_order)
    on_the_captains_page(
        monkeypatch, lambda contest, context: f"keys {[each.box.pk for each in context['page'].judged]}"
    )


def a_list_sorted_by_arrival(monkeypatch: Any) -> None:
    def by_arrival(contest: Any, context: dict[str, Any]) -> str:
        rows = TurnIn.objects.filter(box__contest=contest, box__table=context["table"], standing=True)
        return " ".join(rows.order_by("recorded_at", "pk").values_list("box__number", flat=True))

    on_the_captains_page(monkeypatch, by_arrival)


def an_unkeyed_hash_of_the_pairing(monkeypatch: Any) -> None:
    def digest(contest: Any, context: dict[str, Any]) -> str:
        owners = entry_of_boxes(contest)
        pairs = sorted(f"{box.number}:{owners[box.pk].number}" for box in box_selectors.standing_boxes(contest))
        return hashlib.sha256("\n".join(pairs).encode()).hexdigest()

    on_the_captains_page(monkeypatch, digest)


@pytest.mark.parametrize(
    "plant", [a_teams_name_in_a_title, box_keys_in_team_order, a_list_sorted_by_arrival, an_unkeyed_hash_of_the_pairing]
)
def test_a_planted_leak_is_caught(plant: Callable[[Any], None], monkeypatch: Any) -> None:
    asked: dict[str, Any] = {"roles": ["captain 1", "captain 2"], "routes": [TABLE_PAGE]}  # one of them is let in
    plant(monkeypatch)
    one, other = (a_day("turn-in", Prober.probe, sigma=sigma, **asked) for sigma in (SAME, REVERSED))
    assert any("captain" in each and " GET " in each and "</title>" in each for each in apart(one, other))


def test_rows_that_are_written_in_team_order_are_caught_before_any_page_shows_them(monkeypatch: Any) -> None:
    box_keys_in_team_order(monkeypatch)
    asked: dict[str, Any] = {"roles": [], "routes": []}
    one, other = (a_day("drawn", Prober.rows, sigma=sigma, **asked) for sigma in (SAME, REVERSED))
    assert [each for each in apart(one, other) if "contest.Box" in each]
