"""The head judge: calls that wait, rulings by box number."""

import hashlib
from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.db import transaction
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods

from contest.access import Request, for_parts
from contest.models import Box, Contest
from contest.refusals import Refused
from contest.selectors.rules import category_rules
from judging.forms.rulings import KINDS, RulingForm
from judging.models import Call, Ruling
from judging.selectors.rulings import in_words, open_calls
from judging.selectors.tables import BoxPanel, box_panel, find_box
from judging.services.captain import answer_call
from judging.services.rulings import rule, rule_cards, rule_no_portion, withdraw_ruling


@require_http_methods(["GET", "POST"])
@for_parts("head_judge")
def rulings(request: Request, contest: Contest) -> HttpResponse:
    """Open calls, the box that is ruled on, and every ruling of the day."""
    typed = (request.POST.get("box") or request.GET.get("box", "")).strip()
    box = find_box(contest, typed) if typed else None
    error = f"There is no box {typed[:20]} in this contest: read the number again." if typed and box is None else ""
    panel = box_panel(contest, box) if box else None
    form = _form(panel) if panel else None
    if request.method == "POST":
        try:
            form, said = _do(request, contest, panel)
        except Refused as refused:
            error = error or str(refused)
            form = _form(panel, request.POST) if panel and request.POST.get("do") == "rule" else form
        else:
            if said:
                messages.success(request, said)
                return redirect(_address(contest, box))
    return render(
        request,
        "judging/rulings.html",
        {
            "contest": contest,
            "typed": typed,
            "panel": panel,
            "form": form,
            "error": error,
            "rulings": _all_rulings(contest),
            **_calls_context(contest),
        },
        status=422 if error or (form is not None and form.errors) else 200,
    )


def _form(panel: BoxPanel, data: Any = None) -> RulingForm:
    return RulingForm(data, rules=category_rules(panel.box.category), seats=panel.seats)


def _address(contest: Contest, box: Box | None) -> str:
    address = reverse("judging:rulings", args=[contest.slug])
    return f"{address}?box={box.number}" if box else address


def _do(request: Request, contest: Contest, panel: BoxPanel | None) -> tuple[RulingForm | None, str]:
    """Do what was posted; the words to say, or the form with its errors."""
    what, by = request.POST.get("do"), request.viewer.name
    if what == "answer":
        call = get_object_or_404(Call, contest=contest, pk=_number(request.POST.get("call")))
        answer_call(call=call, answer=request.POST.get("answer", ""), by=by)
        return None, f"The call of table {call.table.number} is answered."
    if what == "withdraw":
        ruling = get_object_or_404(Ruling, contest=contest, pk=_number(request.POST.get("ruling")))
        withdraw_ruling(ruling=ruling, reason=request.POST.get("reason", ""), by=by)
        return None, f"Taken back: {ruling.box.number}, {in_words(ruling)}."
    if panel is None:
        raise Refused("Type the number of the box first.")
    form = _form(panel, request.POST)
    if not form.is_valid():
        return form, ""
    try:
        with transaction.atomic():
            made = _rule(contest, panel, form.cleaned_data, by)
            said = ", ".join(in_words(ruling) for ruling in made)
            for call in open_calls(contest).filter(box=panel.box):
                answer_call(call=call, answer=said, by=by)
    except ValidationError as invalid:
        raise Refused(" ".join(invalid.messages)) from None
    return form, f"Ruled: {panel.box.number}, {said}."


def _number(text: str | None) -> int:
    return int(text) if text and text.isdigit() and len(text) < 19 else 0


def _rule(contest: Contest, panel: BoxPanel, given: dict[str, Any], by: str) -> list[Ruling]:
    what, reason = given["what"], given["reason"]
    seats = [seat for seat in panel.seats if seat.letter in given["seats"]]
    kind, scope = KINDS[what]
    if what == "portions":
        return rule_no_portion(contest=contest, box=panel.box, seats=seats, reason=reason, by=by)
    if what == "penalty-card" or scope == Ruling.Scope.CARD:
        return rule_cards(contest=contest, kind=kind, box=panel.box, seats=seats, reason=reason, by=by)
    criterion = given.get("criterion", "") if scope == Ruling.Scope.CRITERION else ""
    return [rule(contest=contest, kind=kind, scope=scope, box=panel.box, criterion=criterion, reason=reason, by=by)]


def _all_rulings(contest: Contest) -> list[Ruling]:
    found = Ruling.objects.filter(contest=contest).select_related("box__category", "box__table", "seat")
    rows = list(found.order_by("box__category__order", "box__table__number", "box__number", "id"))
    for ruling in rows:
        ruling.said = in_words(ruling)
    return rows


def _calls_context(contest: Contest) -> dict[str, object]:
    calls = list(open_calls(contest))
    shown = [(call.pk, call.table.number, call.about, call.box and call.box.number, call.text) for call in calls]
    return {"calls": calls, "seen": hashlib.sha256(repr(shown).encode()).hexdigest()[:16]}


@require_GET
@for_parts("head_judge")
def calls(request: Request, contest: Contest) -> HttpResponse:
    """The open calls, polled; 204 while the page shows them all."""
    context = _calls_context(contest)
    if request.GET.get("seen") == context["seen"]:
        return HttpResponse(status=204)
    return render(request, "judging/_calls.html", {"contest": contest, **context})
