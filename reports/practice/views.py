"""A blind tasting at home: the cook's pages, for the team's members, and the tasters' page, by the pass of a seat."""

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import FileResponse, Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET, require_http_methods, require_POST
from django_htmx.http import HttpResponseClientRefresh

from contest.access import Request, for_parts, for_team
from contest.forms.people import show_refusal
from contest.lists import list_page
from contest.models import Contest, Team
from contest.qr import address_of_pass, qr_svg, reaches_phones, site_address
from contest.refusals import Refused
from contest.services.passes import issue_pass, word_of
from reports.models import Practice
from reports.paper import held, jobs
from reports.paper.grids import PAGE_NAMES
from reports.paper.look import Options
from reports.paper.pdf import PACKAGES, can_print
from reports.practice import evening, papers, plates, shown
from reports.practice.forms import CloseForm, KeyForm, PracticeForm
from reports.practice.setup import set_up
from reports.rules.sensory.counts import beforehand
from reports.rules.sensory.tasting import SCORE


def _find(team: Team, uid: UUID) -> Practice:
    return get_object_or_404(Practice.objects.select_related("contest__rule_set", "team"), team=team, contest__uid=uid)


def _back(practice: Practice) -> HttpResponse:
    return redirect("reports:practice", practice.team.uid, practice.contest.uid)


# ---- the cook


@require_GET
@for_team
def practices(request: Request, team: Team) -> HttpResponse:
    """The team's practices, newest first."""
    found = Practice.objects.filter(team=team).select_related("contest").prefetch_related("versions")
    listed = list_page(request, found, "Practices", fields=("dish", "versions__name", "contest__date"))
    closed = [each for each in listed if each.closed_at is not None and each.served_at is not None]
    chart = shown.chart_of(closed[::-1], share=True)
    context = {"team": team, "practices": listed, "practice_chart": chart}
    return render(request, "reports/practice/practices.html", context)


@require_http_methods(["GET", "POST"])
@for_team
def practice_new(request: Request, team: Team) -> HttpResponse:
    """Everything that a practice asks, on one page."""
    form = PracticeForm(request.POST or None, team=team, account=request.viewer.signed_in_account)
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        made = Practice.objects.filter(team=team, contest__uid=data["uid"]).select_related("contest", "team").first()
        try:
            made = made or set_up(team=team, by=request.viewer.name, **data)
        except ValidationError as error:
            show_refusal(form, error)
        else:
            return _back(made)
    status = 422 if form.errors else 200
    return render(request, "reports/practice/new.html", {"team": team, "form": form}, status=status)


@never_cache
@require_GET
@for_team
def practice(request: Request, team: Team, practice: UUID) -> HttpResponse:
    """How the evening stands; after closing the result and what was on which plate."""
    found = _find(team, practice)
    if found.closed_at is not None and found.served_at is None:
        return render(request, "reports/practice/off.html", {"team": team, "practice": found})
    if found.closed_at is not None:
        return render(request, "reports/practice/result.html", {"team": team, **shown.result(found)})
    return _evening(request, found)


def _evening(request: Request, found: Practice, form: CloseForm | None = None) -> HttpResponse:
    tasters = plates.progress(found)
    unfinished = [each for each in tasters if not each.is_done]
    context = {
        "team": found.team,
        "practice": found,
        "tasters": tasters,
        "unfinished": unfinished,
        "form": form or CloseForm(),
        "beforehand": beforehand(found.question, plates.answers_expected(found), found.versions.count()),
        "doors": _doors(request, found),
        "needs_address": not reaches_phones(site_address(request)),
        "draw": found.contest.draws.get(standing=True),
        "told": shown.told_words(found),
        "prints": [_print_row(found, jobs.look_after(job)) for job in papers.jobs_of(found)],
        "papers": papers.PAPERS.values(),
        "sizes": PAGE_NAMES.items(),
        "can_print": can_print(),
        "packages": PACKAGES,
    }
    return render(request, "reports/practice/evening.html", context, status=200 if form is None else 422)


def _doors(request: Request, found: Practice) -> list[dict[str, Any]]:
    """Each taster's sign-in: the word, and its code for a phone's camera."""
    doors = []
    for taster in found.tasters.select_related("seat__table"):
        word = word_of(issue_pass(opens="seat", contest=found.contest, seat=taster.seat))
        doors.append({"taster": taster, "word": word, "qr": qr_svg(address_of_pass(request, word))})
    return doors


@never_cache
@require_GET
@for_team
def practice_serving(request: Request, team: Team, practice: UUID) -> HttpResponse:
    """What goes on which plate, until the plates are out; then only for a reason that the result shows."""
    found = _find(team, practice)
    if found.closed_at is not None:
        return _back(found)
    if not plates.key_is_open(found):
        return _key_closed(request, found, KeyForm())
    return _serving(request, found)


def _serving(request: Request, found: Practice, **more: Any) -> HttpResponse:
    several = found.contest.categories.count() > 1
    context = {"team": found.team, "practice": found, "key": plates.key_of(found), "several": several, **more}
    return render(request, "reports/practice/serving.html", context)


def _key_closed(request: Request, found: Practice, form: KeyForm) -> HttpResponse:
    context = {"team": found.team, "practice": found, "form": form}
    return render(request, "reports/practice/key.html", context, status=422 if form.errors else 200)


@require_POST
@for_team
def practice_out(request: Request, team: Team, practice: UUID) -> HttpResponse:
    """The plates are out: the tasters begin, and the key closes."""
    evening.serve(practice=_find(team, practice), by=request.viewer.name)
    return _back(_find(team, practice))


