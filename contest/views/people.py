"""The organiser's lists: the teams of a contest, and its judges."""

from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_POST

from contest.access import Request, for_parts
from contest.forms.people import JudgeForm, TeamForm, WithdrawForm, show_refusal
from contest.models import Attendance, Category, Contest, Entered, Entry
from contest.selectors import people as selectors
from contest.selectors.seating import sittings
from contest.services import people as services
from contest.services.erasing import erase_judge


def status_of(*forms: object) -> int:
    """A form that was refused is answered with 422, and keeps everything typed."""
    return 422 if any(getattr(form, "errors", None) for form in forms) else 200


# Teams


@require_http_methods(["GET", "POST"])
@for_parts("organiser")
def teams(request: Request, contest: Contest) -> HttpResponse:
    """The list, and one more team."""
    form = TeamForm(request.POST or None, contest=contest)
    if request.method == "POST" and form.is_valid():
        try:
            entry = services.add_entry(contest=contest, **form.cleaned_data)
        except ValidationError as error:
            show_refusal(form, error)
        else:
            messages.success(request, f"{entry.team} is entered as number {entry.number}.")
            return redirect("contest:teams", contest.slug)
    return _teams_page(request, contest, form)


def _teams_page(request: Request, contest: Contest, form: TeamForm) -> HttpResponse:
    categories = list(contest.categories.all())
    rows = []
    for entry in selectors.entries(contest):
        entered = {row.category_id: row for row in entry.entered.all()}
        rows.append((entry, [(category, entered.get(category.pk)) for category in categories]))
    totals = [
        len([row for row in (cells[place][1] for _, cells in rows) if row is not None and not row.withdrawn_at])
        for place in range(len(categories))
    ]
    context = {"contest": contest, "categories": categories, "rows": rows, "totals": totals, "form": form}
    return render(request, "contest/teams.html", context, status=status_of(form))


@require_POST
@for_parts("organiser")
def team_ticks(request: Request, contest: Contest) -> HttpResponse:
    """Which categories each team enters: what was ticked or unticked since the page was shown."""
    shown, ticked = set(request.POST.getlist("shown")), set(request.POST.getlist("in"))
    entries = {str(entry.pk): entry for entry in contest.entries.all()}
    categories = {str(category.pk): category for category in contest.categories.all()}
    add = [
        (entries[entry], categories[category])
        for entry, _, category in (cell.partition("-") for cell in sorted(ticked - shown))
        if entry in entries and category in categories
    ]
    gone = shown - ticked
    rows = Entered.objects.filter(entry__contest=contest, withdrawn_at=None)
    drop = [row for row in rows if f"{row.entry_id}-{row.category_id}" in gone]
    try:
        services.change_categories(contest=contest, add=add, drop=drop)
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    else:
        messages.success(request, f"Saved: {len(add)} entered, {len(drop)} taken out.")
    return redirect("contest:teams", contest.slug)


@require_http_methods(["GET", "POST"])
@for_parts("organiser")
def team(request: Request, contest: Contest, number: int) -> HttpResponse:
    """One team's particulars."""
    entry = get_object_or_404(selectors.entries(contest), number=number)
    form = TeamForm(request.POST or None, contest=contest, entry=entry)
    if request.method == "POST" and form.is_valid():
        try:
            services.change_entry(entry=entry, by=request.viewer.name, **form.cleaned_data)
        except ValidationError as error:
            show_refusal(form, error)
        else:
            messages.success(request, f"{entry.team} is saved.")
            return redirect("contest:teams", contest.slug)
        entry = get_object_or_404(selectors.entries(contest), number=number)
    return _team_page(request, contest, entry, form, WithdrawForm(entry=entry))


def _team_page(
    request: Request, contest: Contest, entry: Entry, form: TeamForm, withdraw_form: WithdrawForm
) -> HttpResponse:
    context = {
        "contest": contest,
        "entry": entry,
        "entered": [row for row in entry.entered.all() if row.withdrawn_at is None],
        "withdrawn": [row for row in entry.entered.all() if row.withdrawn_at is not None],
        "elsewhere": entry.team.entries.exclude(pk=entry.pk).exists(),
        "form": form,
        "withdraw_form": withdraw_form,
    }
    return render(request, "contest/team.html", context, status=status_of(form, withdraw_form))


@require_POST
@for_parts("organiser")
def team_withdraw(request: Request, contest: Contest, number: int) -> HttpResponse:
    entry = get_object_or_404(selectors.entries(contest), number=number)
    form = WithdrawForm(request.POST, entry=entry)
    if form.is_valid():
        try:
            services.withdraw(entry=entry, by=request.viewer.name, **form.cleaned_data)
        except ValidationError as error:
            show_refusal(form, error)
        else:
            messages.success(request, f"{entry.team} withdrew; the day's log says why.")
            return redirect("contest:team", contest.slug, number)
    return _team_page(request, contest, entry, TeamForm(contest=contest, entry=entry), form)


