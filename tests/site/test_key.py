"""The installation's key: one for all processes, whoever is first."""

import os
import subprocess
import sys
from pathlib import Path

import pytest
from django.conf import settings
from django.core.exceptions import ImproperlyConfigured

from contest.config.settings import kept_secret

LOOK = "from contest.config.settings import SECRET_KEY; print(SECRET_KEY)"


def test_processes_that_start_at_once_share_one_key(tmp_path: Path) -> None:
    env = {**os.environ, "FAIRBOX_DATA": str(tmp_path / "data"), "PYTHONPATH": str(settings.BASE_DIR)}
    env.pop("FAIRBOX_SECRET_KEY", None)
    started = [
        subprocess.Popen([sys.executable, "-c", LOOK], env=env, cwd=tmp_path, stdout=subprocess.PIPE) for _ in range(4)
    ]
    keys = {process.communicate(timeout=60)[0] for process in started}
    assert keys == {(tmp_path / "data/secret.key").read_bytes() + b"\n"}
    assert (tmp_path / "data/secret.key").stat().st_mode & 0o777 == 0o600


def test_an_empty_key_is_said_and_never_used(tmp_path: Path) -> None:
    (tmp_path / "secret.key").touch()
    with pytest.raises(ImproperlyConfigured, match="is empty"):
        kept_secret(tmp_path / "secret.key")
