"""The results package: it holds, and any change of any file breaks it."""

import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import pytest
from django.db import transaction

from contest.models import Draw, LogChain
from judging.models import Tally
from reports.results.packaging import package_files
from reports.rules.package.archive import SUMS, pack, sums_text, unpack
from reports.rules.package.verify import verify
from tests.reports import second_verifier
from tests.running import close_and_publish, run_day

# Without the mark no test database would be made for the days run below.
pytestmark = pytest.mark.django_db

ROOT = Path(__file__).resolve().parents[2]


@dataclass(frozen=True)
class Day:
    """What a run day left: its package, the package with one mark changed, and what was printed."""

    files: dict[str, bytes]
    marks_changed: dict[str, bytes]
    fingerprint: str
    commitment: str
    seed: str
    cards_head: str


def run_and_keep() -> Day:
    """Runs a day inside a transaction that is rolled back; only files and sums are kept."""
    with transaction.atomic():
        contest = run_day()
        printed = LogChain.objects.get(contest=contest, name="cards").head  # before closing, as on the tally's page
        close_and_publish(contest)
        tally, draw = Tally.objects.get(contest=contest), Draw.objects.get(contest=contest)
        files = unpack(bytes(contest.publications.get().package))
        assert pack(package_files(contest, tally)) == pack(files), "the same contest gives the same bytes"
        box = next(each for each in tally.inputs["boxes"] if each["status"] == "accepted" and each["cards"])
        seat = next(iter(box["cards"]))
        box["cards"][seat] = ["9", "9", "9"] if box["cards"][seat] != ["9", "9", "9"] else ["2", "2", "2"]
        kept = Day(
            files=files,
            marks_changed=unpack(pack(package_files(contest, tally))),
            fingerprint=draw.fingerprint,
            commitment=draw.commitment,
            seed=draw.seed,
            cards_head=printed,
        )
        transaction.set_rollback(True)
    return kept


@pytest.fixture(scope="module")
def day(django_db_setup, django_db_blocker):
    with django_db_blocker.unblock():
        return run_and_keep()


@pytest.fixture(scope="module")
def other_day(django_db_setup, django_db_blocker):
    with django_db_blocker.unblock():
        return run_and_keep()


@pytest.fixture
def files(day):
    return day.files


def failing(files, **printed):
    return [finding.text for finding in verify(files, **printed) if not finding.holds]


def test_the_package_of_an_eventful_day_holds(day):
    assert failing(day.files, draw=day.fingerprint, log=day.cards_head) == []
    assert second_verifier.verify(day.files, day.fingerprint) == []


