"""Settings that every test shares."""

import os

import pytest
from hypothesis import settings as hypothesis_settings

# A first import or a busy machine makes one example slow; that says nothing about the rule under test.
hypothesis_settings.register_profile("steady", deadline=None)
hypothesis_settings.load_profile("steady")

# The browser's driver keeps an event loop in the test's thread; the tests themselves are not asynchronous.
os.environ.setdefault("DJANGO_ALLOW_ASYNC_UNSAFE", "1")


@pytest.fixture(autouse=True)
def _quick_passwords(settings):
    """Hashing passwords properly takes most of a test's time and proves nothing here."""
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    settings.AXES_ENABLED = False


@pytest.fixture(scope="session")
def browser_type_launch_args():
    """Debian's Chromium, quiet: it works as root and asks nobody anything."""
    flags = (
        "--no-sandbox --disable-gpu --disable-quic --no-first-run --disable-background-networking "
        "--disable-component-update --disable-sync"
    )
    return {"executable_path": "/usr/bin/chromium", "args": flags.split()}
