"""The page *Check the result*, and the results package: what is needed to check a contest without trusting anyone."""

from django.http import Http404, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_GET

from contest.access import Request, anyone
from contest.models import Contest, Draw
from contest.rules.draw.commitment import short_form, words_in
from contest.selectors.draw import commitment_before_draw
from judging.models import Tally
from reports.models import Publication
from reports.results import drawcheck
from reports.results.places import published_tally
from reports.results.views.results import find_public, find_published
from reports.rules.package.archive import public_name


@require_GET
@anyone
def draw_check(request: Request, slug: str) -> HttpResponse:
    """Show the sums that are fixed; after publishing the files, and the commands to check them with.

    The contest's name and date are no secret once a commitment is out.
    """
    contest = find_public(slug)
    draws = drawcheck.public_draws(contest)
    commitment = drawcheck.known_commitment(contest, draws)
    if not commitment:
        raise Http404("No such draw.")
    tally = published_tally(contest)
    publication = tally.publication if tally is not None else None
    context = {
        # Rooms and state only for those who have a part in it.
        "contest": contest if request.viewer.parts(contest) else None,
        "shown": contest,
        "published": contest.state == Contest.State.PUBLISHED,
        "draws": draws,
        "standing": draws[-1] if draws else None,
        "public_name": public_name(draws[-1].number) if draws else "public.txt",
        "begun": bool(commitment_before_draw(contest)),
        "publication": publication,
        "package_name": _package_name(contest, tally),
        "noted": _noted(draws, publication),
        "words": words_in(draws[-1].public_text) if draws else [],
        "commitment": commitment,
        "files": drawcheck.released_files(contest, draws),
        "address": request.build_absolute_uri(reverse("reports:draw_check", args=[contest.slug])),
    }
    return render(request, "reports/draw_check.html", context)


@require_GET
@anyone
def draw_file(request: Request, slug: str, name: str) -> HttpResponse:
    """One of the draw's texts, byte for byte; before publishing there is no secret and no list to be had."""
    contest = find_public(slug)
    files = drawcheck.released_files(contest, drawcheck.public_draws(contest))
    file = next((each for each in files if each.name == name), None)
    if file is None:
        raise Http404("No such file.")
    answer = HttpResponse(drawcheck.text_of(contest, file).encode(), content_type="text/plain; charset=utf-8")
    answer["Content-Disposition"] = f'attachment; filename="{file.name}"'
    return answer


@require_GET
@anyone
def package(request: Request, slug: str, revision: int | None = None) -> HttpResponse:
    """The results package as it went out with a publication: the newest, or an earlier revision's."""
    contest, tally = find_published(slug, revision)
    data = bytes(Publication.objects.get(tally=tally).package)
    answer = HttpResponse(data, content_type="application/zip")
    answer["Content-Disposition"] = f'attachment; filename="{_package_name(contest, tally)}"'
    return answer


def _noted(draws: list[Draw], publication: Publication | None) -> list[str]:
    """Return the options of the commands with this contest's values in their short form."""
    if publication is None:
        return []
    values = {
        "draw": draws[-1].fingerprint,
        "log": publication.log_heads.get("day", ""),
        "sum": publication.package_sum,
    }
    return [f"--{name} {short_form(value, '-')}" for name, value in values.items() if value]


def _package_name(contest: Contest, tally: Tally | None) -> str:
    ending = "" if tally is None or tally.revision == 1 else f"-revision-{tally.revision}"
    return f"{contest.slug}-package{ending}.zip"
