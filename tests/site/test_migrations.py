"""The migrations make the tables that the models describe."""

import pytest
from django.core.management import call_command

pytestmark = pytest.mark.django_db


def test_no_migration_is_missing(capsys: pytest.CaptureFixture[str]) -> None:
    call_command("makemigrations", check=True, dry_run=True)  # exits with 1 where one is
    assert "No changes detected" in capsys.readouterr().out
