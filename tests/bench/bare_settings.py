"""The site's settings with the bench's own addresses beside the site's."""

from contest.config.settings import *  # noqa: F403

ROOT_URLCONF = "tests.bench.bare_urls"
