"""`serve` as a real process: a page, its worker, what happens when the worker or the server is ended."""

import os
import re
import signal
import socket
import subprocess
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from contest import serving
from tests.site.served import Served, command, environment, rows, wait_for


@pytest.fixture
def served(tmp_path: Path) -> Iterator[Served]:
    site = Served(tmp_path, "--loopback")
    yield site
    site.close()


def alive(pid: int) -> bool:
    try:
        return Path(f"/proc/{pid}/stat").read_text().rsplit(") ", 1)[1][0] != "Z"
    except FileNotFoundError:
        return False


def test_a_page_and_its_stylesheet_are_served_and_the_worker_does_the_upkeep(served: Served, tmp_path: Path) -> None:
    status, text, _ = served.fetch("/sign-in/")
    assert (status, "Sign in" in text) == (200, True)
    status, text, headers = served.fetch("/static/contest/fairbox.css")
    assert (status, headers["Content-Type"]) == (200, 'text/css; charset="utf-8"')
    done = wait_for(
        lambda: (
            rows(tmp_path, "select task_path from django_tasks_database_dbtaskresult where status = 'SUCCESSFUL'")
            or rows(tmp_path, "select task_path from django_tasks_database_dbtaskresult where status = 'FAILED'")
        )
    )
    assert done == [("contest.tasks.upkeep",)]
    assert rows(tmp_path, "select count(*) from django_tasks_database_dbtaskresult where status = 'SUCCESSFUL'") == [
        (1,)
    ]


def test_a_host_name_that_is_not_its_own_is_refused(served: Served) -> None:
    assert served.fetch("/sign-in/", host="elsewhere.example")[0] == 400


def test_a_worker_that_dies_is_started_again(served: Served) -> None:
    (first,) = wait_for(served.workers)
    os.kill(first, signal.SIGKILL)
    (second,) = wait_for(lambda: [pid for pid in served.workers() if pid != first])
    assert second != first
    assert "The background worker ended (code -9)" in served.output()


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_ending_the_server_ends_the_worker(served: Served, number: int) -> None:
    (worker,) = wait_for(served.workers)
    assert served.end(number) == 0
    wait_for(lambda: not alive(worker), 20)
    assert "Traceback" not in served.output()
    assert "Fatal" not in served.output()


def test_the_worker_ends_even_where_the_server_is_killed(served: Served) -> None:
    (worker,) = wait_for(served.workers)
    served.end(signal.SIGKILL)
    wait_for(lambda: not alive(worker), 30)


def refused(data: Path, *arguments: str, **more: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        command("serve", *arguments), env=environment(data, **more), capture_output=True, text=True, timeout=120
    )


def test_a_busy_port_is_named_with_the_way_out_and_nothing_is_started(tmp_path: Path) -> None:
    with socket.socket() as busy:
        busy.bind(("127.0.0.1", 0))
        busy.listen()
        port = busy.getsockname()[1]
        answer = refused(tmp_path, "--loopback", "--port", str(port))
    assert answer.returncode == 1
    assert f"Port {port} is busy" in answer.stderr
    assert f"--port {port + 1}" in answer.stderr
    assert not (tmp_path / "fairbox.sqlite3").exists()


def test_debug_mode_and_impossible_ports_are_refused(tmp_path: Path) -> None:
    assert "FAIRBOX_DEBUG" in refused(tmp_path, "--loopback", FAIRBOX_DEBUG="1").stderr
    assert "a port is a number from 1 to 65535" in refused(tmp_path, "--port", "70000").stderr


def test_the_secret_key_is_made_once_and_readable_by_its_owner_only(tmp_path: Path) -> None:
    for _ in range(2):
        site = Served(tmp_path, "--loopback")
        key = (tmp_path / "secret.key").read_text()
        site.end()
        site.log.close()
        assert len(key) >= 50
    assert (tmp_path / "secret.key").read_text() == key
    assert (tmp_path / "secret.key").stat().st_mode & 0o777 == 0o600


def test_the_network_address_is_shown_and_a_change_is_a_loud_warning(tmp_path: Path) -> None:
    (tmp_path / "address.txt").write_text("http://192.0.2.77:8000/\n")
    site = Served(tmp_path, "--host", "field.example")
    text = site.output()
    assert f"http://field.example:{site.port}/" in text
    assert "▄" in text
    assert "THE ADDRESS HAS CHANGED" in text
    assert "http://192.0.2.77:8000/" in text
    assert site.fetch("/sign-in/", host="field.example")[0] == 200
    site.end()
    site.log.close()
    assert re.fullmatch(r"http://field\.example:\d+/\n", (tmp_path / "address.txt").read_text())


def test_an_address_that_stays_gives_no_warning(tmp_path: Path) -> None:
    file = tmp_path / "address.txt"
    assert serving.changed_address(file, "http://192.0.2.1:8000/") is None
    assert serving.changed_address(file, "http://192.0.2.1:8000/") is None
    assert serving.changed_address(file, "http://192.0.2.9:8000/") == "http://192.0.2.1:8000/"


def test_headers_of_a_proxy_count_only_where_one_was_announced(settings: Any) -> None:
    settings.HTTPS = False
    assert "trusted_proxy" not in serving.proxy_options()
    assert serving.proxy_options()["clear_untrusted_proxy_headers"] is True
    settings.HTTPS = True
    assert serving.proxy_options()["trusted_proxy"] == "127.0.0.1"
