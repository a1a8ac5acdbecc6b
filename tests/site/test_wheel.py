"""The wheel: what is in it, and that it works outside the checkout, with data in the user's own folder."""

import os
import shutil
import subprocess
import sys
import sysconfig
import venv
import zipfile
from pathlib import Path

import pytest
from django.conf import settings

from tests.site.served import Served, rows, wait_for

ROOT = Path(settings.BASE_DIR)
PACKAGES = ("contest", "judging", "reports")
BUILD = "import sys; from setuptools import build_meta; build_meta.build_wheel(sys.argv[1])"
CARDS = ROOT / "fixtures/example-cook-off/cards.csv"
(RULES,) = (ROOT / "contest/rules").rglob("taste-double.toml")


def files_of(folder: Path) -> set[str]:
    """Every file of the three packages under `folder`, without what Python keeps for itself."""
    paths = (path for name in PACKAGES for path in (folder / name).rglob("*") if path.is_file())
    return {path.relative_to(folder).as_posix() for path in paths if "__pycache__" not in path.parts}


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Build from a copy, so that nothing is left behind in the checkout; needs no network."""
    copy, made = tmp_path_factory.mktemp("source"), tmp_path_factory.mktemp("wheel")
    for name in PACKAGES:
        shutil.copytree(ROOT / name, copy / name)
    for name in ("pyproject.toml", "README.md"):
        shutil.copy(ROOT / name, copy)
    cache = copy / "contest/rules/__pycache__"
    cache.mkdir(exist_ok=True)
    (cache / "left_over.cpython-311.pyc").touch()
    done = subprocess.run(
        [sys.executable, "-W", "error", "-c", BUILD, str(made)], cwd=copy, capture_output=True, text=True, timeout=300
    )
    assert done.returncode == 0, done.stderr
    (path,) = made.iterdir()
    return path


@pytest.fixture(scope="module")
def scripts(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of programs of an environment that has the wheel, and this environment's libraries after it."""
    folder = tmp_path_factory.mktemp("installed")
    venv.create(folder, with_pip=False)
    programs = folder / ("Scripts" if os.name == "nt" else "bin")
    install = ["-m", "pip", "--python", str(programs / "python"), "install", "-q", "--no-deps", "--no-index"]
    done = subprocess.run([sys.executable, *install, str(wheel)], capture_output=True, text=True, timeout=300)
    assert done.returncode == 0, done.stderr
    (own,) = folder.rglob("site-packages")
    (own / "libraries.pth").write_text(sysconfig.get_path("purelib"))  # its own .pth files are not read again
    return programs


@pytest.fixture
def user(tmp_path: Path) -> dict[str, str]:
    """The environment of a user with an empty home folder."""
    return {"PATH": os.environ["PATH"], "HOME": str(tmp_path), "PYTHONIOENCODING": "utf-8"}


def run(program: Path, *arguments: str, cwd: Path, env: dict[str, str]) -> subprocess.CompletedProcess[str]:
    return subprocess.run([str(program), *arguments], cwd=cwd, env=env, capture_output=True, text=True, timeout=300)


def test_wheel_holds_every_file_of_the_packages(wheel: Path) -> None:
    assert files_of(ROOT) - set(zipfile.ZipFile(wheel).namelist()) == set()


def test_wheel_holds_nothing_else_but_its_own_facts(wheel: Path) -> None:
    more = set(zipfile.ZipFile(wheel).namelist()) - files_of(ROOT)
    assert {Path(name).parent.suffix for name in more} == {".dist-info"}


