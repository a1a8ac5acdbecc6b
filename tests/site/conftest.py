"""The demo, built once for all tests that look at it or around in it."""

import logging
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest
from django.test import client

from contest.selectors.setup import zone_choices
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


@pytest.fixture
def few_zones() -> Iterator[None]:
    """Two time zones instead of six hundred: most of a page that offers them all is their list."""
    offered = zone_choices()
    everything = list(offered)
    offered[:] = [("UTC", "UTC"), ("Europe/Lisbon", "Europe/Lisbon")]
    yield
    offered[:] = everything


@pytest.fixture
def unrecorded(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Thousands of requests: nobody needs to know which templates they used, nor to read of each refusal."""
    monkeypatch.setattr(client, "store_rendered_templates", lambda *asked, **more: None)
    logging.disable(logging.CRITICAL)
    yield
    logging.disable(logging.NOTSET)
