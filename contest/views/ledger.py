"""The desk on paper: the ledger with its envelope, the labels, and the correction of swapped labels."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_GET, require_http_methods

from contest.access import Request, for_parts
from contest.forms.desk import LabelsForm
from contest.models import Box, Contest
from contest.refusals import Refused
from contest.selectors.boxes import standing_boxes
from contest.selectors.desk import desk_categories, label_corrections
from contest.selectors.draw import standing_draw
from contest.services.desk import correct_labels
from contest.services.log import write_log


@require_GET
@for_parts("desk")
def desk_ledger(request: Request, contest: Contest) -> HttpResponse:
    """Whose box is whose, on paper. Every opening is logged: whoever prints it has seen the whole pairing."""
    if contest.is_drawn:
        write_log(
            contest=contest,
            chain="day",
            what="ledger opened",
            facts={},
            by=request.viewer.name,
            address=request.META.get("REMOTE_ADDR", ""),
        )
    return render(
        request,
        "contest/desk_ledger.html",
        {"contest": contest, "draw": standing_draw(contest), "categories": desk_categories(contest)},
    )


@require_http_methods(["GET", "POST"])
@for_parts("desk")
def desk_labels(request: Request, contest: Contest) -> HttpResponse:
    """The label list, and what to do when two labels were swapped."""
    boxes = standing_boxes(contest).filter(category__cancelled_at__isnull=True).order_by("number")
    if request.method == "POST" and not boxes:  # sent by a page from before boxes or category fell away
        messages.error(request, "There are no boxes now, so there is no label to correct.")
        return redirect("contest:desk_labels", slug=contest.slug)
    form = LabelsForm(request.POST or None)
    if request.method == "POST" and form.is_valid() and _corrected(request, contest, form):
        return redirect("contest:desk_labels", slug=contest.slug)
    return render(
        request,
        "contest/desk_labels.html",
        {
            "contest": contest,
            "form": form,
            "draw": standing_draw(contest),
            "boxes": boxes,
            "corrections": label_corrections(contest),
        },
        status=422 if form.errors else 200,
    )


def _corrected(request: Request, contest: Contest, form: LabelsForm) -> bool:
    boxes: dict[str, Box] = {box.number: box for box in standing_boxes(contest)}
    for name in ("one", "other"):
        if form.cleaned_data[name] not in boxes:
            form.add_error(name, f"There is no box {form.cleaned_data[name]} in this contest. Read the label again.")
    if form.errors:
        return False
    one, other = boxes[form.cleaned_data["one"]], boxes[form.cleaned_data["other"]]
    try:
        correct_labels(
            contest=contest, one=one, other=other, reason=form.cleaned_data["reason"], by=request.viewer.name
        )
    except Refused as error:
        form.add_error(None, str(error))
        return False
    messages.success(request, f"Labels {one.number} and {other.number} are corrected: each belongs to the other team.")
    if not contest.is_sealed:
        messages.warning(
            request, "The tally is closed: ask the organiser to make a revision, or the result stays as it is."
        )
    return True