def test_tally_from_the_wheel_is_the_checkouts(scripts: Path, user: dict[str, str], tmp_path: Path) -> None:
    arguments = ["tally", str(CARDS), "--rules", str(RULES), "--format", "csv"]
    installed = run(scripts / "fairbox", *arguments, cwd=tmp_path, env=user)
    assert (installed.returncode, installed.stderr) == (0, "")
    assert installed.stdout.startswith("category,rank,box,team,total,")
    checkout = run(Path(sys.executable), str(ROOT / "manage.py"), *arguments, cwd=tmp_path, env=user)
    assert checkout.stdout == installed.stdout
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("command", ["draw", "severity", "tally", "verify"])
def test_open_commands_name_the_program(scripts: Path, user: dict[str, str], tmp_path: Path, command: str) -> None:
    """Each as it was started: by the installed script, or by the checkout's manage.py."""
    for start, name in (([scripts / "fairbox"], "fairbox"), ([Path(sys.executable), ROOT / "manage.py"], "manage.py")):
        program, *before = start
        usage = run(program, *map(str, before), command, "--help", cwd=tmp_path, env=user)
        assert (usage.returncode, usage.stderr) == (0, "")
        assert usage.stdout.startswith(f"usage: {name} {command} [-h] ")
        wrong = run(program, *map(str, before), command, "--colour", cwd=tmp_path, env=user)
        assert (wrong.returncode, wrong.stdout) == (2, "")
        assert wrong.stderr.endswith(f"; see {name} {command} --help\n")


def test_version_is_the_wheels(scripts: Path, wheel: Path, user: dict[str, str], tmp_path: Path) -> None:
    answer = run(scripts / "fairbox", "--version", cwd=tmp_path, env=user)
    assert answer.stdout == f"Fairbox {wheel.name.split('-')[1]}\n"


WHERE = "from contest.config.installation import data_folder as folder; print(folder())"


@pytest.mark.skipif(sys.platform != "linux", reason="the folders are those of the XDG Base Directory Specification")
def test_data_folder_is_the_users_own(scripts: Path, user: dict[str, str], tmp_path: Path) -> None:
    """XDG Base Directory Specification 0.8: $XDG_DATA_HOME, or $HOME/.local/share where it is not set or empty."""

    def place(**more: str) -> str:
        return run(scripts / "python", "-c", WHERE, cwd=tmp_path, env=user | more).stdout.strip()

    assert place() == place(XDG_DATA_HOME="") == f"{tmp_path}/.local/share/fairbox"
    assert place(XDG_DATA_HOME="/srv/share") == "/srv/share/fairbox"
    assert place(FAIRBOX_DATA="") == f"{tmp_path}/.local/share/fairbox"
    assert place(FAIRBOX_DATA="/srv/chosen", XDG_DATA_HOME="/srv/share") == "/srv/chosen"


def test_data_folder_of_a_checkout_is_in_it(user: dict[str, str], tmp_path: Path) -> None:
    checkout = user | {"PYTHONPATH": str(ROOT)}
    answer = run(Path(sys.executable), "-c", WHERE, cwd=tmp_path, env=checkout)
    assert answer.stdout.strip() == str(ROOT / ".data")
    answer = run(Path(sys.executable), "-c", WHERE, cwd=tmp_path, env=checkout | {"FAIRBOX_DATA": "/srv/chosen"})
    assert answer.stdout.strip() == "/srv/chosen"


def test_serve_from_the_wheel_has_pages_and_a_worker(scripts: Path, user: dict[str, str], tmp_path: Path) -> None:
    """Started in a folder whose own files are called like modules; its worker must not take them for these."""
    for name in ("contest.py", "json.py"):
        (tmp_path / name).write_text("raise SystemExit('a file of the current folder was taken for a module')\n")
    site = Served(tmp_path, "--loopback", program=[str(scripts / "fairbox")], env=user)
    try:
        data = tmp_path / ".local/share/fairbox"
        assert f"Data folder:      {data}\n" in site.output()
        status, text, _ = site.fetch("/")
        assert (status, "/static/contest/fairbox.css" in text) == (200, True)
        status, text, headers = site.fetch("/static/contest/fairbox.css")
        assert (status, headers["Content-Type"]) == (200, 'text/css; charset="utf-8"')
        assert text == (ROOT / "contest/static/contest/fairbox.css").read_text()
        ended = "select status from django_tasks_database_dbtaskresult where status in ('SUCCESSFUL', 'FAILED')"
        assert wait_for(lambda: rows(data, ended)) == [("SUCCESSFUL",)]
        assert site.end() == 0
    finally:
        site.close()
