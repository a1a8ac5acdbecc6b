"""The library of rule sets: read, download, upload, copy, edit by form or by text."""

from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.utils.text import slugify
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from contest.access import Request, signed_in
from contest.forms.rulesets import RuleSetForm, RuleTextForm, UploadForm
from contest.lists import list_page
from contest.models import Account, Contest, RuleSet
from contest.rules.ruleset import RuleSetError, in_words
from contest.selectors.rules import parsed
from contest.selectors.rulesets import may_read, own_sets, shelved, shipped_sets, used_by
from contest.services import rulesets as services
from contest.views.setup import say


def readable(request: Request, number: int) -> RuleSet:
    """A shipped set, an own one, or one of a contest in which the account does something."""
    found = RuleSet.objects.filter(pk=number).first()
    if found is None or not may_read(request.viewer.signed_in_account, found):
        raise Http404("No such rule set.")
    return found


def owned(request: Request, number: int) -> RuleSet:
    found = readable(request, number)
    if found.owner_id != request.viewer.signed_in_account.pk:
        raise Http404("No such rule set of yours.")
    return found


@require_GET
@signed_in
def rule_sets(request: Request) -> HttpResponse:
    account = request.viewer.signed_in_account
    own = list_page(request, own_sets(account), "Your own rule sets", fields=("name",))
    page = {"shipped": shipped_sets(account), "own": shelved(own.rows), "list": own}
    return render(request, "contest/rule_sets.html", page)


@require_GET
@signed_in
def rule_set(request: Request, number: int) -> HttpResponse:
    """The set in words, and as its document."""
    found = readable(request, number)
    page: dict[str, Any] = {"rule_set": found, "mine": found.owner_id == request.viewer.signed_in_account.pk}
    try:
        page["words"] = in_words(parsed(found.document))
    except RuleSetError as error:  # stored by an older release that allowed it
        page["trouble"] = services.refusal(error)
    contests = used_by(request.viewer.signed_in_account, found)
    page["contests"] = list_page(request, contests, "Contests with this rule set", fields=("name", "place", "date"))
    return render(request, "contest/rule_set.html", page)


@require_GET
@signed_in
def rule_set_download(request: Request, number: int) -> HttpResponse:
    found = readable(request, number)
    name = slugify(found.name) or "rule-set"
    answer = HttpResponse(found.document, content_type="application/toml; charset=utf-8")
    answer["Content-Disposition"] = f'attachment; filename="{name}.toml"'
    return answer


@require_http_methods(["GET", "POST"])
@signed_in
def rule_set_upload(request: Request) -> HttpResponse:
    form = UploadForm(request.POST or None, request.FILES or None)
    if request.method == "POST" and form.is_valid():
        made = store(form, request.viewer.signed_in_account, form.cleaned_data["text"])
        if made:
            messages.success(request, f"{made.name} is in your library.")
            return redirect("contest:rule_set", number=made.pk)
    return render(request, "contest/rule_set_upload.html", {"form": form}, status=422 if form.errors else 200)


def store(form: Any, account: Account, text: str, found: RuleSet | None = None) -> RuleSet | None:
    try:
        return services.store_rule_set(owner=account, text=text, rule_set=found)
    except ValidationError as error:
        say(form, error)
        return None


@require_POST
@signed_in
def rule_set_copy(request: Request, number: int) -> HttpResponse:
    """An own copy of a set, to be changed."""
    made = services.copy_rule_set(owner=request.viewer.signed_in_account, rule_set=readable(request, number))
    messages.success(request, f"This copy is yours: {made.name}. Change what differs, its name too.")
    return redirect("contest:rule_set_edit", number=made.pk)


@require_http_methods(["GET", "POST"])
@signed_in
def rule_set_edit(request: Request, number: int) -> HttpResponse:
    """Change an own set by form, or by text with ?as=text."""
    found = owned(request, number)
    as_text = request.GET.get("as") == "text"
    form = edit_form(found, request.POST or None, as_text)
    if form is None:
        return redirect(f"{request.path}?as=text")
    if request.method == "POST" and form.is_valid():
        text = form.text() if isinstance(form, RuleSetForm) else form.cleaned_data["text"]
        if store(form, request.viewer.signed_in_account, text, found):
            messages.success(request, f"{found.name} is saved.")
            return redirect("contest:rule_set", number=found.pk)
    page = {
        "form": form,
        "rule_set": RuleSet.objects.get(pk=found.pk),
        "as_text": as_text,
        "drawn": found.contests.exclude(state=Contest.State.PREPARING).exists(),
    }
    return render(request, "contest/rule_set_edit.html", page, status=422 if form.errors else 200)


def edit_form(found: RuleSet, data: Any, as_text: bool) -> RuleSetForm | RuleTextForm | None:
    """The form for a set; None where the stored text cannot be shown as fields."""
    if as_text:
        return RuleTextForm(data, initial={"text": found.document})
    try:
        return RuleSetForm(data, rules=parsed(found.document))
    except RuleSetError:
        return None


@require_POST
@signed_in
def rule_set_delete(request: Request, number: int) -> HttpResponse:
    found = owned(request, number)
    try:
        services.delete_rule_set(owner=request.viewer.signed_in_account, rule_set=found)
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
        return redirect("contest:rule_set", number=number)
    messages.success(request, f"{found.name} is deleted.")
    return redirect("contest:rule_sets")
