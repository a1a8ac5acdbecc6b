"""Settings that every test shares."""

import gc
import os
import signal

import pytest
from django.core.management.commands import flush
from django.db import connection
from hypothesis import settings as hypothesis_settings
from whitenoise.middleware import WhiteNoiseMiddleware

# A first import or a busy machine makes one example slow; that says nothing about the rule under test.
hypothesis_settings.register_profile("steady", deadline=None)
hypothesis_settings.load_profile("steady")

# Thousands of rows and pages live for one test: looking through all of them for circles took a fifth of the time.
gc.collect()
gc.freeze()
gc.set_threshold(50_000)

# As manage.py does, before numpy is there: on a busy machine threads that wait for each other cost ten times as much.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

# A suite that a script starts in the background ignores interrupts, and so would every server that it starts and ends.
signal.signal(signal.SIGINT, signal.default_int_handler)

# The browser's driver keeps an event loop in the test's thread; the tests themselves are not asynchronous.
os.environ.setdefault("DJANGO_ALLOW_ASYNC_UNSAFE", "1")


@pytest.fixture(autouse=True)
def _quick_passwords(settings):
    """Hashing passwords properly takes most of a test's time and proves nothing here."""
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    settings.AXES_ENABLED = False


@pytest.fixture(autouse=True, scope="session")
def _static_files_are_listed_once():
    """Every client of a test starts the whole site, which then looks for its static files: a third of many a test."""
    search = WhiteNoiseMiddleware.add_files_from_finders
    listed = {}

    def search_once(site):
        if not listed:
            search(site)
            listed.update(site.files)
        site.files.update(listed)

    WhiteNoiseMiddleware.add_files_from_finders = search_once
    yield
    WhiteNoiseMiddleware.add_files_from_finders = search


@pytest.fixture(autouse=True, scope="session")
def _emptied_tables():
    """Emptying every table after a test that commits is what the append-only triggers refuse: they step aside."""
    from contest import appendonly

    empty = flush.Command.handle

    def step_aside(command, **options):
        with appendonly.aside(connection):
            empty(command, **options)

    flush.Command.handle = step_aside
    yield
    flush.Command.handle = empty


#: Debian's Chromium, quiet: it works as root and asks nobody anything. `field.test` is a name like a laptop's at a
#: field: over plain HTTP it is no secure context, unlike 127.0.0.1.
CHROMIUM = {
    "executable_path": "/usr/bin/chromium",
    "args": [
        "--no-sandbox",
        "--disable-gpu",
        "--disable-quic",
        "--no-first-run",
        "--disable-background-networking",
        "--disable-component-update",
        "--disable-sync",
        "--host-resolver-rules=MAP field.test 127.0.0.1",
    ],
}


@pytest.fixture(scope="session")
def browser_type_launch_args():
    return CHROMIUM
