"""The parts of `manage.py serve`: addresses, the watched worker, the server that phones at the field reach."""

import contextlib
import errno
import io
import os
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from types import FrameType
from typing import Any

import segno
import waitress
from django.conf import settings
from django.db import DatabaseError, connection

from contest.tasks import fail_abandoned_tasks

#: Addresses in ranges kept for examples and private networks. Asking the system by which own address it would reach
#: them sends nothing. The first is answered where there is a way to the internet, the others on a network without.
PROBES = ("192.0.2.1", "192.168.1.1", "192.168.0.1", "10.0.0.1", "10.42.0.2", "172.16.0.1", "169.254.1.1")

#: A larger body is refused before it is read: an imported list or package is far smaller, a card is tiny.
MOST_BYTES = 8 * 1024 * 1024

Say = Callable[[str], None]


class CannotServe(Exception):
    """Serving is not possible; the text says what to do."""


def own_addresses() -> list[str]:
    """This machine's IPv4 addresses on its networks, the likeliest for phones first; empty without a network."""
    found: list[str] = []
    for probe in PROBES:
        with contextlib.suppress(OSError), socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sock:
            sock.connect((probe, 9))
            found.append(sock.getsockname()[0])
    with contextlib.suppress(OSError):
        found.extend(str(info[4][0]) for info in socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET))
    return [address for address in dict.fromkeys(found) if not address.startswith(("127.", "0."))]


def check_port(host: str, port: int) -> None:
    """Raise `CannotServe` where `port` cannot be taken."""
    with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as sock:
        if os.name == "posix":  # elsewhere this option would let two servers share a port
            sock.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            sock.bind((host, port))
        except OSError as error:
            raise CannotServe(port_trouble(port, error)) from error


def port_trouble(port: int, error: OSError) -> str:
    other = port + 1 if port < 65535 else 8000
    if error.errno == errno.EADDRINUSE:
        return (
            f"Port {port} is busy: another program, or another Fairbox, listens there. "
            f"End it, or choose another port: --port {other}"
        )
    if error.errno == errno.EACCES:
        return f"Port {port} needs more rights than this account has. Choose one above 1023: --port 8000"
    return f"Port {port} cannot be opened ({error.strerror}). Choose another: --port {other}"


def qr_text(address: str) -> str:
    """A QR code drawn with block characters, for the terminal."""
    picture = io.StringIO()
    segno.make(address, error="m").terminal(out=picture, compact=True, border=2)
    return picture.getvalue()


def changed_address(file: Path, address: str) -> str | None:
    """Keep `address` in `file`; the address of last time where it differs, else None."""
    before = file.read_text().strip() if file.exists() else address
    file.write_text(f"{address}\n")
    return before if before != address else None


class WatchedWorker:
    """One background worker, started again whenever it dies, after a pause that grows up to half a minute."""

    def __init__(self, say: Say) -> None:
        self._say = say
        self._ending = threading.Event()
        self._process: subprocess.Popen[bytes] | None = None
        self._thread = threading.Thread(target=self._watch, daemon=True)

    def start(self) -> None:
        self._thread.start()

    def stop(self) -> None:
        """End the worker: it finishes its task, or is killed after ten seconds."""
        self._ending.set()
        process = self._process
        if process is not None and process.poll() is None:
            process.terminate()
            try:
                process.wait(timeout=10)
            except subprocess.TimeoutExpired:
                process.kill()
        self._thread.join(timeout=5)

    def _watch(self) -> None:
        pause = 1.0
        while not self._ending.is_set():
            self._clear_up()
            started = time.monotonic()
            with self._launch() as process:
                self._process = process
                if self._ending.is_set():  # asked to end while it was being launched
                    process.terminate()
                code = process.wait()
            if self._ending.is_set():
                return
            pause = 1.0 if time.monotonic() - started > 60 else min(pause * 2, 30.0)
            self._say(f"The background worker ended (code {code}). Starting it again in {pause:.0f} s.")
            self._ending.wait(pause)

    def _clear_up(self) -> None:
        try:
            fail_abandoned_tasks()
        except DatabaseError as error:  # whoever waits for such a task waits on; the next worker matters more
            self._say(f"Tasks of the last worker could not be marked as failed: {error}")
        finally:
            connection.close()  # this thread has a connection of its own and may not need it again

    @staticmethod
    def _launch() -> "subprocess.Popen[bytes]":
        path = os.pathsep.join(filter(None, [str(settings.BASE_DIR), os.environ.get("PYTHONPATH")]))
        return subprocess.Popen(
            [sys.executable, "-P", "-m", "contest.worker"],  # -P: no file of the current folder counts as a module
            stdin=subprocess.PIPE,  # held open: at its end the worker knows that the server is gone
            env={**os.environ, "PYTHONPATH": path},
            # A Ctrl-C in the terminal reaches the server alone, which then ends the worker in order.
            start_new_session=os.name == "posix",
        )


def allow_hosts(names: Sequence[str]) -> None:
    """The only names by which the site answers, here and in the worker."""
    settings.ALLOWED_HOSTS = list(dict.fromkeys(["localhost", "127.0.0.1", "[::1]", *names]))
    os.environ["FAIRBOX_HOSTS"] = ",".join(settings.ALLOWED_HOSTS)
    if settings.HTTPS:
        settings.CSRF_TRUSTED_ORIGINS = [f"https://{name}" for name in settings.ALLOWED_HOSTS]


def proxy_options() -> dict[str, Any]:
    """Headers of a proxy are believed only where one was announced; from anyone else they are cut off."""
    if not settings.HTTPS:
        return {"clear_untrusted_proxy_headers": True}
    return {
        "trusted_proxy": "127.0.0.1",
        "trusted_proxy_headers": {"x-forwarded-for", "x-forwarded-proto"},
        "clear_untrusted_proxy_headers": True,
        "url_scheme": "http",
    }


def run(*, host: str, port: int, say: Say, ready: Callable[[], None], worker: bool = True) -> None:
    """Serve until Ctrl-C or SIGTERM; `ready` is called once connections are accepted.

    Of several servers on one database exactly one has the `worker` beside it: what it clears up before it starts is
    work that nobody else may still be doing.
    """
    from contest.config.wsgi import application

    def end(number: int, frame: FrameType | None) -> None:
        raise SystemExit(0)

    try:
        server = waitress.create_server(
            application,
            host=host,
            port=port,
            threads=8,
            connection_limit=500,
            ident="",
            max_request_body_size=MOST_BYTES,
            **proxy_options(),
        )
    except OSError as error:
        raise CannotServe(port_trouble(port, error)) from error
    watched = WatchedWorker(say) if worker else None
    signal.signal(signal.SIGTERM, end)
    try:
        if watched:
            watched.start()
        ready()
        server.run()
    except (SystemExit, KeyboardInterrupt):  # before the server's own loop took over
        pass
    finally:
        say("Ending: open requests are finished first.")
        server.close()
        if watched:
            watched.stop()
