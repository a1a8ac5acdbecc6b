"""Template tags shared by all apps: the contest's navigation, moments by its clock, figures."""

from datetime import datetime
from typing import Any

from django import template
from django.template import Context

from contest.help_pages import topic_of, url_of
from contest.models import Contest
from contest.navigation import links_for
from contest.rules.draw.commitment import short_form

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


@register.simple_tag(takes_context=True)
def help_url(context: Context) -> str:
    """The address of the help that fits the page; of its index where no page was found."""
    match = getattr(context.get("request"), "resolver_match", None)
    contest = context.get("contest")
    return url_of(topic_of(match.view_name, small=bool(contest and contest.small)) if match else "")


@register.filter
def short(full: str) -> str:
    """Return the short form of a sum for reading and copying: `a1b2 c3d4 e5f6 0718 293a`."""
    return short_form(full)


@register.inclusion_tag("contest/_sum.html")
def both_forms(full: str) -> dict[str, str]:
    """Show a sum's short form, which people copy by hand, and the long one below it."""
    return {"full": full}


@register.filter
def clock(moment: datetime | None, contest: Contest) -> str:
    """`13:05` by the contest's named clock; with the day where it is not the contest's own."""
    if moment is None:
        return ""
    local = contest.local(moment)
    return f"{local:%H:%M}" if local.date() == contest.date else f"{local:%H:%M} on {local:%d %B}"
