"""The results package: the open files from which anyone recomputes and checks a contest.

A zip (or the folder it unpacks to) of plain text files. `SHA256SUMS` is what `sha256sum` prints for the others and is
checked by `sha256sum -c SHA256SUMS`. Its own SHA-256 is the sum of the package.
"""

import csv
import hashlib
import io
import zipfile
import zlib
from collections.abc import Iterable, Mapping, Sequence
from importlib import resources
from pathlib import Path

from contest.rules.csvfile import parse_records

FORMAT = "fairbox-package-2"
SUMS = "SHA256SUMS"
DAY_LOG = "log-day.csv"
FILES = (
    "contest.json",
    "rules/contest.toml",
    "cards.csv",
    "turnins.csv",
    "labels.csv",
    "secret.txt",
    "draw.txt",
    DAY_LOG,
    "log-cards.csv",
    "results.csv",
    "READ-ME.txt",
    "FORMAT.txt",
    "check.py",
    SUMS,
)
"""What every package holds, besides a rule set for each held category and the public lines of each draw."""
UNBOUND = (DAY_LOG, SUMS)
"""What the row that publishes cannot name: the log that it belongs to, and the list of all sums."""
LARGEST = 64 * 1024 * 1024  # bytes, unpacked; a contest of a hundred teams has about one
MOST_FILES = 200  # a contest of ten categories, drawn again twice, has two dozen
CARD_COLUMNS = ("category", "box", "table", "seat")
TURNIN_COLUMNS = ("category", "box", "status", "team")
LABEL_COLUMNS = ("number", "one", "other", "reason")
LOG_COLUMNS = ("number", "at", "what", "facts", "previous", "hash")
# A fixed moment in every entry: the same contest gives the same bytes.
_MOMENT = (1980, 1, 1, 0, 0, 0)


class PackageError(ValueError):
    """Not a results package at all; the message says why."""


def public_name(number: int) -> str:
    """The file with the public lines of a contest's draw, counted from 1."""
    return "public.txt" if number == 1 else f"public-{number}.txt"


def sha256(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def package_sum(files: Mapping[str, bytes]) -> str:
    """Return the sum of a package: the SHA-256 of its `SHA256SUMS`, whatever it was zipped with."""
    return sha256(files[SUMS])


def bound_sums(files: Mapping[str, bytes]) -> dict[str, str]:
    """Return name → SHA-256 of every file that the row that publishes binds."""
    return {name: sha256(files[name]) for name in sorted(files) if name not in UNBOUND}


def log_head(log: bytes) -> str:
    """Return the hash of the last row of a log's file; empty for a log without rows."""
    rows = list(csv.reader(io.StringIO(log.decode())))
    return rows[-1][-1] if len(rows) > 1 else ""


def explaining_files() -> dict[str, bytes]:
    """Return the files that let a stranger check a package: the specification, and a program that needs no Fairbox.

    The specification is that of the package's format, with that of the tally below it.
    """
    room = resources.files(__package__)
    parts = [room / "FORMAT.txt", resources.files("judging.rules") / "TALLY.txt"]
    text = "\n\n".join(part.read_text(encoding="utf-8").rstrip() + "\n" for part in parts)
    return {"FORMAT.txt": text.encode(), "check.py": (room / "check.py").read_bytes()}


def read_me(**values: str) -> bytes:
    """Return `READ-ME.txt` with the contest's own values in its commands."""
    text = (resources.files(__package__) / "READ-ME.txt").read_text(encoding="utf-8")
    return text.format(**values).encode()


def sums_text(files: Mapping[str, bytes]) -> str:
    """`SHA256SUMS` for `files`: a line a file, sum, two blanks, name, sorted by name."""
    return "".join(f"{sha256(files[name])}  {name}\n" for name in sorted(files) if name != SUMS)


def csv_bytes(columns: Sequence[str], rows: Iterable[Sequence[object]]) -> bytes:
    """A CSV file: UTF-8, commas, line feeds."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(columns)
    writer.writerows(rows)
    return out.getvalue().encode()


def is_tidy(name: str, text: str, columns: Sequence[str]) -> bool:
    """Whether a CSV file is what `csv_bytes` writes for its own rows. Raises CsvError for one that is no CSV."""
    header, *rows = parse_records(name, text, ",") or [[]]
    whole = header == list(columns) and all(len(row) == len(header) for row in rows)
    return whole and csv_bytes(header, rows) == text.encode()


def pack(files: Mapping[str, bytes]) -> bytes:
    """The zip of `files` with their `SHA256SUMS`; the same files give the same bytes."""
    whole = {**files, SUMS: sums_text(files).encode()}
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name in sorted(whole):
            archive.writestr(zipfile.ZipInfo(name, _MOMENT), whole[name], zipfile.ZIP_DEFLATED)
    return out.getvalue()


def unpack(data: bytes) -> dict[str, bytes]:
    """File name → content of a packed package.

    Raises PackageError for bytes that are no zip, or one that is damaged, too large or has a name twice.
    """
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            infos = [info for info in archive.infolist() if not info.is_dir() or info.file_size]
            if len(infos) > MOST_FILES or sum(info.file_size for info in infos) > LARGEST:
                raise PackageError(
                    f"holds more than {MOST_FILES} files or {LARGEST // 2**20} MB, which no contest needs"
                )
            if len({info.filename for info in infos}) < len(infos):
                raise PackageError("holds a file name twice")
            return {info.filename: archive.read(info) for info in infos}
    except PackageError:
        raise
    # A damaged directory sends the reader before the file's beginning, a damaged member anywhere: ValueError, OSError.
    except (zipfile.BadZipFile, NotImplementedError, RuntimeError, ValueError, OSError, EOFError, zlib.error) as error:
        raise PackageError(f"cannot be unpacked ({error}); download it again") from None


def _load_folder(path: Path) -> dict[str, bytes]:
    """Everything in a folder but the folders, a link that leads nowhere too: it belongs to no package."""
    inside = [each for each in sorted(path.rglob("*")) if each.is_symlink() or not each.is_dir()]
    files = {each.relative_to(path).as_posix(): each for each in inside}
    if sum(each.stat().st_size for each in inside if each.is_file()) > LARGEST:
        raise PackageError(f"holds more than {LARGEST // 2**20} MB, which no contest needs")
    return {name: each.read_bytes() if each.is_file() else b"" for name, each in files.items()}


def load(path: Path) -> dict[str, bytes]:
    """A package from the disk: the zip, or the folder it was unpacked to.

    Raises FileNotFoundError where there is none, PackageError where it cannot be read.
    """
    if path.is_dir():
        return _load_folder(path)
    try:
        return unpack(path.read_bytes())
    except FileNotFoundError:
        raise
    except OSError as error:
        raise PackageError(f"cannot be read ({error.strerror})") from None
