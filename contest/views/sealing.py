"""Opening the seal early: a page that is asked for, never met by accident."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from contest.access import Request, for_parts
from contest.forms.draw import OpenSealForm
from contest.models import Contest
from contest.selectors.opened import named_boxes
from contest.services.sealing import open_seal
from contest.views.setup import say


@require_http_methods(["GET", "POST"])
@for_parts("organiser")
def seal(request: Request, contest: Contest) -> HttpResponse:
    """What opening it means, then the question; afterwards whose box is whose."""
    form = OpenSealForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            open_seal(contest=contest, by=request.viewer.name, **form.cleaned_data)
        except ValidationError as error:
            say(form, error)
        else:
            messages.success(request, "The seal is open. The result says so.")
            return redirect("contest:seal", contest.slug)
    context = {"contest": contest, "form": form, "categories": named_boxes(contest)}
    return render(request, "contest/seal.html", context, status=422 if form.errors else 200)
