"""This app's step of the day and its rooms of the navigation: prints and the result; and the backups of the day."""

from collections.abc import Iterator
from typing import Any

from django.core.checks import Error
from django.core.checks import register as register_check
from django.db import transaction
from django.urls import reverse

from contest import day
from contest.commandline import program
from contest.models import Contest
from contest.navigation import Room, add_room
from judging.models import Tally
from reports.backup.restore import unfinished
from reports.models import Publication

PRINTERS = frozenset({"organiser", "announcer", "head_judge", "tally", "desk"})


def register() -> None:
    """Called once when the app is ready."""
    from reports.paper import catalogue
    from reports.practice import papers

    day.contributes_to("results", results_step)
    day.hinders("publishing", not_signed_off)
    day.follows(back_up)
    day.follows(work_season_out)
    day.notifies(backup_notices)
    catalogue.register(papers.PAPERS)
    for room in _rooms():
        add_room(room)


def _rooms() -> Iterator[Room]:
    """The rooms in the order in which they are shown."""
    yield Room("turn_in", "Print", "reports:paper", PRINTERS, small=True, when=_more_than_three_rooms)
    yield Room("turn_in", "Plates", "reports:tasting", frozenset({"judge"}), when=_is_practice)
    yield Room("results", "Names", "reports:names", frozenset({"organiser", "announcer"}), when=_closed)
    yield Room("results", "Results", "reports:results", PRINTERS | {"captain", "judge"}, when=_published)
    yield Room("results", "Agreement", "reports:agreement", frozenset({"organiser", "head_judge"}), when=_published)


#: What happened, as the list of backups says it.
OCCASIONS = {"closed": "at closing", "revised": "at the revision", "published": "at publication"}


def back_up(contest: Contest, what: str) -> None:
    """At every closing, revision and publication."""
    from reports.backup.tasks import ask  # tasks cannot be declared before the apps are ready

    ask(contest, OCCASIONS[what])


def work_season_out(contest: Contest, what: str) -> None:
    """At every publication, once it holds."""
    from reports.season.work import ask_for  # tasks cannot be declared before the apps are ready

    if what == "published":
        transaction.on_commit(lambda: ask_for(contest))


def backup_notices(contest: Contest) -> list[day.Notice]:
    from reports.backup.tasks import notices

    return notices(contest)


def _more_than_three_rooms(contest: Contest, parts: frozenset[str]) -> bool:
    """A small contest's organiser has three rooms and no more: a link in one of them leads to the print page."""
    return not contest.small or parts <= {"desk"}


def _is_practice(contest: Contest, parts: frozenset[str]) -> bool:
    return contest.kind == Contest.Kind.PRACTICE


def _closed(contest: Contest, parts: frozenset[str]) -> bool:
    return not contest.is_sealed


def _published(contest: Contest, parts: frozenset[str]) -> bool:
    return contest.state == Contest.State.PUBLISHED


def _newest(contest: Contest) -> Tally | None:
    return Tally.objects.filter(contest=contest).only("revision", "signed_at").order_by("-revision").first()


def results_step(contest: Contest, step: day.Step) -> None:
    if contest.is_sealed:
        return
    newest = _newest(contest)
    published = Publication.objects.filter(contest=contest).order_by("-tally__revision").first()
    if newest is not None and published is not None and published.tally_id == newest.pk:
        step.state = "done"
        step.lines.append("published" if newest.revision == 1 else f"revision {newest.revision} published")
        return
    if newest is not None and newest.signed_at is not None:
        step.state = "now"
        step.lines.append("signed off")
        url = reverse("reports:names", args=[contest.slug])
        step.todos.append(day.Todo("Call the names, then publish the result.", url, "See the names"))


def not_signed_off(contest: Contest) -> list[day.Todo]:
    """What hinders publishing: a tally that is not closed, or that the head judge has not signed off."""
    url = reverse("judging:tally", args=[contest.slug])
    if contest.is_sealed:
        return [day.Todo("The tally is not closed yet.", url, "Show the tally")]
    newest = _newest(contest)
    if newest is None or newest.signed_at is None:
        return [day.Todo("The head judge has not signed off the tally.", url, "Look and sign", "head_judge")]
    return []


@register_check()
def no_restore_is_unfinished(app_configs: Any, **kwargs: Any) -> list[Error]:
    """Nothing is served from a data folder that a restore left half-way."""
    if not unfinished().exists():
        return []
    return [
        Error(
            "A restore was broken off: the database and the secret key may not belong together.",
            hint=f"Run {program()} restore FILE --replace again.",
            id="reports.E001",
        )
    ]
