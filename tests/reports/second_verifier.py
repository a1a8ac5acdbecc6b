"""A second verifier of results packages, written from the files' description alone: standard library only.

It shares no code with the project. Rule sets: the lowest cards dropped, ties by the
means of counted_criterion and dropped_cards, then lot.
"""

import csv
import hashlib
import io
import json
import tomllib
import unicodedata
from fractions import Fraction


def sha(data):
    return hashlib.sha256(data).hexdigest()


def name(text):
    """A name as the lists have it."""
    return " ".join(unicodedata.normalize("NFC", text).split())


def names_at_the_draw(facts, day):
    """The sums of the lists of entries and categories, with all corrections undone; None where one does not fit."""
    teams = {team["number"]: [team["uid"], name(team["name"])] for team in facts["teams"]}
    keys = {each["key"]: name(each["name"]) for each in facts["categories"]}

    def sums():
        entries = "".join(f"{number}\t{uid}\t{called}\n" for number, (uid, called) in sorted(teams.items()))
        categories = "".join(f"{key}\t{called}\n" for key, called in keys.items())
        return sha(entries.encode()), sha(categories.encode())

    last = max(place for place, row in enumerate(day) if row["what"] == "boxes drawn")
    for row in reversed(day[last:]):
        if row["what"] != "name corrected":
            continue
        change = json.loads(row["facts"])
        if "entry" in change:
            fits = (teams[change["entry"]][1], sums()[0]) == (change["to"], change["entries"])
            teams[change["entry"]][1] = change["from"]
        else:
            fits = (keys[change["category"]], sums()[1]) == (change["to"], change["categories"])
            keys[change["category"]] = change["from"]
        if not fits:
            return None
    return sums()


def in_order(group):
    """The boxes of a group of (box, values), the smallest first value first; a value that one of them lacks is passed
    over for all of them."""
    if len(group) < 2 or not group[0][1]:
        return [box for box, _ in group]
    parts = {}
    lacking = any(values[0] is None for _, values in group)
    for box, (first, *rest) in group:
        parts.setdefault(0 if lacking else first, []).append((box, rest))
    return [box for first in sorted(parts) for box in in_order(parts[first])]


def verify(files, fingerprint, head=None):
    """The complaints about a package; `fingerprint` of the draw and final `head` of the day's log, or None."""

    def read(name):
        return list(csv.DictReader(io.StringIO(files[name].decode())))

    sums = dict(line.split("  ")[::-1] for line in files["SHA256SUMS"].decode().splitlines())
    publics = sorted((n for n in files if n.startswith("public")), key=lambda n: (len(n), n))
    seed = sha(files["secret.txt"] + files[publics[-1]])
    commitment = f"commitment\t{sha(files['secret.txt'])}\n"
    drawn = [line.split("\t") for line in files["draw.txt"].decode().splitlines() if line.count("\t") == 4]
    owner = {box: team for _, box, _, _, team in drawn}
    for swap in read("labels.csv"):
        owner[swap["one"]], owner[swap["other"]] = owner[swap["other"]], owner[swap["one"]]
    facts, day = json.loads(files["contest.json"]), read("log-day.csv")
    header = dict(line.split("\t") for line in files["draw.txt"].decode().splitlines() if line.count("\t") == 1)
    bound = {name: sha(data) for name, data in files.items() if name not in ("log-day.csv", "SHA256SUMS")}
    published = json.loads(day[-1]["facts"])
    complaints = {
        "format": facts["format"] != "fairbox-package-2",
        "names": names_at_the_draw(facts, day) != (header.get("entries"), header.get("categories")),
        "publication": (day[-1]["what"], published.get("revision"), published.get("files"))
        != ("result published", facts["revision"], bound),
        "head": head and day[-1]["hash"] != head,
        "sums": {name: sha(data) for name, data in files.items() if name != "SHA256SUMS"} != sums,
        "commitment": any(commitment not in files[name].decode() for name in publics),
        "seed": f"seed\t{seed}\n" not in files["draw.txt"].decode(),
        "owners": any(owner.get(row["box"]) != row["team"] for row in read("turnins.csv")),
        "fingerprint": fingerprint and sha(files["draw.txt"]) != fingerprint,
    }
    bad = [name for name, fails in complaints.items() if fails]
    for name in ("log-day.csv", "log-cards.csv"):
        before = "0" * 64
        for row in read(name):
            line = "\n".join([row["number"], row["at"], row["what"], row["facts"], before])
            if row["previous"] != before or row["hash"] != sha(line.encode()):
                bad.append(name)
            before = row["hash"]
    stated = {(row["category"], row["box"]): row for row in read("results.csv")}
    for key in [each["key"] for each in facts["categories"] if not each["cancelled"]]:
        rules = tomllib.loads(files[f"rules/{key}.toml"].decode(), parse_float=Fraction)
        names = [each["key"] for each in rules["criterion"]]
        weight = {each["key"]: Fraction(each["weight"]) for each in rules["criterion"]}
        cards = {row["box"]: [] for row in read("turnins.csv") if (row["category"], row["status"]) == (key, "accepted")}
        for row in read("cards.csv"):
            if row["category"] == key and row["box"] in cards:
                marks = {name: Fraction(row[name]) for name in names}
                points = sum(weight[name] * marks[name] for name in names)
                cards[row["box"]].append((points, [marks[name] for name in names], row["seat"], marks))
        order = []
        for box, rows in cards.items():
            if len(rows) < rules["cards"]["fewest"]:
                continue
            rows.sort(key=lambda row: row[:3])
            full = rules["cards"]["per_entry"]
            drop = rules["drop"]["count"] if len(rows) == full or rules["drop"]["when_short"] == "drop" else 0
            drop = min(drop, len(rows) - rules["cards"]["fewest"])
            kept, gone = rows[drop:], rows[:drop]
            total = sum(row[0] for row in kept) * (full - rules["drop"]["count"]) / len(kept)
            ties = [
                (-Fraction(sum(row[0] for row in gone), len(gone)) if gone else None) if step["by"] == "dropped_cards"
                else sha(f"{seed}:{key}:{box}".encode()) if step["by"] == "lot"
                else -sum(row[3][step["criterion"]] for row in kept) / len(kept)
                for step in rules["tie_break"]
            ]  # fmt: skip
            order.append((box, [-total, *ties]))
        totals = {box: -values[0] for box, values in order}
        for rank, box in enumerate(in_order(order), 1):
            said = stated[key, box]
            if (said["rank"], Fraction(said["total"] or 0)) != (str(rank), totals[box]):
                bad.append(f"result of box {box}")
    return bad
