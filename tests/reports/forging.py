"""What a forger can do to a package: change one field, then rebuild every sum that the files hold.

Written from the description of the format alone; it shares no code with the project. `seal_again` is the forger who
rebuilds all: the log's chains, the row that publishes, the list of sums. Only a value noted on the day tells.
"""

import csv
import hashlib
import io
import json
from collections.abc import Iterator

LOGS = ("log-day.csv", "log-cards.csv")


def sha(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def resum(files: dict[str, bytes]) -> dict[str, bytes]:
    """The files with a fresh SHA256SUMS."""
    rest = {name: data for name, data in files.items() if name != "SHA256SUMS"}
    lines = [f"{sha(data)}  {name}\n" for name, data in sorted(rest.items())]
    return {**rest, "SHA256SUMS": "".join(lines).encode()}


def read_rows(data: bytes) -> list[list[str]]:
    return list(csv.reader(io.StringIO(data.decode())))


def write_rows(rows: list[list[str]]) -> bytes:
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerows(rows)
    return out.getvalue().encode()


def chain_again(data: bytes) -> bytes:
    """A log whose every row has the number, the previous hash and the hash that fit."""
    header, *rows = read_rows(data)
    before = "0" * 64
    for number, row in enumerate(rows, 1):
        row[0], row[4] = str(number), before
        row[5] = before = sha("\n".join(row[:5]).encode())
    return write_rows([header, *rows])


def seal_again(files: dict[str, bytes]) -> dict[str, bytes]:
    """The files with everything rebuilt that follows from them."""
    files = {**files, "log-cards.csv": chain_again(files["log-cards.csv"])}
    header, *rows = read_rows(files["log-day.csv"])
    facts = json.loads(rows[-1][3])
    bound = {name: sha(data) for name, data in files.items() if name not in ("log-day.csv", "SHA256SUMS")}
    rows[-1][3] = json.dumps({**facts, "files": bound}, sort_keys=True, ensure_ascii=False, separators=(",", ":"))
    return resum({**files, "log-day.csv": chain_again(write_rows([header, *rows]))})


def other(text: str) -> str:
    """Another value of the same look: the last digit changed, or a letter added."""
    if text and text[-1] in "0123456789":
        return text[:-1] + str((int(text[-1]) + 1) % 10)
    return f"{text}x"


def changed_fields(files: dict[str, bytes]) -> Iterator[tuple[str, dict[str, bytes]]]:
    """(what was changed, the files with that one change) for fields of every file."""
    for name, data in sorted(files.items()):
        if name == "contest.json":
            changes = _json_fields(data)
        elif name.endswith(".csv"):
            changes = _csv_fields(name, data)
        elif name == "SHA256SUMS":
            continue
        else:
            changes = _lines(data)
        for where, changed in changes:
            yield f"{name}: {where}", {**files, name: changed}


def _json_fields(data: bytes) -> Iterator[tuple[str, bytes]]:
    facts = json.loads(data)

    def leaves(value: object, path: tuple) -> Iterator[tuple]:
        if isinstance(value, dict):
            for key, inner in value.items():
                yield from leaves(inner, (*path, key))
        elif isinstance(value, list):
            for place, inner in enumerate(value):
                yield from leaves(inner, (*path, place))
        else:
            yield path

    for path in list(leaves(facts, ())):
        changed = json.loads(data)
        inner = changed
        for step in path[:-1]:
            inner = inner[step]
        inner[path[-1]] = _another(inner[path[-1]])
        yield ".".join(map(str, path)), json.dumps(changed, ensure_ascii=False, indent=1).encode() + b"\n"


def _another(value: object) -> object:
    if isinstance(value, bool):
        return not value
    if isinstance(value, int):
        return value + 1
    return other(value) if isinstance(value, str) else {"at": "", "reason": "x"}


def _csv_fields(name: str, data: bytes) -> Iterator[tuple[str, bytes]]:
    header, *rows = read_rows(data)
    columns = ("at", "what", "facts") if name in LOGS else header
    for row in sorted({0, len(rows) // 2, len(rows) - 1}) if rows else ():
        for column in columns:
            place = header.index(column)
            changed = [list(each) for each in rows]
            if column == "facts":
                changed[row][place] = json.dumps({**json.loads(changed[row][place]), "more": 1})
            else:
                changed[row][place] = other(changed[row][place])
            yield f"row {row + 1}, {column}", write_rows([header, *changed])


def _lines(data: bytes) -> Iterator[tuple[str, bytes]]:
    lines = data.decode().split("\n")
    filled = [place for place, line in enumerate(lines) if line]
    for place in filled[:: max(1, len(filled) // 6)]:
        changed = [*lines]
        changed[place] = other(changed[place])
        yield f"line {place + 1}", "\n".join(changed).encode()
