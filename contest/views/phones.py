"""Judges' phones in the set-up: one switch."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.views.decorators.http import require_POST

from contest.access import for_parts
from contest.models import Contest
from contest.services.phones import switch_phones
from contest.views.setup import room


@require_POST
@for_parts("organiser")
def setup_phones(request: HttpRequest, contest: Contest) -> HttpResponse:
    on = request.POST.get("phones") == "on"
    try:
        switch_phones(contest=contest, on=on, by=request.viewer.name)
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    else:
        said = "Judges may use phones: print the slips of their seats." if on else "Judges mark on paper."
        messages.success(request, said)
    return redirect(f"{room('contest:setup', contest)}#phones")
