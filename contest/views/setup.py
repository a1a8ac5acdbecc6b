"""The two ways in, and the set-up of a contest."""

from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.forms import BaseForm
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from contest.access import Request, for_parts, signed_in
from contest.forms.setup import (
    CategoryForm,
    ContestForm,
    DeleteForm,
    DetailsForm,
    OnePersonForm,
    SmallContestForm,
    TablesForm,
)
from contest.models import Account, Category, Contest
from contest.rules.draw import DrawRefused
from contest.rules.ruleset import in_words
from contest.selectors.categories import all_categories, held_categories
from contest.selectors.rules import category_rules, contest_rules
from contest.services import setup as services


def room(url_name: str, contest: Contest) -> str:
    return reverse(url_name, kwargs={"slug": contest.slug})


def made_already(form: BaseForm, account: Account) -> Contest | None:
    """The contest that this very form made before: a second press of the button makes no second contest."""
    return Contest.objects.filter(uid=form.cleaned_data["uid"], roles__account=account, roles__organiser=True).first()


def say(form: BaseForm, error: Exception) -> None:
    """Show a service's refusal at the field it names, or above the form."""
    if not isinstance(error, ValidationError):
        form.add_error(None, str(error))
    elif hasattr(error, "error_dict"):
        for name, errors in error.error_dict.items():
            form.add_error(name if name in form.fields else None, errors)
    else:
        form.add_error(None, error)


@require_http_methods(["GET", "POST"])
@signed_in
def new_small(request: Request) -> HttpResponse:
    """One page, one press: ready to take boxes."""
    account = request.viewer.signed_in_account
    form = SmallContestForm(request.POST or None, account=account)
    if request.method == "POST" and form.is_valid():
        contest = made_already(form, account)
        if contest:
            return redirect(room("contest:boxes_in", contest))
        data = form.cleaned_data
        try:
            contest = services.create_small_contest(
                organiser=account,
                name=data["name"],
                date=data["date"],
                time_zone=data["time_zone"],
                categories=data["categories"],
                team_names=data["teams"],
                judges=data["judges"],
                judge_names=data["judge_names"],
                one_person=data["one_person"],
                uid=data["uid"],
            )
        except (ValidationError, DrawRefused) as error:
            contest = made_already(form, account)  # by a second press that was a moment quicker
            if contest is None:
                say(form, error)
        if contest is not None:
            return redirect(room("contest:boxes_in", contest))
    return render(request, "contest/new_small.html", {"form": form}, status=422 if form.errors else 200)


@require_http_methods(["GET", "POST"])
@signed_in
def new_contest(request: Request) -> HttpResponse:
    account = request.viewer.signed_in_account
    form = ContestForm(request.POST or None, account=account)
    if request.method == "POST" and form.is_valid():
        contest = made_already(form, account)
        if contest is None:
            try:
                contest = services.create_contest(organiser=account, **form.cleaned_data)
            except ValidationError as error:
                contest = made_already(form, account)
                if contest is None:
                    say(form, error)
        if contest is not None:
            return redirect(room("contest:setup", contest))
    return render(request, "contest/new_contest.html", {"form": form}, status=422 if form.errors else 200)


def details_form(request: Request, contest: Contest, data: Any = None) -> DetailsForm:
    return DetailsForm(data, instance=contest, account=request.viewer.signed_in_account, prefix="details")


def tables_form(contest: Contest, data: Any = None) -> TablesForm:
    tables = list(contest.tables.prefetch_related("seats"))
    most = max((table.seats.count() for table in tables), default=contest_rules(contest).per_entry)
    return TablesForm(data, initial={"tables": len(tables) or 1, "seats": most}, prefix="tables")


def show(request: Request, contest: Contest, **forms: BaseForm) -> HttpResponse:
    """The set-up page; `forms` are those that came back with errors, by their place on the page."""
    page = {
        "contest": contest,
        "details": details_form(request, contest),
        "tables_form": tables_form(contest),
        "one_person": OnePersonForm(prefix="one_person"),
        "delete": DeleteForm(prefix="delete"),
        "categories": all_categories(contest),
        "tables": list(contest.tables.prefetch_related("seats")),
        "rules": in_words(contest_rules(contest)),
        **forms,
    }
    return render(request, "contest/setup.html", page, status=422 if forms else 200)


