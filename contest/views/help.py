"""Help for every page, on the site itself: a field has no internet."""

from django.http import Http404, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from contest.access import Request, anyone
from contest.help_pages import GROUPS, read_page


@require_GET
@anyone
def help_index(request: Request) -> HttpResponse:
    groups = [(title, [read_page(topic) for topic in topics]) for title, topics in GROUPS.items()]
    return render(request, "contest/help.html", {"groups": groups})


@require_GET
@anyone
def help_topic(request: Request, topic: str) -> HttpResponse:
    try:
        page = read_page(topic)
    except KeyError:
        raise Http404("No such page.") from None
    others = next(
        [read_page(other) for other in topics if other != topic] for topics in GROUPS.values() if topic in topics
    )
    return render(request, "contest/help_topic.html", {"page": page, "others": others})
