"""Twenty contests at once on two servers of one PostgreSQL database behind nginx: nothing lost, doubled or unsealed.

    DATABASE_URL=postgres://… python -m tests.load.two_servers [--contests 20] [--clients 64] [--kills 2]

nginx runs with fixtures/nginx.conf, which the help names. Sixty-four phones hand in the cards of all contests
while every desk records its boxes and one server, then the other, is ended by SIGKILL. At the end every tally is closed
by two requests at the same moment. The DATABASE_URL must name an empty database.
"""

import http.client
import json
import os
import random
import re
import ssl
import subprocess
import sys
import tempfile
import threading
import time
from argparse import ArgumentParser
from collections.abc import Callable
from http.cookies import SimpleCookie
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

from tests.judging.field import make_fields
from tests.load import hand_in
from tests.site.served import SITE, Served, environment, free_port, wait_for

NAME = "contest.example"

#: Everything that must hold once all is closed, as sentences about what does not.
LOOK = """
import django, json
django.setup()
from contest.models import Contest, ContestRole, LogChain, TurnIn
from tests.chains import broken_row
from judging.models import Tally
from judging.records import closing_records
from judging.services.tally import digest, inputs_of
wrong = [f"{chain.contest.slug}: {chain.name} chain broken at {row}"
         for chain in LogChain.objects.all() if (row := broken_row(chain)) is not None]
for contest in Contest.objects.all():
    tallies = list(Tally.objects.filter(contest=contest))
    if [each.inputs_hash for each in tallies] != [digest(inputs_of(closing_records(contest)))]:
        wrong.append(f"{contest.slug}: {len(tallies)} tallies, or one of other cards than are stored")
    boxes = contest.boxes.count()
    standing = TurnIn.objects.filter(box__contest=contest, standing=True).count()
    if standing != boxes or TurnIn.objects.filter(box__contest=contest).count() != boxes:
        wrong.append(f"{contest.slug}: {standing} standing turn-ins of {boxes} boxes")
    closed = [row for row in contest.log_chains.get(name="cards").rows.all() if row.what == "tally closed"]
    if len(closed) != 1:
        wrong.append(f"{contest.slug}: closed {len(closed)} times in the log")
wrong += [f"{row} holds desk and tally" for row in ContestRole.objects.filter(desk=True, tally=True)]
print(json.dumps(wrong))
"""


class Proxy:
    """nginx with the documented configuration, on a free port and with a certificate of its own."""

    def __init__(self, folder: Path, servers: list[int]) -> None:
        self.port = free_port()
        self.certificate = folder / "contest.crt"
        key = folder / "contest.key"
        subprocess.run(
            [
                *("openssl", "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2", "-subj", f"/CN={NAME}"),
                *("-addext", f"subjectAltName=DNS:{NAME}", "-keyout", str(key), "-out", str(self.certificate)),
            ],
            check=True, capture_output=True, timeout=60,
        )  # fmt: skip
        text = Path(SITE, "fixtures/nginx.conf").read_text()
        for documented, here in (
            ("127.0.0.1:8001", f"127.0.0.1:{servers[0]}"),
            ("127.0.0.1:8002", f"127.0.0.1:{servers[1]}"),
            ("listen 443 ssl", f"listen 127.0.0.1:{self.port} ssl"),
            ("/etc/ssl/contest.example.crt", str(self.certificate)),
            ("/etc/ssl/contest.example.key", str(key)),
        ):
            assert documented in text, documented
            text = text.replace(documented, here)
        whole = folder / "nginx.conf"
        temporary = " ".join(
            f"{kind}_temp_path {folder}/{kind};" for kind in ("client_body", "proxy", "fastcgi", "uwsgi", "scgi")
        )
        whole.write_text(
            f"worker_processes 1; pid {folder}/nginx.pid; error_log {folder}/nginx.log;\n"
            f"events {{ worker_connections 1024; }}\nhttp {{ access_log off; {temporary}\n{text}\n}}\n"
        )
        self.process = subprocess.Popen(
            ["nginx", "-c", str(whole), "-e", str(folder / "nginx.log"), "-g", "daemon off;"],
            stderr=subprocess.PIPE, text=True,
        )  # fmt: skip
        wait_for(self.answers, 30)

    def answers(self) -> bool:
        assert self.process.poll() is None, self.process.communicate()[1]
        connection = self.connection(2)
        try:
            connection.request("GET", "/", headers={"Host": NAME})
            return connection.getresponse().status < 500
        except OSError:
            return False
        finally:
            connection.close()

    def context(self) -> ssl.SSLContext:
        made = ssl.create_default_context(cafile=str(self.certificate))
        made.check_hostname = False  # the certificate is the one made above; its name stands in no address book
        return made

    def connection(self, timeout: float = 20) -> http.client.HTTPSConnection:
        return http.client.HTTPSConnection("127.0.0.1", self.port, timeout=timeout, context=self.context())

    def close(self) -> None:
        self.process.terminate()
        self.process.communicate(timeout=30)


