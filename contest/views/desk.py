"""The turn-in desk: take a box in, take a mistake back, mark who did not come. Nothing here shows a mark."""

from datetime import datetime
from urllib.parse import urlencode

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from contest.access import Request, for_parts
from contest.forms.desk import RecordForm, UndoForm
from contest.models import Box, Contest
from contest.present import present
from contest.refusals import Refused
from contest.selectors.boxes import standing_boxes
from contest.selectors.desk import DeskCategory, desk_categories, find_box, last_recorded, standing_turn_ins
from contest.selectors.windows import Window, moment_near, nearest_window
from contest.services import desk as services


@require_GET
@for_parts("desk")
def desk(request: Request, contest: Contest) -> HttpResponse:
    return show_desk(request, contest, key=request.GET.get("category", ""), typed=request.GET.get("team", ""))


def show_desk(
    request: Request,
    contest: Contest,
    *,
    key: str,
    typed: str,
    form: RecordForm | None = None,
    status: int = 200,
) -> HttpResponse:
    """The desk's page for one category: the one asked for, or the one whose window is nearest."""
    now = timezone.now()
    categories = desk_categories(contest)
    nearest = nearest_window(contest, now)
    shown = _shown(categories, key, nearest)
    if shown is None:
        return render(request, "contest/desk_empty.html", {"contest": contest})
    found, why = find_box(shown, categories, typed) if typed.strip() else (None, "")
    window = Window(shown.category)
    return render(
        request,
        "contest/desk.html",
        {
            "contest": contest,
            "categories": categories,
            "shown": shown,
            "follows_clock": nearest is not None and nearest.category == shown.category,
            "open_elsewhere": _open_elsewhere(nearest, shown, now),
            "window": window,
            "window_state": window.state(now),
            "now": now,
            "now_ms": int(now.timestamp() * 1000),
            "opens_ms": int(window.opens.timestamp() * 1000),
            "closes_ms": int(window.closes.timestamp() * 1000),
            "typed": typed,
            "found": found,
            "why": why,
            "form": form,
            "last": last_recorded(contest),
            "left": sum(len(each.to_come) for each in categories),
        },
        status=422 if why else status,
    )


def _shown(categories: list[DeskCategory], key: str, nearest: Window | None) -> DeskCategory | None:
    wanted = key or (nearest.category.key if nearest else "")
    by_key = {each.category.key: each for each in categories}
    return by_key.get(wanted) or (categories[0] if categories else None)


def _open_elsewhere(nearest: Window | None, shown: DeskCategory, now: datetime) -> Window | None:
    """The open window of another category than the one shown: a tired person may not have noticed."""
    if nearest is None or nearest.category == shown.category or nearest.state(now) != "open":
        return None
    return nearest


def desk_url(contest: Contest, key: str = "") -> str:
    """The desk's page; the category stands in the address only when the clock would choose another."""
    nearest = nearest_window(contest, timezone.now())
    url = reverse("contest:desk", args=[contest.slug])
    if key and (nearest is None or nearest.category.key != key):
        return f"{url}?{urlencode({'category': key})}"
    return url


@require_POST
@for_parts("desk")
def desk_record(request: Request, contest: Contest) -> HttpResponse:
    form = RecordForm(request.POST)
    key, typed = request.POST.get("category", ""), request.POST.get("team", "")
    if not form.is_valid():
        if set(form.errors) - {"handed_in", "reason"}:
            messages.error(request, "That did not come through. Nothing was recorded; type the team's number again.")
            return redirect(desk_url(contest, key))
        return show_desk(request, contest, key=key, typed=typed, form=form, status=422)
    box = _box_as_seen(contest, form)
    if box is None:
        messages.error(
            request, "Box and team no longer belong together as this page showed them. Type the team's number again."
        )
        return redirect(desk_url(contest, key))
    clock = form.cleaned_data["handed_in"]
    try:
        row = services.record_turn_in(
            contest=contest,
            box=box,
            status=form.cleaned_data["status"],
            by=request.viewer.name,
            handed_in_at=moment_near(contest, box.category.turn_in_at, clock) if clock else None,
            typed=clock is not None,
            reason=form.cleaned_data["reason"],
        )
    except Refused as error:
        messages.warning(request, str(error))
    else:
        said = f"Box {box.number} {services.WORDS[row.status]}: {box.category.name}, team {form.cleaned_data['team']}"
        onward = f", goes to table {present(box.table).number}." if row.status == "accepted" else "."
        messages.success(request, said + onward)
    return redirect(desk_url(contest, key))


def _box_as_seen(contest: Contest, form: RecordForm) -> Box | None:
    """The box of the form, if it still is the box of the form's team in the form's category."""
    for each in desk_categories(contest):
        for row in each.rows:
            if row.box.number == form.cleaned_data["box"]:
                same = (each.category.key, row.entry.number) == (
                    form.cleaned_data["category"],
                    form.cleaned_data["team"],
                )
                return row.box if same else None
    return None


@require_http_methods(["GET", "POST"])
@for_parts("desk")
def desk_undo(request: Request, contest: Contest, number: str) -> HttpResponse:
    """Ask for the reason, then take the standing entry of a box back."""
    box = get_object_or_404(standing_boxes(contest), number=number)
    form = UndoForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            services.undo_turn_in(contest=contest, box=box, reason=form.cleaned_data["reason"], by=request.viewer.name)
        except Refused as error:
            messages.warning(request, str(error))
        else:
            messages.success(request, f"Undone: box {number} is to come again.")
        return redirect(desk_url(contest, box.category.key))
    turn_in = standing_turn_ins(contest).get(box.pk)
    return render(
        request,
        "contest/desk_undo.html",
        {
            "contest": contest,
            "box": box,
            "turn_in": turn_in,
            "words": services.WORDS.get(turn_in.status) if turn_in else "",
            "form": form,
            "back": desk_url(contest, box.category.key),
        },
        status=422 if form.errors else 200,
    )


@require_POST
@for_parts("desk")
def desk_absent(request: Request, contest: Contest) -> HttpResponse:
    """The ticked boxes did not come."""
    key = request.POST.get("category", "")
    boxes = list(standing_boxes(contest).filter(category__key=key, number__in=request.POST.getlist("absent")))
    if not boxes:
        messages.warning(request, "Tick the teams whose box did not come, then press the button.")
        return redirect(desk_url(contest, key))
    try:
        count = services.mark_absent(contest=contest, boxes=boxes, by=request.viewer.name)
    except Refused as error:
        messages.warning(request, str(error))
    else:
        messages.success(request, f"{count} {'box' if count == 1 else 'boxes'} marked absent.")
    return redirect(desk_url(contest, key))


@require_http_methods(["GET", "POST"])
@for_parts("desk")
def desk_rest(request: Request, contest: Contest) -> HttpResponse:
    """The paper desk's last step: everything not recorded otherwise came in on time."""
    if request.method == "POST":
        try:
            count = services.rest_in_time(contest=contest, by=request.viewer.name)
        except Refused as error:
            messages.warning(request, str(error))
        else:
            messages.success(request, f"{count} {'box' if count == 1 else 'boxes'} recorded as in on time.")
        return redirect("contest:desk", slug=contest.slug)
    categories = desk_categories(contest)
    otherwise = [row for each in categories for row in each.rows if row.turn_in and row.turn_in.status != "accepted"]
    return render(
        request,
        "contest/desk_rest.html",
        {
            "contest": contest,
            "categories": categories,
            "left": sum(len(each.to_come) for each in categories),
            "otherwise": otherwise,
        },
    )
