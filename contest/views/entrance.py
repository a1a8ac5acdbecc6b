"""The ways in: the front page, signing in by account or pass, changing one's password.

Who came in and who was turned away stands in the server's log, by door and address: never what was typed.
"""

import logging

from django.contrib import messages
from django.contrib.auth import authenticate, login, logout, update_session_auth_hash
from django.contrib.auth.forms import PasswordChangeForm
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from contest.access import Request, anyone, signed_in
from contest.forms.entrance import FirstAccountForm, PassForm, SignInForm
from contest.lists import list_page
from contest.models import Account, Contest, Pass
from contest.navigation import links_for
from contest.selectors.entrance import contests_of, published_contests, split_by_time
from contest.services.passes import find_pass, first_signs, open_session
from contest.services.throttle import is_blocked, note_failure

entrance_log = logging.getLogger("contest.entrance")


def note(request: Request, what: str) -> None:
    entrance_log.info("%s, from %s", what, request.META.get("REMOTE_ADDR", ""))


@require_GET
@anyone
def home(request: Request) -> HttpResponse:
    if not Account.objects.exists():
        return redirect("contest:first_account")
    held = request.viewer.held_pass
    if held is not None and (landing := landing_page(request, held.contest)) != request.path:
        return redirect(landing)
    fields = ("name", "place", "date")
    current, past = split_by_time(contests_of(request.viewer.account))
    past_page = list_page(request, past, "Your past contests", fields=fields, name="own")
    groups = {**current, "Past": past_page.rows}
    request.viewer.load_parts([contest for contests in groups.values() for contest in contests])
    linked = [(title, [(each, landing_page(request, each)) for each in contests]) for title, contests in groups.items()]
    page = {
        "groups": linked,
        "any": any(groups.values()) or past_page.search,
        "past": past_page,
        "published": list_page(request, published_contests(), "Published results", fields=fields),
    }
    return render(request, "contest/home.html", page)


@require_http_methods(["GET", "POST"])
@anyone
def first_account(request: Request) -> HttpResponse:
    """A new installation asks for its first organiser once."""
    if Account.objects.exists():
        return redirect("contest:home")
    form = FirstAccountForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        account = form.save()
        login(request, account, backend="django.contrib.auth.backends.ModelBackend")
        note(request, f"first account made: {account.username}")
        return redirect("contest:home")
    return render(request, "contest/first_account.html", {"form": form}, status=422 if form.errors else 200)


@require_http_methods(["GET", "POST"])
@anyone
def sign_in(request: Request) -> HttpResponse:
    form = SignInForm(request.POST or None)
    following = request.POST.get("next") or request.GET.get("next") or ""
    if request.method == "POST" and form.is_valid():
        account = authenticate(request, username=form.cleaned_data["username"], password=form.cleaned_data["password"])
        if account is not None:
            login(request, account)
            note(request, f"account signed in: {account.username}")
            return redirect(safe_following(request, following))
        note(request, "name or password refused")
        form.add_error(None, "This name and password do not fit together. Check capitals, and try again.")
    return render(
        request,
        "contest/sign_in.html",
        {"form": form, "pass_form": PassForm(), "next": following},
        status=422 if form.errors else 200,
    )


def safe_following(request: Request, following: str) -> str:
    if following and url_has_allowed_host_and_scheme(
        following, {request.get_host()}, require_https=request.is_secure()
    ):
        return following
    return reverse("contest:home")


@require_POST
@anyone
def sign_out(request: Request) -> HttpResponse:
    if not request.viewer.is_visitor:
        note(request, f"signed out: {request.viewer.name}")
    logout(request)
    return redirect("contest:home")


@require_http_methods(["GET", "POST"])
@signed_in
def password(request: Request) -> HttpResponse:
    """A new password against the present one; every other device that is signed in with the account is signed out."""
    account = request.viewer.signed_in_account
    if not account.has_usable_password():
        return render(request, "contest/password.html", {"form": None})
    form = PasswordChangeForm(account, request.POST or None)
    if request.method == "POST" and form.is_valid():
        form.save()
        update_session_auth_hash(request, account)
        note(request, f"password changed: {account.username}")
        messages.success(request, "Your password is changed. Other devices are signed out.")
        return redirect("contest:home")
    return render(request, "contest/password.html", {"form": form}, status=422 if form.errors else 200)


NO_SUCH_WORD = "No such pass word, or it was replaced by a newer one. Read it again from the slip."
CONTEST_OVER = "The tally of this contest is closed: the pass words of its tables and seats open nothing any more."
TOO_MANY_TRIES = "Pass words that begin like this were wrong too often. Wait five minutes, then read it from the slip."


@require_http_methods(["GET", "POST"])
@anyone
def pass_in(request: Request) -> HttpResponse:
    """A pass word, typed, or brought by a QR code in the address's fragment and posted by the page's script."""
    form = PassForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        word = form.cleaned_data["word"]
        tried = {"door": "pass word", "name": first_signs(word), "address": request.META.get("REMOTE_ADDR", "")}
        blocked = is_blocked(**tried)
        held = None if blocked else find_pass(word)
        if held is not None and not held.has_ended:
            open_session(request, held)
            note(
                request,
                f"pass word taken: {held.get_opens_display()}{f' of {held.contest.slug}' if held.contest else ''}",
            )
            request.viewer = type(request.viewer)(
                account=held.account if held.opens == Pass.Opens.ACCOUNT else None,
                held_pass=None if held.opens == Pass.Opens.ACCOUNT else held,
            )
            return redirect(landing_page(request, held.contest))
        if held is None and not blocked:
            note_failure(**tried)
        note(request, "pass word refused")
        form.add_error("word", CONTEST_OVER if held else TOO_MANY_TRIES if blocked else NO_SUCH_WORD)
    return render(request, "contest/pass_in.html", {"form": form}, status=422 if form.errors else 200)


def landing_page(request: Request, contest: Contest | None) -> str:
    """Where a pass leads: the desk once the boxes are drawn, else the first room that its holder may enter."""
    if contest is None:
        return reverse("contest:home")
    urls = [link.url for link in links_for(contest, request.viewer)]
    desk = reverse("contest:desk", args=[contest.slug])
    if contest.is_drawn and desk in urls:
        return desk
    return urls[0] if urls else reverse("contest:home")