def flips(content):
    """Places spread over the whole content, first and last byte among them."""
    step = max(1, len(content) // 8)
    return sorted({*range(0, len(content), step), len(content) - 1})


def test_the_verification_fails_on_a_changed_byte_of_any_file(files):
    for name, content in files.items():
        for place in flips(content):
            for bit in (1, 128):  # another character, and no character at all
                flipped = bytearray(content)
                flipped[place] ^= bit
                assert failing({**files, name: bytes(flipped)}), f"{name} byte {place}"


def test_with_fresh_sums_too_a_changed_byte_is_found_in_all_that_the_result_is_made_of(files):
    for name, content in files.items():
        if name == SUMS:
            continue
        for place in flips(content):
            flipped = bytearray(content)
            flipped[place] ^= 1
            assert failing(resummed(files, **{name.replace("-", "__"): bytes(flipped)})), f"{name} byte {place}"


@pytest.mark.parametrize("change", ["missing", "added", "emptied"])
def test_a_file_too_few_or_too_many_is_found(files, change):
    for name in files:
        altered = dict(files)
        if change == "missing":
            del altered[name]
        elif change == "added":
            altered[f"{name}.more"] = b"more"
        else:
            altered[name] = b""
        assert failing(altered), name


def resummed(files, **changed):
    whole = {**files, **{name.replace("__", "-"): content for name, content in changed.items()}}
    return {**whole, SUMS: sums_text(whole).encode()}


@pytest.mark.parametrize(
    ("name", "old", "new", "complaint"),
    [
        ("results.csv", b"ranked", b"short ", "does not give results.csv"),
        ("log-cards.csv", b'""taste"":""9""', b'""taste"":""8""', "log-cards.csv: row"),
        ("log-day.csv", b"accepted", b"rejected", "log-day.csv: row"),
        ("secret.txt", b"\n", b"0\n", "does not hold the sum of secret.txt"),
        ("labels.csv", b"1,", b"2,", "labels.csv is not what the log"),
        ("labels.csv", b"saw it", b"say it", "labels.csv is not what the log"),
        ("public.txt", b"draw\t1", b"draw\t2", "does not name one draw"),
        ("rules/chicken.toml", b"Taste", b"Tasty", "Not as they were fixed at the draw: rules/chicken.toml"),
        ("rules/contest.toml", b'"all_judged"', b'"all_entered"', "fixed at the draw: rules/contest.toml"),
        ("contest.json", b'"counts": true', b'"counts": false', "The scoring data is not what the log"),
    ],
)
def test_a_forgery_with_fresh_sums_is_found(files, name, old, new, complaint):
    assert old in files[name]
    forged = resummed(files, **{name.replace("-", "__"): files[name].replace(old, new, 1)})
    found = failing(forged)
    assert any(complaint in text for text in found), found


def test_marks_that_the_log_does_not_hold_are_found_though_the_standings_follow_from_them(day):
    """A forger changes a mark, tallies anew and renews the sums; the log still tells."""
    found = failing(day.marks_changed)
    assert len(found) == 3
    assert found[0] == "Not as they were published: cards.csv, results.csv."
    assert "1 cards are not what the log says" in found[1]
    assert found[2] == "The scoring data is not what the log of the day names."


def test_a_forged_package_that_agrees_with_itself_fails_on_what_was_printed(day, other_day):
    assert failing(other_day.files) == []
    assert any("not what was printed" in text for text in failing(other_day.files, draw=day.fingerprint))
    assert any("printed head" in text for text in failing(other_day.files, log=day.cards_head))
    assert second_verifier.verify(other_day.files, day.fingerprint) == ["fingerprint"]


def test_both_verifiers_agree_on_forged_results(files):
    lines = files["results.csv"].decode().splitlines()
    lines[1], lines[2] = lines[2].replace(",2,", ",1,", 1), lines[1].replace(",1,", ",2,", 1)
    forged = resummed(files, **{"results.csv": ("\n".join(lines) + "\n").encode()})
    assert failing(forged)
    assert second_verifier.verify(forged, None)


def run_verify(*arguments, cwd=ROOT):
    return subprocess.run(
        [sys.executable, str(ROOT / "manage.py"), "verify", *map(str, arguments)],
        capture_output=True,
        text=True,
        cwd=cwd,
        env={"DJANGO_SETTINGS_MODULE": "no.such.settings", "PATH": ""},
    )


def test_the_command_says_what_holds_and_answers_by_its_status(day, files, tmp_path):
    fingerprint = day.fingerprint
    package = tmp_path / "package.zip"
    package.write_bytes(pack({name: content for name, content in files.items() if name != SUMS}))
    good = run_verify(package, "--draw", fingerprint)
    assert (good.returncode, good.stderr) == (0, "")
    assert "Recalculating the scores gives the same standings." in good.stdout
    assert run_verify(package, "--draw", "0" * 64).returncode == 1
    folder = tmp_path / "unpacked"
    for name, content in files.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(content)
    assert run_verify(folder).returncode == 0
    (folder / "cards.csv").write_bytes(b"")
    assert run_verify(folder).returncode == 1
    package.write_bytes(b"no zip")
    broken = run_verify(package)
    assert (broken.returncode, "cannot be unpacked" in broken.stdout) == (1, True)


@pytest.mark.parametrize("arguments", [["nowhere.zip"], [], ["nowhere.zip", "--draw", "xyz"], ["a", "b"]])
def test_a_missing_path_or_wrong_usage_is_two_and_one_line(arguments, tmp_path):
    answer = run_verify(*arguments, cwd=tmp_path)
    assert (answer.returncode, answer.stdout) == (2, "")
    assert len(answer.stderr.strip().splitlines()) == 1


def test_what_the_read_me_tells_to_type_gives_what_it_says(day, files, tmp_path):
    """The shell's own sha256sum against the draw's commitment, seed and fingerprint."""
    for name, content in files.items():
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_bytes(content)

    def shell(line):
        return subprocess.run(line, shell=True, capture_output=True, text=True, cwd=tmp_path, check=True).stdout.split()

    assert shell("sha256sum secret.txt")[0] == day.commitment
    assert shell("cat secret.txt public.txt | sha256sum")[0] == day.seed
    assert shell("sha256sum draw.txt")[0] == day.fingerprint
    assert set(shell("sha256sum -c SHA256SUMS")[1::2]) == {"OK"}
