"""The site as a real process on a data folder of its own, for tests that want the whole of it."""

import os
import signal
import socket
import sqlite3
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Callable
from pathlib import Path
from typing import Any

SITE = str(Path(__file__).resolve().parents[2])


def free_port() -> int:
    with socket.socket() as sock:
        sock.bind(("127.0.0.1", 0))
        return int(sock.getsockname()[1])


def wait_for(check: Callable[[], Any], seconds: float = 60, every: float = 0.1) -> Any:
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if found := check():
            return found
        time.sleep(every)
    raise AssertionError("waited in vain")


def environment(data: Path, **more: str) -> dict[str, str]:
    kept = {key: value for key, value in os.environ.items() if not key.startswith(("FAIRBOX", "DATABASE"))}
    return {
        **kept, "FAIRBOX_DATA": str(data), "DJANGO_SETTINGS_MODULE": "contest.config.settings",
        "PYTHONPATH": SITE, "PYTHONIOENCODING": "utf-8", **more,
    }  # fmt: skip


def command(*arguments: str) -> list[str]:
    return [sys.executable, f"{SITE}/manage.py", *arguments]


class Served:
    """`manage.py serve` (or `demo`) on a free port; `data` is the folder of FAIRBOX_DATA."""

    def __init__(
        self,
        data: Path,
        *arguments: str,
        start: str = "serve",
        seconds: float = 120,
        port: int = 0,
        program: list[str] | None = None,
        env: dict[str, str] | None = None,
        **more: str,
    ) -> None:
        """`program` is started in place of manage.py, in `env` in place of `environment`; `more` goes into either."""
        self.port = port or free_port()
        self.output_file = data / "output.txt"
        self.log = self.output_file.open("a")
        self.process = subprocess.Popen(
            [*(program or command()), start, "--port", str(self.port), *arguments],
            env=environment(data, **more) if env is None else env | more,
            stdout=self.log, stderr=self.log, stdin=subprocess.DEVNULL, cwd=data,
        )  # fmt: skip
        wait_for(lambda: "End with Ctrl-C" in self.output() or self.process.poll() is not None, seconds)
        assert self.process.poll() is None, self.output()

    @property
    def address(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def output(self) -> str:
        return self.output_file.read_text()

    def fetch(self, path: str = "/", host: str | None = None) -> tuple[int, str, dict[str, str]]:
        request = urllib.request.Request(f"http://127.0.0.1:{self.port}{path}", headers={"Host": host} if host else {})
        try:
            with urllib.request.urlopen(request, timeout=60) as answer:
                return answer.status, answer.read().decode(), dict(answer.headers)
        except urllib.error.HTTPError as error:
            with error:
                return error.code, error.read().decode(), dict(error.headers)

    def workers(self) -> list[int]:
        """Children of the server that run the worker."""
        children = Path(f"/proc/{self.process.pid}/task").glob("*/children")
        found = [int(pid) for file in children for pid in file.read_text().split()]
        return [pid for pid in found if b"contest.worker" in Path(f"/proc/{pid}/cmdline").read_bytes()]

    def close(self) -> None:
        self.process.kill()
        self.process.wait()
        self.log.close()

    def end(self, number: int = signal.SIGTERM) -> int:
        self.process.send_signal(number)
        try:
            return self.process.wait(timeout=60)
        finally:
            self.process.kill()


def rows(data: Path, sql: str) -> list[tuple[Any, ...]]:
    connection = sqlite3.connect(data / "fairbox.sqlite3")
    try:
        return connection.execute(sql).fetchall()
    finally:
        connection.close()
