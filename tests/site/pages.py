"""Every page of the site, written down apart from the marks on the views: who may open it, by which method and in
which state of a contest, and what its address and its forms may name.

A new page needs one line in TABLE. The arguments of its address are filled in by name from `Sample`; an argument
that `Sample` does not know, or that means something else on this page, is given in `names`. What is posted to it is
read off the forms of the site's own pages; where no page shows such a form, give `valid`.
"""

import itertools
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from django.urls import get_resolver

from contest.checks import walk
from contest.models import RuleSet
from reports.paper import catalogue
from tests.site.samples import Sample

EVERYBODY = "anyone"
ANY_ACCOUNT = "accounts"
MEMBERS = "members of the team"
PHONE = "phone"  # a seat's token opens, never a cookie

PARTS = ("organiser", "announcer", "head_judge", "tally", "desk", "desk pass", "captain", "judge")
#: Those who have the same parts in another contest, which is in the same state.
OTHERS = tuple(f"other {part}" for part in PARTS)
WITHOUT_ACCOUNT = ("visitor", "desk pass", "captain", "judge", "other desk pass", "other captain", "other judge")
STRANGERS = ("visitor", "stranger", "administrator", "cook", "other cook", "other organiser")
ROLES = (*STRANGERS[:-1], *OTHERS, *PARTS)
ACCOUNTS = tuple(role for role in ROLES if role not in WITHOUT_ACCOUNT)
#: Passes of the day, which open nothing any more once the tally is closed.
END_AT_CLOSING = ("captain", "judge", "other captain", "other judge")
STATES = ("preparing", "sealed", "closed", "published")


Named = Mapping[str, Callable[[Sample], object]]


@dataclass(frozen=True)
class Page:
    """`who` may enter: parts of the contest, EVERYBODY, ANY_ACCOUNT, MEMBERS or PHONE. An allowed GET answers 200, an
    allowed POST anything that is no refusal; `preparing` to `published` name what differs in that state, by role or
    for "all". A method that is not among `methods` answers 405 to everybody.
    """

    who: str
    methods: tuple[str, ...] = ("GET",)
    preparing: Mapping[str, int] = field(default_factory=dict)
    sealed: Mapping[str, int] = field(default_factory=dict)
    closed: Mapping[str, int] = field(default_factory=dict)
    published: Mapping[str, int] = field(default_factory=dict)
    names: Named = field(default_factory=dict)  # arguments of the address that mean something else here
    asks: tuple[Callable[[Sample], str], ...] = ()  # further query strings worth a look
    valid: Callable[[Sample], dict[str, Any] | str] | None = None  # posted, or queried where GET needs it; text is JSON
    wrong: Callable[[Sample], dict[str, Any] | str] | None = None
    fill: str = ""  # typed into every blank of the page's own forms


def see(who: str, **more: Any) -> Page:
    return Page(who, ("GET",), **more)


def post(who: str, **more: Any) -> Page:
    return Page(who, ("POST",), **more)


def form(who: str, **more: Any) -> Page:
    """A page with a form of its own: shown and posted."""
    return Page(who, ("GET", "POST"), **more)


MOVED = 302  # to another page of the site, not to the way in
TO_SIGN_IN = -302


def always(found: Mapping[str, int]) -> dict[str, Mapping[str, int]]:
    return dict.fromkeys(STATES, found)


def from_draw(found: Mapping[str, int]) -> dict[str, Mapping[str, int]]:
    return dict.fromkeys(STATES[1:], found)


def until(state: str, found: Mapping[str, int]) -> dict[str, Mapping[str, int]]:
    """`found` in every state before `state`."""
    return dict.fromkeys(STATES[: STATES.index(state)], found)


def only(roles: str, status: int) -> dict[str, int]:
    return dict.fromkeys(roles.split(" | "), status)


HOLDERS = "desk pass | other desk pass"
NO_SUCH = {"all": 404}  # to everybody as if there were no such page
PRINTERS = "organiser announcer head_judge tally desk"
PRINTING = " | ".join([*PRINTERS.split(), "desk pass"])
NOT_OWN = always(dict.fromkeys(ACCOUNTS, 404))  # the rule set is not theirs
KEYERS = "organiser | tally"
TABLES = "organiser | head_judge | tally | captain"
NO_TOKEN = always({"all": 401})
NONE_YET = until("published", {"cook": 404})