class Through(hand_in.Connection):
    """A phone's connection through the proxy."""

    def __init__(self, proxy: Proxy) -> None:
        super().__init__(proxy.port)
        self.proxy = proxy

    def opened(self) -> http.client.HTTPConnection:
        return self.proxy.connection()

    def headers(self, token: str) -> dict[str, str]:
        return {**super().headers(token), "Host": NAME}


class Visit:
    """Somebody's browser, without the browser: its cookies, and the token of the last form it saw."""

    def __init__(self, proxy: Proxy, slug: str, word: str) -> None:
        self.proxy, self.slug, self.cookies, self.token = proxy, slug, SimpleCookie(), ""
        self.ask("GET", "/in/")
        status, page = self.ask("POST", "/in/", word=word)
        assert status == 302, (status, page[:500])

    def get(self, room: str) -> tuple[int, str]:
        return self.ask("GET", f"/c/{self.slug}/{room}")

    def post(self, room: str, **fields: str) -> tuple[int, str]:
        return self.ask("POST", f"/c/{self.slug}/{room}", **fields)

    def ask(self, method: str, path: str, **fields: str) -> tuple[int, str]:
        """Again after a server that is gone: everything that is asked here may be asked twice."""
        for _ in range(80):
            try:
                status, page = self._once(method, path, fields)
            except (OSError, http.client.HTTPException):
                status, page = 502, ""
            if status not in hand_in.NO_SERVER:
                break
            time.sleep(0.25)
        if found := re.search(r'name="csrfmiddlewaretoken" value="(\w+)"', page):
            self.token = found[1]
        return status, page

    def _once(self, method: str, path: str, fields: dict[str, str]) -> tuple[int, str]:
        headers = {
            "Host": NAME,
            "Origin": f"https://{NAME}",
            "Cookie": "; ".join(f"{each.key}={each.value}" for each in self.cookies.values()),
            "Content-Type": "application/x-www-form-urlencoded",
        }
        body = urlencode({"csrfmiddlewaretoken": self.token, **fields}) if method == "POST" else None
        connection = self.proxy.connection(60)
        try:
            connection.request(method, path, body, headers)
            answer = connection.getresponse()
            for cookie in answer.headers.get_all("Set-Cookie", []):
                self.cookies.load(cookie)
            return answer.status, answer.read().decode()
        finally:
            connection.close()


def work_the_desk(proxy: Proxy, field: dict[str, Any], trouble: list[str], *, backwards: bool) -> None:
    """The desk signs in, tries every door that the seal keeps shut, and records every box as in on time."""
    visit = Visit(proxy, field["slug"], field["desk"])
    for room in ("marks/", "tally/", "rulings/", "table/1/", "draw/"):
        if (status := visit.get(room)[0]) not in (403, 404):
            trouble.append(f"the desk of {field['slug']} got {status} for {room}")
    visit.get("desk/")
    for category, team, box in reversed(field["pairing"]) if backwards else field["pairing"]:
        status, page = visit.post("desk/record/", category=category, team=team, box=box, status="accepted")
        if status != 302:
            trouble.append(f"the desk of {field['slug']} got {status} for {box}: {page[:200]}")


def together(acts: list[Callable[[], None]]) -> None:
    """All at the same moment, each on a thread of its own."""
    line = threading.Barrier(len(acts))

    def run(act: Callable[[], None]) -> None:
        line.wait(60)
        act()

    threads = [threading.Thread(target=run, args=[act], daemon=True) for act in acts]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(300)


def close_twice(proxy: Proxy, fields: list[dict[str, Any]], trouble: list[str]) -> list[int]:
    """Every organiser locks the marks and closes the tally, from two devices at once; the answers to closing."""
    visits = [Visit(proxy, each["slug"], each["organiser"]) for each in fields for _ in range(2)]
    answers: list[int] = []

    def press(visit: Visit, step: str, **ticked: str) -> None:
        status, page = visit.post(f"tally/{step}/", **ticked)
        answers.append(status)
        if status not in (302, 422):
            trouble.append(f"{step} at {visit.slug} answered {status}: {page[:200]}")

    for visit in visits:
        visit.get("tally/")
    together([lambda visit=visit: press(visit, "lock") for visit in visits])
    answers.clear()
    together([lambda visit=visit: press(visit, "close", sure="on") for visit in visits])
    return answers


