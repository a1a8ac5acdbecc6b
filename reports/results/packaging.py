"""From a signed tally's rows to the files of its results package."""

import json
from dataclasses import astuple

from contest.models import Contest, Draw, LogRow
from contest.models import Entry as TeamEntry
from contest.rules.csvfile import read
from contest.rules.ruleset import RuleSet, parse
from judging.models import Tally
from judging.rules.contest_files import ContestFiles, card_columns
from judging.rules.tally import tally as tally_boxes
from judging.rules.tally_csv import result_csv
from reports.rules.package.archive import (
    CARD_COLUMNS,
    DAY_LOG,
    FORMAT,
    LABEL_COLUMNS,
    LOG_COLUMNS,
    TURNIN_COLUMNS,
    csv_bytes,
    explaining_files,
    log_head,
    pack,
    package_sum,
    public_name,
    read_me,
    unpack,
)
from reports.rules.package.logreplay import Entry, statuses_of, until_tally

NO_OVERALL = "    (No category counts toward an overall here: leave out the lines that begin with `overall`.)\n"


def packed(contest: Contest, files: dict[str, bytes]) -> tuple[bytes, str, dict[str, str]]:
    """Return the package as it is handed out, its sum, and the heads of the logs that it ends with.

    `files` are the bound files; the log of the day joins them here, after the row that publishes.
    """
    whole = {**files, DAY_LOG: _log(contest, "day")}
    data = pack(whole)
    heads = {name: log_head(whole[f"log-{name}.csv"]) for name in ("day", "cards")}
    return data, package_sum(unpack(data)), heads


def package_files(contest: Contest, tally: Tally) -> dict[str, bytes]:
    """File name → content, `SHA256SUMS` excepted, for a published tally of `contest`."""
    return {**bound_files(contest, tally), DAY_LOG: _log(contest, "day")}


def bound_files(contest: Contest, tally: Tally) -> dict[str, bytes]:
    """File name → content of every file whose sum the row that publishes names."""
    inputs = tally.inputs
    # In the order of the day: PostgreSQL keeps the keys of a JSON object in an order of its own.
    rules = {key: parse(inputs["rules"][key]) for key in inputs["categories"]}
    draws = list(Draw.objects.filter(contest=contest).order_by("number"))
    files = {
        "contest.json": _facts(contest, tally),
        "rules/contest.toml": inputs["overall_rules"].encode(),
        **{f"rules/{key}.toml": document.encode() for key, document in inputs["rules"].items()},
        "cards.csv": _cards(inputs, rules, parse(inputs["overall_rules"])),
        "turnins.csv": csv_bytes(
            TURNIN_COLUMNS, ((each["category"], each["box"], each["status"], each["team"]) for each in inputs["boxes"])
        ),
        "labels.csv": _labels(contest, tally),
        "secret.txt": draws[-1].secret_text.encode(),
        **{public_name(draw.number): draw.public_text.encode() for draw in draws},
        "draw.txt": draws[-1].draw_text.encode(),
        "log-cards.csv": _log(contest, "cards"),
        **explaining_files(),
    }
    files["results.csv"] = _results(files, rules, inputs)
    files["READ-ME.txt"] = read_me(
        name=contest.name,
        date=contest.date.isoformat(),
        publics=f"secret.txt {public_name(draws[-1].number)}",
        rules_for="".join(f" --rules-for {key}=rules/{key}.toml" for key in rules),
        overall=f"--overall {','.join(inputs['counting'])} " if inputs["counting"] else "",
        no_overall="" if inputs["counting"] else NO_OVERALL,
    )
    return files


def _cards(inputs: dict, rules: dict[str, RuleSet], contest_rules: RuleSet) -> bytes:
    columns = card_columns(rules, contest_rules)[len(CARD_COLUMNS) :]
    rows = []
    for each in inputs["boxes"]:
        keys = [criterion.key for criterion in rules[each["category"]].criteria]
        for seat, marks in sorted(each["cards"].items()):
            given = dict(zip(keys, marks, strict=True))
            head = (each["category"], each["box"], each["table"], seat)
            rows.append((*head, *(given.get(column, "") for column in columns), each["team"]))
    return csv_bytes((*CARD_COLUMNS, *columns, "team"), rows)


def _labels(contest: Contest, tally: Tally) -> bytes:
    """The corrections that this tally knew: a later one counts only from the next revision on."""
    swaps = statuses_of(until_tally(_chain(contest, "day"), tally.revision))[1]
    return csv_bytes(LABEL_COLUMNS, ((number, *swap) for number, swap in enumerate(swaps, 1)))


def _chain(contest: Contest, name: str) -> list[Entry]:
    rows = LogRow.objects.filter(chain__contest=contest, chain__name=name).order_by("number")
    return [Entry(str(number), *rest) for number, *rest in rows.values_list(*LOG_COLUMNS)]


def _log(contest: Contest, name: str) -> bytes:
    return csv_bytes(LOG_COLUMNS, (astuple(row) for row in _chain(contest, name)))


def _facts(contest: Contest, tally: Tally) -> bytes:
    counting = tally.inputs["counting"]
    facts = {
        "format": FORMAT,
        "uid": str(contest.uid),
        "name": contest.name,
        "place": contest.place,
        "date": contest.date.isoformat(),
        "time_zone": contest.time_zone,
        "one_person": contest.one_person,
        "seal_opened": _seal_opened(contest),
        "revision": tally.revision,
        "reason": tally.reason,
        "categories": [
            {
                "key": each.key,
                "name": each.name,
                "turn_in_at": contest.local(each.turn_in_at).isoformat(),
                "counts": each.key in counting,
                "cancelled": each.key not in tally.inputs["rules"],
            }
            for each in contest.categories.all()
        ],
        "teams": [
            {"number": entry.number, "uid": str(entry.team.uid), "name": entry.team.name}
            for entry in TeamEntry.objects.filter(contest=contest).select_related("team").order_by("number")
        ],
    }
    return (json.dumps(facts, ensure_ascii=False, indent=1) + "\n").encode()


def _seal_opened(contest: Contest) -> dict[str, str] | None:
    """When and why the seal was opened before closing; None where it was not."""
    if contest.seal_opened_at is None:
        return None
    return {"at": contest.local(contest.seal_opened_at).isoformat(), "reason": contest.seal_opened_why}


def _results(files: dict[str, bytes], rules: dict[str, RuleSet], inputs: dict) -> bytes:
    """The standings, tallied from the package's own files: what is published is what they give."""
    contest_rules = parse(inputs["overall_rules"])
    read_back = ContestFiles(contest_rules, rules)
    read_back.add_turnins(read("turnins.csv", files["turnins.csv"], TURNIN_COLUMNS[:3], ("team",)))
    read_back.add_cards(read("cards.csv", files["cards.csv"], card_columns(rules, contest_rules), ("team",)))
    result = tally_boxes(
        rules,
        read_back.boxes(),
        overall=inputs["counting"] or None,
        seed=inputs["seed"],
        overall_rules=contest_rules,
    )
    return result_csv(result).encode()