def by_box(sample: Sample) -> tuple[str, str]:
    return sample.box, sample.box_judged_first


def shipped_set(sample: Sample) -> int:
    return RuleSet.objects.order_by("pk")[0].pk


def own_day(sample: Sample) -> object:
    return sample.own_day


def sheet_key(sample: Sample) -> object:
    return sample.entry.sheet_key


def every_paper(sample: Sample) -> tuple[str, ...]:
    return ("cooks", *catalogue.PAPERS, *catalogue.PACKETS)


#: A list that is searched, and whose page is turned.
LISTED = (lambda s: "q=example", lambda s: "page=2&q=")
SHEET = "c/<slug:slug>/marks/<slug:category>/<int:table>/<str:seat>/"
TABLE: dict[str, Page] = {
    # the ways in
    "": see(
        EVERYBODY,
        asks=(*LISTED, lambda s: "own=2"),
        **{**always(only(HOLDERS, MOVED)), **until("closed", only(f"{HOLDERS} | captain | other captain", MOVED))},
    ),
    "start/": form(
        EVERYBODY, valid=lambda s: {"username": "another"}, **always({"all": MOVED})
    ),  # there is an account already
    "sign-in/": form(EVERYBODY, valid=lambda s: {"username": s.organiser.username, "password": "a long password"}),
    "sign-out/": post(EVERYBODY, valid=lambda s: {}),
    "in/": form(EVERYBODY, valid=lambda s: {"word": "nobody-has-this"}),
    "password/": form(ANY_ACCOUNT),
    "help/": see(EVERYBODY),
    "help/<slug:topic>/": see(EVERYBODY, names={"topic": lambda s: "captain"}),
    # a contest's own pages
    "c/<slug:slug>/": see("organiser head_judge tally announcer"),
    "c/<slug:slug>/live/": see("organiser head_judge tally announcer"),
    "c/<slug:slug>/rules/": see("organiser head_judge tally announcer desk captain judge"),
    # set-up
    "new/": form(ANY_ACCOUNT),
    "new/small/": form(ANY_ACCOUNT),
    "c/<slug:slug>/set-up/": form("organiser"),
    "c/<slug:slug>/set-up/tables/": post("organiser", valid=lambda s: {"tables-tables": "3", "tables-seats": "4"}),
    "c/<slug:slug>/set-up/one-person/": post("organiser"),
    "c/<slug:slug>/set-up/phones/": post("organiser", valid=lambda s: {"phones": "on"}),
    "c/<slug:slug>/set-up/delete/": post("organiser", valid=lambda s: {"delete-sure": "on"}),
    "c/<slug:slug>/set-up/category/": form(
        "organiser", valid=lambda s: {"name": "Dessert", "time": "13:30"}, **from_draw({"organiser": 404})
    ),
    "c/<slug:slug>/set-up/category/<slug:key>/": form("organiser"),
    "c/<slug:slug>/set-up/category/<slug:key>/remove/": post("organiser", valid=lambda s: {}),
    # people
    "c/<slug:slug>/teams/": form("organiser", valid=lambda s: {"number": "77", "team_name": "Team Zelkova"}),
    "c/<slug:slug>/teams/categories/": post(
        "organiser", valid=lambda s: {"shown": f"{s.entry.pk}-{s.contest.categories.all()[0].pk}"}
    ),
    "c/<slug:slug>/teams/import/": form("organiser", valid=lambda s: {"text": "number, team\n77, Team Zelkova"}),
    "c/<slug:slug>/teams/<int:number>/": form("organiser"),
    "c/<slug:slug>/teams/<int:number>/withdraw/": post("organiser"),
    "c/<slug:slug>/teams/<int:number>/back-in/<slug:key>/": post("organiser", valid=lambda s: {}),
    "c/<slug:slug>/teams/<int:number>/remove/": post("organiser", valid=lambda s: {}),
    "c/<slug:slug>/judges/": form("organiser"),
    "c/<slug:slug>/judges/absent/": post("organiser", valid=lambda s: {"absent": str(s.judge.uid)}),
    "c/<slug:slug>/judges/import/": form("organiser", valid=lambda s: {"text": "name\nJudge Zelkova"}),
    "c/<slug:slug>/judges/<uuid:uid>/": form("organiser"),
    "c/<slug:slug>/judges/<uuid:uid>/remove/": post("organiser", valid=lambda s: {}),
    "c/<slug:slug>/judges/<uuid:uid>/erase/": post("organiser", valid=lambda s: {}),
    "c/<slug:slug>/empty-<slug:kind>.<slug:ending>": see(
        "organiser", names={"kind": lambda s: "teams", "ending": lambda s: "csv"}
    ),
    "c/<slug:slug>/check-in/": see("organiser desk", asks=(lambda s: "show=to-come",)),
    "c/<slug:slug>/check-in/<int:number>/": post("organiser desk"),
    "c/<slug:slug>/seating/": see("organiser head_judge tally"),
    "c/<slug:slug>/seating/at-random/": post("organiser", valid=lambda s: {}),
    "c/<slug:slug>/seating/seat/": post("organiser"),
    "c/<slug:slug>/seating/exchange/": post("organiser"),
    # helpers
    "c/<slug:slug>/helpers/": form("organiser"),
    "c/<slug:slug>/helpers/known/": post("organiser"),
    "c/<slug:slug>/helpers/<int:account>/roles/": post("organiser"),
    "c/<slug:slug>/helpers/slips/": see("organiser", asks=(lambda s: "for=desk",)),
    "c/<slug:slug>/helpers/new-pass/": post("organiser", valid=lambda s: {"for": "desk"}),
    # rule sets: the shipped ones are everybody's to read, changing them is nobody's
    "rules/": see(ANY_ACCOUNT, asks=LISTED),
    "rules/upload/": form(ANY_ACCOUNT),
    "rules/<int:number>/": see(ANY_ACCOUNT, names={"number": shipped_set}, asks=LISTED),
    "rules/<int:number>/edit/": form(
        ANY_ACCOUNT, valid=lambda s: {"name": "Example rules"}, names={"number": shipped_set}, **NOT_OWN
    ),
    "rules/<int:number>/copy/": post(ANY_ACCOUNT, names={"number": shipped_set}, valid=lambda s: {}),
    "rules/<int:number>/delete/": post(ANY_ACCOUNT, names={"number": shipped_set}, valid=lambda s: {}, **NOT_OWN),
    "rules/<int:number>/rule-set.toml": see(ANY_ACCOUNT, names={"number": shipped_set}),
    # draw and desk: whoever knows whose box is whose sees no marks, and the other way round
    "c/<slug:slug>/draw/": see("organiser"),
    "c/<slug:slug>/draw/make/": post("organiser", valid=lambda s: {"words": "ember\noak"}),
    "c/<slug:slug>/draw/ceremony/": post("organiser", valid=lambda s: {}),
    "c/<slug:slug>/draw/again/": form("organiser", valid=lambda s: {"reason": "a table fell out", "more_tables": "1"}),
    "c/<slug:slug>/seal/": form("organiser", valid=lambda s: {"name": s.contest.name, "reason": "the clerk fell ill"}),
    "c/<slug:slug>/boxes-in/": see("organiser"),
    "c/<slug:slug>/desk/": see("desk", asks=(lambda s: "team=1", lambda s: f"category={s.category}&team=2")),
    "c/<slug:slug>/desk/record/": post("desk"),
    "c/<slug:slug>/desk/undo/<str:number>/": form(
        "desk", preparing=only("desk | desk pass", 404), names={"number": by_box}
    ),
    "c/<slug:slug>/desk/absent/": post("desk"),
    "c/<slug:slug>/desk/rest/": form("desk"),
    "c/<slug:slug>/desk/ledger/": see("desk"),
    "c/<slug:slug>/desk/labels/": form("desk"),
    "c/<slug:slug>/windows/": see("organiser desk"),
    "c/<slug:slug>/windows/delay/": form("organiser desk", valid=lambda s: {"minutes": "10"}),
    "c/<slug:slug>/windows/cancel/<slug:key>/": form("organiser desk"),
    # marks and tally
    "c/<slug:slug>/marks/": see("organiser tally", asks=(lambda s: "go=1A", lambda s: f"go={s.box}")),
    SHEET: form("organiser tally", fill="7", preparing=only(KEYERS, 404)),
    f"{SHEET}written/": form("organiser tally", fill="7", preparing=only(KEYERS, 404)),
    f"{SHEET}again/": form(
        "organiser tally", valid=lambda s: {f"{s.box}-taste": "7"}, fill="7", **always(only(KEYERS, 404))
    ),  # sheets are keyed once here
    "c/<slug:slug>/differences/": form("organiser tally", valid=lambda s: {"reading": "1", "chosen": "standing"}),
    "c/<slug:slug>/table/<int:table>/": form(
        "organiser head_judge tally captain", asks=(lambda s: f"number={s.box}", lambda s: "number=999")
    ),
    "c/<slug:slug>/table/<int:table>/news/": see(
        "organiser head_judge tally captain", valid=lambda s: {"category": s.category}
    ),
    "c/<slug:slug>/rulings/": form(
        "head_judge", asks=(lambda s: f"box={s.box}", lambda s: f"box={s.box_judged_first}")
    ),
    "c/<slug:slug>/rulings/calls/": see("head_judge"),
    "c/<slug:slug>/tally/": see("organiser head_judge tally"),
    "c/<slug:slug>/tally/doubts/": see("organiser head_judge tally"),
    "c/<slug:slug>/tally/lock/": post("organiser head_judge tally", valid=lambda s: {}),
    "c/<slug:slug>/tally/unlock/": post("organiser head_judge", valid=lambda s: {"unlock-reason": "misread"}),
    "c/<slug:slug>/tally/close/": post("organiser head_judge tally", valid=lambda s: {"sure": "on"}),
    "c/<slug:slug>/tally/sign/<int:revision>/": post(
        "head_judge", valid=lambda s: {}, **until("closed", {"head_judge": 404})
    ),
    "c/<slug:slug>/tally/revise/": post("organiser head_judge", valid=lambda s: {"revise-reason": "misread"}),
    "c/<slug:slug>/tally/box/<str:number>/": see(
        "organiser head_judge tally", names={"number": by_box}, preparing=only("organiser | head_judge | tally", 404)
    ),
    "c/<slug:slug>/tasting/": form(
        "judge", valid=lambda s: {"box": s.box}, **always({"judge": 404})
    ),  # no seat of a practice
    "c/<slug:slug>/seat/": form("judge", asks=(lambda s: f"box={s.box}", lambda s: f"box={s.box_judged_first}")),
    "c/<slug:slug>/seat/worker.js": see(EVERYBODY),
    "api/cards/": post(PHONE, valid=lambda s: s.card(), wrong=lambda s: s.card(marks={"taste": "77"}), **NO_TOKEN),
    "api/seat/": see(PHONE, **NO_TOKEN),
    # print: every room's people; what each may print, and when, is tested with the papers
    "c/<slug:slug>/paper/": see(PRINTERS),
    "c/<slug:slug>/paper/print/": post(PRINTERS, valid=lambda s: {"what": "cooks", "size": "a4"}),
    "c/<slug:slug>/paper/rules/<slug:what>.css": see(PRINTERS, names={"what": lambda s: ("cooks", "score")}),
    "c/<slug:slug>/paper/sheets/<slug:what>/": see(PRINTERS, names={"what": every_paper}),
    "c/<slug:slug>/paper/<uuid:key>/": see(PRINTERS, names={"key": sheet_key}, **always(only(PRINTING, MOVED))),
    "c/<slug:slug>/paper/<uuid:key>/<str:name>": see(
        PRINTERS, names={"key": sheet_key, "name": lambda s: "a.pdf"}, **always(only(PRINTING, 404))
    ),
    "c/<slug:slug>/backups/": form("organiser", valid=lambda s: {}),
    # names and results
    "c/<slug:slug>/names/": see("organiser announcer"),
    "c/<slug:slug>/names/publish/": post("organiser", valid=lambda s: {"sure": "on"}),
    "c/<slug:slug>/sheets/": see("organiser"),
    "c/<slug:slug>/sheets/slips/": see("organiser"),
    "c/<slug:slug>/sheets/slips/<int:number>/": see("organiser"),
    "r/<slug:slug>/": see(EVERYBODY, **until("published", NO_SUCH)),
    "r/<slug:slug>/table/": see(EVERYBODY, **until("published", NO_SUCH)),
    "r/<slug:slug>/revision/<int:revision>/": see(EVERYBODY, **until("published", NO_SUCH)),
    "r/<slug:slug>/results.csv": see(EVERYBODY, **until("published", NO_SUCH)),
    "r/<slug:slug>/results.xlsx": see(EVERYBODY, **until("published", NO_SUCH)),
    "r/<slug:slug>/revision/<int:revision>/<int:number>/": see(EVERYBODY, **until("published", NO_SUCH)),
    "r/<slug:slug>/revision/<int:revision>/<slug:key>/<int:number>/": see(EVERYBODY, **until("published", NO_SUCH)),
    "r/<slug:slug>/package.zip": see(EVERYBODY, **until("published", NO_SUCH)),
    "r/<slug:slug>/revision/<int:revision>/package.zip": see(EVERYBODY, **until("published", NO_SUCH)),
    # the sums of the draw are everybody's from the draw on, its secret and its list with the result
    "r/<slug:slug>/draw/": see(EVERYBODY, preparing=NO_SUCH),
    "r/<slug:slug>/draw/<str:name>": see(
        EVERYBODY, names={"name": lambda s: "secret.txt"}, **until("published", NO_SUCH)
    ),
    # a team's own sheet: whoever has the link
    "r/<slug:slug>/sheet/<uuid:key>/": see(EVERYBODY, names={"key": sheet_key}, **until("published", NO_SUCH)),
    "r/<slug:slug>/sheet/<uuid:key>/claim/": form(
        EVERYBODY, names={"key": sheet_key}, valid=lambda s: {}, **until("published", NO_SUCH)
    ),
    "teams/": see(ANY_ACCOUNT, asks=LISTED),
    "teams/<uuid:team>/": see(MEMBERS, asks=LISTED),
    # a team's season: nothing of it before the first result is published
    "teams/<uuid:team>/season/": see(MEMBERS),
    "teams/<uuid:team>/season/<slug:group>/": see(MEMBERS, asks=LISTED, **NONE_YET),
    "teams/<uuid:team>/season/<slug:group>/boxes.csv": see(MEMBERS, **NONE_YET),
    "teams/<uuid:team>/season/<slug:group>/boxes.xlsx": see(MEMBERS, **NONE_YET),
    "teams/<uuid:team>/season/<slug:group>/tables/": see(MEMBERS, **NONE_YET),
    "teams/<uuid:team>/season/<slug:group>/trends/": see(MEMBERS, **NONE_YET),
    "teams/<uuid:team>/season/<slug:group>/fit/": post(MEMBERS, valid=lambda s: {}, **NONE_YET),
    "teams/<uuid:team>/box/<slug:slug>/<slug:key>/": see(MEMBERS, **NONE_YET),
    "c/<slug:slug>/agreement/": see("organiser head_judge"),
    "c/<slug:slug>/agreement/places/": see("organiser head_judge"),
    "c/<slug:slug>/agreement/fit/": post("organiser head_judge", valid=lambda s: {}),
    # a team's own plan, log and results from elsewhere: private to its accounts
    "teams/<uuid:team>/plan/": form(MEMBERS, asks=LISTED),
    "teams/<uuid:team>/plan/<uuid:day>/": see(MEMBERS),
    "teams/<uuid:team>/plan/<uuid:day>/lengths/<slug:key>/": form(MEMBERS, names={"key": lambda s: "ribs"}),
    "teams/<uuid:team>/plan/<uuid:day>/change/": form(MEMBERS, names={"day": own_day}),
    "teams/<uuid:team>/plan/<uuid:day>/delete/": post(MEMBERS, names={"day": own_day}, valid=lambda s: {}),
    "teams/<uuid:team>/log/": see(MEMBERS, asks=(*LISTED, lambda s: "practices=2")),
    "teams/<uuid:team>/log/fields/": form(MEMBERS),
    "teams/<uuid:team>/log/<uuid:day>/<slug:key>/": form(
        MEMBERS, names={"key": lambda s: "ribs"}, valid=lambda s: {"do": "notes", "notes": "oak"}
    ),
    "teams/<uuid:team>/past/": form(MEMBERS, asks=(*LISTED, lambda s: "packages=2")),
    "teams/<uuid:team>/past/<int:number>/": form(MEMBERS, names={"number": lambda s: s.past}),
    "teams/<uuid:team>/past/<int:number>/flight/": see(MEMBERS, names={"number": lambda s: s.past_of_package}),
    "teams/<uuid:team>/past/import/": form(MEMBERS),
    "teams/<uuid:team>/past/past-results.<slug:ending>": see(MEMBERS, names={"ending": lambda s: "csv"}),
    "teams/<uuid:team>/past/package/": form(MEMBERS, valid=lambda s: {}),
    "teams/<uuid:team>/past/package/<int:number>/": form(MEMBERS, names={"number": lambda s: s.package_aside}),
    "teams/<uuid:team>/past/package/<int:number>/delete/": post(
        MEMBERS, names={"number": lambda s: s.package}, valid=lambda s: {}
    ),
    # practice at home: its contest is the team's own, and its plates are sealed to the cook too once they are out
    "teams/<uuid:team>/practice/": see(MEMBERS, asks=LISTED),
    "teams/<uuid:team>/practice/new/": form(MEMBERS),
    "teams/<uuid:team>/practice/<uuid:practice>/": see(MEMBERS),
    "teams/<uuid:team>/practice/<uuid:practice>/serving/": see(
        MEMBERS, closed={"cook": MOVED}, published={"cook": MOVED}
    ),
    "teams/<uuid:team>/practice/<uuid:practice>/out/": post(MEMBERS, valid=lambda s: {}),
    "teams/<uuid:team>/practice/<uuid:practice>/key/": post(MEMBERS, valid=lambda s: {"reason": "a plate fell"}),
    "teams/<uuid:team>/practice/<uuid:practice>/close/": post(MEMBERS, valid=lambda s: {"unfinished_too": "on"}),
    "teams/<uuid:team>/practice/<uuid:practice>/draw/<str:name>": see(
        MEMBERS,
        names={"name": lambda s: ("secret.txt", "plan.txt", "public.txt")},
        **until("closed", {"cook": 404}),
    ),
    "teams/<uuid:team>/practice/<uuid:practice>/print/": post(
        MEMBERS, valid=lambda s: {"what": "plate-cards", "size": "a4"}
    ),
    "teams/<uuid:team>/practice/<uuid:practice>/print/<uuid:key>.pdf": see(
        MEMBERS, names={"key": sheet_key}, **always({"cook": 404})
    ),  # the worker prints it
    "teams/<uuid:team>/practice/<uuid:practice>/sheets/<slug:what>/": see(
        MEMBERS, names={"what": lambda s: ("plating-list", "plate-cards", "taster-slips")}, sealed={"cook": 404}
    ),
}


def routes() -> list[str]:
    """Every address of the site, as its pattern."""
    return [route for route, _ in walk(get_resolver())]


def urls_of(route: str, sample: Sample) -> list[str]:
    """The route with its arguments filled in, once for each sample. KeyError names the argument that has none."""
    own = {name: value(sample) for name, value in TABLE[route].names.items()}
    values = {name: [*value] if isinstance(value, tuple) else [value] for name, value in (sample.names | own).items()}
    names = re.findall(r"<(?:\w+:)?(\w+)>", route)
    shape = re.sub(r"<(?:\w+:)?(\w+)>", r"{\1}", route)
    chosen = itertools.product(*(values[name] for name in names))
    return ["/" + shape.format(**dict(zip(names, each, strict=True))) for each in chosen]


def url_of(route: str, sample: Sample) -> str:
    return urls_of(route, sample)[0]
