"""Template tags shared by all apps: the contest's navigation, moments by its clock, figures."""

from datetime import datetime
from typing import Any

from django import template
from django.template import Context

from contest.models import Contest
from contest.navigation import links_for

register = template.Library()


@register.simple_tag(takes_context=True)
def nav_links(context: Context) -> list[dict[str, Any]]:
    """The rooms of the contest that the viewer may enter, the current one marked."""
    request = context.get("request")
    contest = context.get("contest")
    if request is None or contest is None:
        return []
    return [
        {"name": link.name, "url": link.url, "here": request.path == link.url}
        for link in links_for(contest, request.viewer)
    ]


@register.filter
def clock(moment: datetime | None, contest: Contest) -> str:
    """`13:05` by the contest's named clock; with the day where it is not the contest's own."""
    if moment is None:
        return ""
    local = contest.local(moment)
    return f"{local:%H:%M}" if local.date() == contest.date else f"{local:%H:%M} on {local:%d %B}"