@require_POST
@for_parts("organiser")
def team_back_in(request: Request, contest: Contest, number: int, key: str) -> HttpResponse:
    entry = get_object_or_404(Entry, contest=contest, number=number)
    category = get_object_or_404(Category, contest=contest, key=key)
    try:
        services.take_back_withdrawal(entry=entry, category=category, by=request.viewer.name)
        messages.success(request, f"{entry.team} takes part in {category} again.")
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    return redirect("contest:team", contest.slug, number)


@require_POST
@for_parts("organiser")
def team_remove(request: Request, contest: Contest, number: int) -> HttpResponse:
    entry = get_object_or_404(Entry, contest=contest, number=number)
    name = str(entry.team)
    try:
        services.remove_entry(entry=entry)
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
        return redirect("contest:team", contest.slug, number)
    messages.success(request, f"{name} is off the list.")
    return redirect("contest:teams", contest.slug)


# Judges


@require_http_methods(["GET", "POST"])
@for_parts("organiser")
def judges(request: Request, contest: Contest) -> HttpResponse:
    """The list, and one more judge."""
    form = JudgeForm(request.POST or None, contest=contest)
    if request.method == "POST" and form.is_valid():
        try:
            judge = services.add_judge(contest=contest, **form.cleaned_data)
        except ValidationError as error:
            show_refusal(form, error)
        else:
            messages.success(request, f"{judge} is on the list.")
            return redirect("contest:judges", contest.slug)
    places: dict[int, str] = {}
    seats = {seat.pk: seat for table in contest.tables.prefetch_related("seats__table") for seat in table.seats.all()}
    for (seat, _), sitting in sittings(contest).items():
        if sitting.judge_id:
            places[sitting.judge_id] = f"{seats[seat].table.number}{seats[seat].letter}"
    close = selectors.teams_in_conflict(contest)
    rows = [(row, close.get(row.judge_id, []), places.get(row.judge_id, "")) for row in selectors.attendances(contest)]
    context = {"contest": contest, "rows": rows, "form": form, "present": sum(1 for row, *_ in rows if not row.absent)}
    return render(request, "contest/judges.html", context, status=status_of(form))


@require_POST
@for_parts("organiser")
def judge_ticks(request: Request, contest: Contest) -> HttpResponse:
    """Who is absent: what was ticked or unticked since the page was shown."""
    shown, ticked = set(request.POST.getlist("shown")), set(request.POST.getlist("absent"))
    rows = {str(row.judge.uid): row.judge for row in selectors.attendances(contest)}
    unseated = services.mark_absent(
        contest=contest,
        absent=[rows[uid] for uid in ticked - shown if uid in rows],
        present=[rows[uid] for uid in shown - ticked if uid in rows],
    )
    text = "Saved."
    if unseated:
        text += f" Taken off their seats: {unseated}."
    elif contest.is_drawn and ticked - shown:
        text += " Seats stay as they are after the draw: replace the judge on the seating page."
    messages.success(request, text)
    return redirect("contest:judges", contest.slug)


@require_http_methods(["GET", "POST"])
@for_parts("organiser")
def judge(request: Request, contest: Contest, uid: UUID) -> HttpResponse:
    """One judge's particulars."""
    row = get_object_or_404(Attendance.objects.select_related("judge"), contest=contest, judge__uid=uid)
    form = JudgeForm(request.POST or None, contest=contest, judge=row.judge)
    if request.method == "POST" and form.is_valid():
        try:
            unseated = services.change_judge(
                contest=contest, judge=row.judge, by=request.viewer.name, **form.cleaned_data
            )
        except ValidationError as error:
            show_refusal(form, error)
        else:
            seat = " and is no longer seated" if unseated else ""
            messages.success(request, f"{row.judge} is saved{seat}.")
            return redirect("contest:judges", contest.slug)
    context = {"contest": contest, "row": row, "form": form, "elsewhere": row.judge.attendances.count() > 1}
    return render(request, "contest/judge.html", context, status=status_of(form))


@require_POST
@for_parts("organiser")
def judge_remove(request: Request, contest: Contest, uid: UUID) -> HttpResponse:
    row = get_object_or_404(Attendance.objects.select_related("judge"), contest=contest, judge__uid=uid)
    try:
        services.remove_judge(contest=contest, judge=row.judge)
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
        return redirect("contest:judge", contest.slug, uid)
    messages.success(request, f"{row.judge} is off the list.")
    return redirect("contest:judges", contest.slug)


@require_POST
@for_parts("organiser")
def judge_erase(request: Request, contest: Contest, uid: UUID) -> HttpResponse:
    """A person's wish: the name goes from every contest, marks and results stay."""
    row = get_object_or_404(Attendance.objects.select_related("judge"), contest=contest, judge__uid=uid)
    try:
        erase_judge(judge=row.judge)
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
        return redirect("contest:judge", contest.slug, uid)
    messages.success(request, "The name is erased.")
    return redirect("contest:judges", contest.slug)