@require_http_methods(["GET", "POST"])
@for_parts("organiser")
def setup(request: Request, contest: Contest) -> HttpResponse:
    """Particulars, categories, tables: each part of the page is saved on its own."""
    if request.method == "GET":
        return show(request, contest)
    stored = Contest.objects.select_related("rule_set").get(pk=contest.pk)
    form = details_form(request, contest, request.POST)
    if form.is_valid():
        try:
            services.change_details(contest=stored, by=request.viewer.name, **form.changes())
        except ValidationError as error:
            say(form, error)
        else:
            messages.success(request, "Saved.")
            return redirect(room("contest:setup", contest))
    return show(request, stored, details=form)


@require_POST
@for_parts("organiser")
def setup_tables(request: Request, contest: Contest) -> HttpResponse:
    form = tables_form(contest, request.POST)
    if form.is_valid():
        try:
            services.set_tables(contest=contest, **form.cleaned_data)
        except ValidationError as error:
            say(form, error)
        else:
            messages.success(request, "Tables and seats are set.")
            return redirect(room("contest:setup", contest))
    return show(request, contest, tables_form=form)


@require_POST
@for_parts("organiser")
def setup_one_person(request: Request, contest: Contest) -> HttpResponse:
    form = OnePersonForm(request.POST, prefix="one_person")
    if form.is_valid():
        account = request.viewer.signed_in_account
        try:
            services.declare_one_person(contest=contest, account=account, by=request.viewer.name)
        except ValidationError as error:
            say(form, error)
        else:
            messages.success(request, "Declared a one-person contest. The result says so.")
            return redirect(room("contest:setup", contest))
    return show(request, contest, one_person=form)


@require_POST
@for_parts("organiser")
def setup_delete(request: Request, contest: Contest) -> HttpResponse:
    form = DeleteForm(request.POST, prefix="delete")
    if form.is_valid():
        try:
            services.delete_contest(contest=contest)
        except ValidationError as error:
            say(form, error)
        else:
            messages.success(request, f"{contest.name} is deleted.")
            return redirect("contest:home")
    return show(request, contest, delete=form)


@require_http_methods(["GET", "POST"])
@for_parts("organiser")
def category(request: Request, contest: Contest, key: str = "") -> HttpResponse:
    """One category, new or known."""
    found = get_object_or_404(Category, contest=contest, key=key) if key else None
    if found is None and contest.is_drawn:
        raise Http404("The boxes are drawn.")
    form = CategoryForm(request.POST or None, contest=contest, account=request.viewer.signed_in_account, category=found)
    if request.method == "POST" and form.is_valid():
        try:
            save_category(form, contest, found, by=request.viewer.name)
        except ValidationError as error:
            say(form, error)
        else:
            messages.success(request, "Saved.")
            return redirect(room("contest:setup", contest))
    page = {"contest": contest, "category": found, "form": form}
    return render(request, "contest/category.html", page, status=422 if form.errors else 200)


def save_category(form: CategoryForm, contest: Contest, found: Category | None, *, by: str) -> None:
    fields = dict(form.cleaned_data)
    if "time" in fields:
        time, next_day = fields.pop("time"), fields.pop("next_day")
        try:
            fields["turn_in_at"] = services.local_moment(contest, time, next_day=next_day)
        except ValidationError as error:
            raise ValidationError({"time": error.messages}) from None
    if found is None:
        services.add_category(contest=contest, **fields)
    else:
        services.change_category(category=found, by=by, **fields)


@require_POST
@for_parts("organiser")
def remove_category(request: Request, contest: Contest, key: str) -> HttpResponse:
    found = get_object_or_404(Category, contest=contest, key=key)
    try:
        services.remove_category(category=found)
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    else:
        messages.success(request, f"{found.name} is removed.")
    return redirect(room("contest:setup", contest))


@require_GET
@for_parts("organiser", "head_judge", "tally", "announcer", "desk", "captain", "judge")
def contest_rules_page(request: Request, contest: Contest) -> HttpResponse:
    """The rules of the contest in words, for reading out: every category that has its own, too."""
    own = [each for each in held_categories(contest) if each.rule_set_id and each.rule_set_id != contest.rule_set_id]
    sets = [(contest_rules(contest).name, "", in_words(contest_rules(contest)))]
    sets += [(category_rules(each).name, each.name, in_words(category_rules(each))) for each in own]
    return render(request, "contest/contest_rules.html", {"contest": contest, "sets": sets})


@require_POST
@for_parts("organiser")
def setup_phones(request: Request, contest: Contest) -> HttpResponse:
    on = request.POST.get("phones") == "on"
    try:
        services.switch_phones(contest=contest, on=on, by=request.viewer.name)
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    else:
        note = "Judges may use phones: print the slips of their seats." if on else "Judges mark on paper."
        messages.success(request, note)
    return redirect(f"{room('contest:setup', contest)}#phones")