@never_cache
@require_POST
@for_team
def practice_key(request: Request, team: Team, practice: UUID) -> HttpResponse:
    """Open the key early: recorded, and shown with the result. Shown once; looking again is recorded again."""
    found = _find(team, practice)
    form = KeyForm(request.POST)
    if not form.is_valid():
        return _key_closed(request, found, form)
    try:
        evening.open_key(practice=found, reason=form.cleaned_data["reason"], by=request.viewer.name)
    except Refused as error:
        messages.info(request, str(error))
        return redirect("reports:practice_serving", team.uid, found.contest.uid)
    return _serving(request, found, opened=True)


@require_POST
@for_team
def practice_close(request: Request, team: Team, practice: UUID) -> HttpResponse:
    """Take no more answers and show the result; or call off what was never served."""
    found = _find(team, practice)
    form = CloseForm(request.POST)
    form.is_valid()
    try:
        if "call_off" in request.POST:
            evening.call_off(practice=found, by=request.viewer.name)
            return redirect("reports:practices", team.uid)
        evening.close(
            practice=found, by=request.viewer.name, unfinished_too=form.cleaned_data.get("unfinished_too", False)
        )
    except Refused as error:
        form.add_error(None, str(error))
        return _evening(request, found, form)
    return _back(found)


@require_GET
@for_team
def practice_draw(request: Request, team: Team, practice: UUID, name: str) -> HttpResponse:
    """The texts of the draw as files, for whoever checks the sums: the secret and the plan with the result only."""
    found = _find(team, practice)
    draw = found.contest.draws.get(standing=True)
    texts = {"public.txt": draw.public_text}
    if found.closed_at is not None:
        texts |= {"secret.txt": draw.secret_text, "plan.txt": draw.draw_text}
    if name not in texts:
        raise Http404("No such file.")
    answer = HttpResponse(texts[name], content_type="text/plain; charset=utf-8")
    answer["Content-Disposition"] = f'attachment; filename="{name}"'
    return answer


# ---- paper


def _print_row(found: Practice, job: Any) -> dict[str, Any]:
    return {"job": job, "title": papers.PAPERS[job.what].name, "practice": found}


@require_POST
@for_team
def practice_print(request: Request, team: Team, practice: UUID) -> HttpResponse:
    """Ask for one of the practice's papers as a file."""
    found = _find(team, practice)
    what, size = request.POST.get("what", ""), request.POST.get("size", "a4")
    if what not in papers.PAPERS or size not in PAGE_NAMES:
        raise Http404("No such paper.")
    if what == papers.KEY and not plates.key_is_open(found):
        messages.error(request, "The plates are out: the plating list is closed until the result.")
        return _back(found)
    address = site_address(request)
    options = Options(size=size, address=address if reaches_phones(address) else "")
    jobs.start(contest=found.contest, what=what, papers=[what], options=options, by=request.viewer.name)
    return redirect(f"{reverse('reports:practice', args=[team.uid, found.contest.uid])}#paper")


@require_GET
@for_team
def practice_file(request: Request, team: Team, practice: UUID, key: UUID) -> FileResponse:
    """A finished print; the plating list only while the key is open."""
    found = _find(team, practice)
    job = next((job for job in papers.jobs_of(found) if job.key == key and job.file), None)
    if job is None:
        raise Http404("No such print.")
    file = (held.folder() / job.file).open("rb")
    return FileResponse(file, content_type="application/pdf", filename=f"{job.what}.pdf")


@require_GET
@for_team
def practice_sheets(request: Request, team: Team, practice: UUID, what: str) -> HttpResponse:
    """The same sheets as a page that the browser prints, where no PDF can be made."""
    found = _find(team, practice)
    if what not in papers.PAPERS or (what == papers.KEY and not plates.key_is_open(found)):
        raise Http404("No such paper.")
    bodies = [sheet.body() for sheet in papers.PAPERS[what].build(found.contest, Options())]
    context = {"team": team, "practice": found, "title": papers.PAPERS[what].name, "bodies": bodies}
    return render(request, "reports/practice/sheets.html", context)


# ---- the tasters


@never_cache
@require_http_methods(["GET", "POST"])
@for_parts("judge")
def tasting(request: Request, contest: Contest) -> HttpResponse:
    """A taster's plates, by number. Nothing of what is on them, nothing of the others."""
    found = Practice.objects.filter(contest=contest).first()
    if found is None:
        raise Http404("No such page.")
    if request.htmx:  # the page that waits asks whether it is to be loaded anew
        return HttpResponseClientRefresh() if found.served_at else HttpResponse(status=204)
    if found.question == SCORE and found.served_at is not None:
        return redirect("judging:seat", contest.slug)
    seat = request.viewer.judge_seat
    rounds = plates.rounds_of(contest, seat)
    refused = ""
    if request.method == "POST":
        category = next((each.category for each in rounds if each.category.key == request.POST.get("round")), None)
        try:
            if category is None:
                raise Refused("There is no such round.")
            number = request.POST.get("plate", "")
            evening.hand_in_answer(contest=contest, seat=seat, category=category, number=number)
            return redirect("reports:tasting", contest.slug)
        except Refused as error:
            refused = str(error)
    context = {
        "contest": contest,
        "practice": found,
        "number": seat.table.number,
        "rounds": rounds,
        "now": next((each for each in rounds if not each.named), None),
        "refused": refused,
    }
    return render(request, "reports/practice/tasting.html", context, status=422 if refused else 200)
