"""System checks: the project does not start with a page that nobody decided about."""

from collections.abc import Iterator
from typing import Any

from django.core.checks import Error, register
from django.urls import URLPattern, URLResolver, get_resolver

from contest.access import Access

#: Django's own admin guards itself; it never registers the sealed models.
EXEMPT_NAMESPACES = {"admin"}


def walk(resolver: URLResolver, prefix: str = "") -> Iterator[tuple[str, URLPattern]]:
    """Every URL pattern outside the exempt namespaces, with the whole of its route."""
    for entry in resolver.url_patterns:
        route = prefix + str(entry.pattern)
        if isinstance(entry, URLResolver):
            if entry.namespace not in EXEMPT_NAMESPACES:
                yield from walk(entry, route)
        else:
            yield route, entry


@register()
def every_view_is_marked(app_configs: Any, **kwargs: Any) -> list[Error]:
    return [
        Error(
            f"The page {route!r} has no access mark.",
            hint="Decorate its view with a mark of contest.access: anyone, signed_in, for_parts or for_team.",
            obj=pattern.callback,
            id="contest.E001",
        )
        for route, pattern in walk(get_resolver())
        if not isinstance(getattr(pattern.callback, "access", None), Access)
    ]
