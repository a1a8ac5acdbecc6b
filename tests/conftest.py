"""Settings that every test shares."""

import pytest


@pytest.fixture(autouse=True)
def _quick_passwords(settings):
    """Hashing passwords properly takes most of a test's time and proves nothing here."""
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    settings.AXES_ENABLED = False