def look(data: Path, env: dict[str, str]) -> list[str]:
    answer = subprocess.run(
        [sys.executable, "-c", LOOK], env=environment(data, **env), cwd=SITE, capture_output=True, text=True
    )
    assert answer.returncode == 0, answer.stderr
    return json.loads(answer.stdout)


def run(
    data: Path, *, contests: int, teams: int, clients: int, kills: int, seed: int, env: dict[str, str]
) -> dict[str, Any]:
    """The whole run; what it found, with `wrong` empty when all is well."""
    chance = random.Random(seed)
    fields = make_fields(data, env, contests=contests, teams=teams, tables=1, seats=6)
    cards = hand_in.make_cards([seat for field in fields for seat in field["seats"]], chance)
    env = {**env, "FAIRBOX_HTTPS": "1"}
    folders = [data / "one", data / "two"]
    for folder in folders:
        folder.mkdir()
    key = {"FAIRBOX_SECRET_KEY": (data / "secret.key").read_text().strip()}

    def serve(place: int, port: int = 0) -> Served:
        options = ["--loopback", "--host", NAME, *(["--no-worker"] if place else [])]
        return Served(folders[place], *options, port=port, seconds=90, **env, **key)

    servers = [serve(0), serve(1)]
    proxy = Proxy(data, [each.port for each in servers])
    traffic, trouble = hand_in.Traffic(), []
    phones = [
        hand_in.Phone(cards[place::clients], Through(proxy), traffic, data / f"safe-{place}.txt", seed + place)
        for place in range(clients)
    ]
    desks = [
        threading.Thread(
            target=work_the_desk, args=[proxy, each, trouble], kwargs={"backwards": backwards}, daemon=True
        )
        for each in fields
        for backwards in (False, True)  # two laptops at one desk, who meet in the middle
    ]
    began = time.monotonic()
    try:
        for thread in [*phones, *desks]:
            thread.start()
        for kill in range(kills):
            due = len(cards) * (kill + 1) // (kills + 1)
            wait_for(lambda due=due: traffic.acknowledged >= due, 600, every=0.002)
            dead = servers[kill % 2]
            dead.close()
            servers[kill % 2] = serve(kill % 2, dead.port)
        for thread in [*phones, *desks]:
            thread.join(600)
        seconds = time.monotonic() - began
        safe = {line for phone in phones for line in phone.file.read_text().split()}
        wrong = hand_in.compare(data, env, traffic, safe)
        closing = close_twice(proxy, fields, trouble)
    finally:
        proxy.close()
        for each in servers:
            each.close()
    wrong += [*traffic.trouble, *trouble, *look(data, env)]
    if len(safe) != len(cards):
        wrong.append(f"{len(safe)} of {len(cards)} cards were acknowledged")
    return {
        "contests": len(fields),
        "cards": len(cards),
        "acknowledged": len(safe),
        "kills": kills,
        "answers": dict(traffic.statuses),
        "closings": {status: closing.count(status) for status in sorted(set(closing))},
        "seconds": round(seconds, 1),
        "wrong": wrong,
    }


def main() -> None:
    parser = ArgumentParser(description="Twenty contests on two servers behind nginx.")
    parser.add_argument("--contests", type=int, default=20)
    parser.add_argument("--teams", type=int, default=24)
    parser.add_argument("--clients", type=int, default=64)
    parser.add_argument("--kills", type=int, default=2)
    parser.add_argument("--seed", type=int, default=1)
    asked = vars(parser.parse_args())
    if not os.environ.get("DATABASE_URL", "").startswith("postgres"):
        sys.exit("DATABASE_URL: name an empty PostgreSQL database, for example postgres://fairbox@127.0.0.1/many")
    with tempfile.TemporaryDirectory(prefix="fairbox-load-") as folder:
        found = run(Path(folder), env={"DATABASE_URL": os.environ["DATABASE_URL"]}, **asked)
    print(json.dumps({**found, "wrong": found["wrong"][:20]}, indent=1))
    sys.exit(1 if found["wrong"] else 0)


if __name__ == "__main__":
    main()
