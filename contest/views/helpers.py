"""Helpers of a contest: who does what, and the slips with which they sign in."""

from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from contest.access import Request, for_parts
from contest.forms.helpers import HelperForm, KnownAccountForm, RolesForm
from contest.models import Account, Contest, ContestRole, Pass
from contest.qr import address_of_pass, qr_svg, reaches_phones, site_address
from contest.selectors.helpers import Door, doors, roles, slip_allowed
from contest.services import roles as services
from contest.services.passes import issue_pass, word_of
from contest.views.setup import room, say


def show(request: Request, contest: Contest, **forms: Any) -> HttpResponse:
    """The page; `forms` are those that came back with errors."""
    organiser = request.viewer.signed_in_account
    wrong = forms.get("wrong")
    rows = [
        {
            "role": row,
            "slip": slip_allowed(row.account, organiser),
            "form": wrong if wrong and wrong.row == row else RolesForm(row=row),
        }
        for row in roles(contest)
    ]
    page = {
        "contest": contest,
        "rows": rows,
        "doors": doors(contest, organiser),
        "helper": forms.get("helper") or HelperForm(prefix="helper"),
        "known": forms.get("known") or KnownAccountForm(prefix="known"),
    }
    return render(request, "contest/helpers.html", page, status=422 if forms else 200)


@require_http_methods(["GET", "POST"])
@for_parts("organiser")
def helpers(request: Request, contest: Contest) -> HttpResponse:
    """Who helps, and a form for the next one."""
    if request.method == "GET":
        return show(request, contest)
    form = HelperForm(request.POST, prefix="helper")
    if form.is_valid():
        try:
            account = services.make_helper(
                contest=contest, name=form.cleaned_data["name"], parts=form.parts(), by=request.viewer.name
            )
        except ValidationError as error:
            say(form, error)
        else:
            messages.success(request, f"{account} is a helper now. Print the slip, or show its pass word.")
            return redirect(room("contest:helpers", contest))
    return show(request, contest, helper=form)


@require_POST
@for_parts("organiser")
def helper_known(request: Request, contest: Contest) -> HttpResponse:
    """Give roles to somebody who has an account here already."""
    form = KnownAccountForm(request.POST, prefix="known")
    if form.is_valid():
        account = form.cleaned_data["username"]
        row = ContestRole.objects.filter(contest=contest, account=account).first()
        parts = form.parts() | (row.held if row else set())
        try:
            services.set_roles(contest=contest, account=account, parts=parts, by=request.viewer.name)
        except ValidationError as error:
            say(form, error)
        else:
            messages.success(request, f"{account} is a helper now and signs in as usual.")
            return redirect(room("contest:helpers", contest))
    return show(request, contest, known=form)


@require_POST
@for_parts("organiser")
def helper_roles(request: Request, contest: Contest, account: int) -> HttpResponse:
    """Change the roles of one helper."""
    row = get_object_or_404(ContestRole, contest=contest, account=account)
    form = RolesForm(request.POST, row=row)
    if form.is_valid():
        try:
            services.set_roles(contest=contest, account=row.account, parts=form.parts(), by=request.viewer.name)
        except ValidationError as error:
            say(form, error)
        else:
            messages.success(request, f"The roles of {row.account} are saved.")
            return redirect(room("contest:helpers", contest))
    return show(request, contest, wrong=form)


def door_of(contest: Contest, organiser: Account, key: str) -> Door:
    found = next((door for door in doors(contest, organiser) if door.key == key), None)
    if found is None:
        raise Http404("No such slip.")
    return found


def pass_of(door: Door, contest: Contest) -> Pass:
    inside = None if door.account else contest
    return issue_pass(opens=door.opens, contest=inside, account=door.account, table=door.table, seat=door.seat)


@require_GET
@for_parts("organiser")
def slips(request: Request, contest: Contest) -> HttpResponse:
    """Sign-in slips to print or to show: all of them, or the one named by ?for=."""
    organiser = request.viewer.signed_in_account
    wanted = request.GET.get("for", "")
    chosen = [door_of(contest, organiser, wanted)] if wanted else doors(contest, organiser)
    made = []
    for door in chosen:
        held = pass_of(door, contest)
        word = word_of(held)
        address = address_of_pass(request, word)
        made.append({"door": door, "word": word, "address": address.partition("#")[0], "qr": qr_svg(address)})
    page = {
        "contest": contest,
        "slips": made,
        "one": bool(wanted),
        "this_computer_only": not reaches_phones(site_address(request)),
    }
    return render(request, "contest/slips.html", page)


@require_POST
@for_parts("organiser")
def new_pass(request: Request, contest: Contest) -> HttpResponse:
    """A new pass word for one door; the one before it opens nothing any more."""
    organiser = request.viewer.signed_in_account
    door = door_of(contest, organiser, request.POST.get("for", ""))
    held = pass_of(door, contest)
    services.give_new_pass(contest=contest, held=held, organiser=organiser, by=request.viewer.name)
    messages.success(request, f"{door.name}: the old pass word is void. Here is the new one.")
    return redirect(f"{room('contest:slips', contest)}?for={door.key}")
