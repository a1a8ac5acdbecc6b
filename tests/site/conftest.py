"""The demo, built once for all tests that look at it or around in it."""

import subprocess
from pathlib import Path

import pytest

from tests.site.served import command, environment


@pytest.fixture(scope="session")
def demo_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A data folder with the demo in it (in `demo/`), built by its own command."""
    folder = tmp_path_factory.mktemp("demo")
    answer = subprocess.run(
        command("demo", "--build-only"), env=environment(folder), capture_output=True, text=True, timeout=1200
    )
    assert answer.returncode == 0, answer.stdout + answer.stderr
    return folder
