"""The page from which everything is printed, and the files that come of it."""

from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import FileResponse, Http404, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_POST

from contest.access import Request, for_parts
from contest.models import Contest
from contest.qr import reaches_phones, site_address
from contest.rules.stored import StoredError
from contest.services.log import write_log
from reports.jobs import PRINT_STALE
from reports.models import JobState, PrintJob
from reports.paper import catalogue, held, jobs
from reports.paper.catalogue import Paper
from reports.paper.forms import PrintForm
from reports.paper.grids import PAGE_NAMES
from reports.paper.look import Options
from reports.paper.pdf import PACKAGES, can_print
from reports.paper.sheet import Sheet

PRINTERS = ("organiser", "announcer", "head_judge", "tally", "desk")


def _form(request: Request, contest: Contest, papers: list[Paper], **more: Any) -> PrintForm:
    return PrintForm(
        contest=contest,
        labels=any(paper.labels for paper in papers),
        teams=any(paper.key == "teams" for paper in papers),
        **more,
    )


def _last_options(found: list[PrintJob]) -> Options:
    """The options of the newest print; the usual ones where another version of Fairbox kept it."""
    try:
        return Options.from_json(found[0].options) if found else Options()
    except StoredError:
        return Options()


def _page(request: Request, contest: Contest, form: PrintForm | None = None) -> HttpResponse:
    parts = request.viewer.parts(contest)
    papers = catalogue.printable(contest, parts)
    found = [jobs.look_after(job) for job in jobs.jobs_for(contest, parts)]
    if form is None:
        form = _form(request, contest, papers, initial=_last_options(found).values())
    context = {
        "contest": contest,
        "form": form,
        "papers": papers,
        "packets": catalogue.packets(contest, parts),
        "jobs": [_row(contest, job) for job in found],
        "can_print": can_print(),
        "packages": PACKAGES,
        "needs_address": not reaches_phones(site_address(request)) and any(paper.key == "tents" for paper in papers),
    }
    return render(request, "reports/paper.html", context, status=422 if form.errors else 200)


@require_GET
@for_parts(*PRINTERS)
def paper(request: Request, contest: Contest) -> HttpResponse:
    """What the viewer may print now, and what was printed today."""
    return _page(request, contest)


def _row(contest: Contest, job: PrintJob) -> dict[str, Any]:
    """A print as it is listed. `slow`: it waits for a worker longer than one takes to look."""
    slow = job.state == JobState.WAITING and timezone.now() - job.heartbeat > PRINT_STALE
    name = f"{contest.slug}-{job.what}.pdf"
    return {"job": job, "title": catalogue.title_of(job.what), "name": name, "slow": slow}


def _found(contest: Contest, parts: frozenset[str], what: str) -> tuple[str, list[Paper]]:
    """The papers asked for; refused where the viewer may not print them now, or never."""
    found = catalogue.find(contest, parts, what)
    if found is None:
        if what not in catalogue.PAPERS and what not in catalogue.PACKETS:
            raise Http404("No such paper.")
        raise PermissionDenied
    return found


@require_POST
@for_parts(*PRINTERS)
def make(request: Request, contest: Contest) -> HttpResponse:
    """Ask for a file to print."""
    parts = request.viewer.parts(contest)
    what = request.POST.get("what", "")
    title, papers = _found(contest, parts, what)
    form = _form(request, contest, catalogue.printable(contest, parts), data=request.POST)
    if not form.is_valid():
        return _page(request, contest, form)
    options = form.options(_address(request))
    jobs.start(
        contest=contest, what=what, papers=[each.key for each in papers], options=options, by=request.viewer.name
    )
    messages.success(request, f"{title}: the file is being made. It stands below.")
    return redirect(f"{reverse('reports:paper', args=[contest.slug])}#files")


def _address(request: Request) -> str:
    """This site as phones reach it; empty where they do not."""
    address = site_address(request)
    return address if reaches_phones(address) else ""


def _job(request: Request, contest: Contest, key: object) -> PrintJob:
    job = jobs.find_job(contest, request.viewer.parts(contest), key)
    if job is None:
        raise Http404("No such print.")
    return job


@require_GET
@for_parts(*PRINTERS)
def job(request: Request, contest: Contest, key: object) -> HttpResponse:
    """How far a print is: the inside of its row, asked for again until it is done or has failed."""
    if not request.htmx:
        return redirect(f"{reverse('reports:paper', args=[contest.slug])}#files")
    found = jobs.look_after(_job(request, contest, key))
    return render(request, "reports/_print_job.html", {"contest": contest, "row": _row(contest, found)})


@require_GET
@for_parts(*PRINTERS)
def job_file(request: Request, contest: Contest, key: object, name: str) -> FileResponse:
    """The finished file. Opening one that holds the ledger is in the log, as on its page."""
    found = _job(request, contest, key)
    if found.state != JobState.DONE or name != _row(contest, found)["name"]:
        raise Http404("No such print.")
    path = held.folder() / found.file
    if not path.exists():
        raise Http404("The file is gone. Print again.")
    _log_ledger(request, contest, found.papers)
    return FileResponse(path.open("rb"), content_type="application/pdf", filename=name)


def _log_ledger(request: Request, contest: Contest, papers: list[str]) -> None:
    if "ledger" in papers:
        address = request.META.get("REMOTE_ADDR", "")
        write_log(contest=contest, chain="day", what="ledger opened", facts={}, by=request.viewer.name, address=address)


def _asked(request: Request, contest: Contest, what: str) -> tuple[str, list[Paper], Options]:
    """Paper and options of the same sheets shown in the browser. Options that make no sense are left out."""
    parts = request.viewer.parts(contest)
    title, papers = _found(contest, parts, what)
    form = _form(request, contest, catalogue.printable(contest, parts), data=request.GET)
    options = form.options(_address(request)) if form.is_valid() else Options(address=_address(request))
    return title, papers, options


@require_GET
@for_parts(*PRINTERS)
def sheets(request: Request, contest: Contest, what: str) -> HttpResponse:
    """The same sheets as a page that the browser prints, where no PDF can be made."""
    title, papers, options = _asked(request, contest, what)
    _log_ledger(request, contest, [each.key for each in papers])
    context = {
        "contest": contest,
        "title": title,
        "what": what,
        "page": PAGE_NAMES[options.size],
        "query": urlencode({name: value for name, value in options.values().items() if name != "address"}),
        "bodies": [body for each in papers for sheet in each.build(contest, options) for body in _bodies(sheet)],
    }
    return render(request, "reports/paper/browser.html", context)


def _bodies(sheet: Sheet) -> list[str]:
    """A sheet that repeats for seats, once for each."""
    return [sheet.body(seats=(seat,)) for seat in sheet.seats] if sheet.seats else [sheet.body()]


@require_GET
@for_parts(*PRINTERS)
def rules(request: Request, contest: Contest, what: str) -> HttpResponse:
    """Page and label rules for these sheets: a style sheet, since no page of this site carries rules of its own."""
    title, papers, options = _asked(request, contest, what)
    first = papers[0]
    text = catalogue.rules_of(contest, first, Sheet("", title=title, landscape=what == "certificates"), options)
    if any(paper.labels for paper in papers) and not first.labels:
        text += catalogue.label_rules(options.label_grid, options.size)
    return HttpResponse(text, content_type="text/css; charset=utf-8")
