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
    FORMAT,
    LABEL_COLUMNS,
    LOG_COLUMNS,
    TURNIN_COLUMNS,
    csv_bytes,
    pack,
    public_name,
    sha256,
)
from reports.rules.package.logreplay import Entry, statuses_of, until_tally

READ_ME = """\
The results package of {name}, {date}.

It holds all that the published result was made of. Nothing here names a judge.

contest.json     names, categories, teams by number, the heads of the logs
rules/           the rule set of the contest (its tie-breaks rank the overall) and of each category
cards.csv        every mark that counts, penalty marks in place; a missing card is a missing row
turnins.csv      what became of each box
labels.csv       labels that the desk found swapped, in order
secret.txt       the secret of the draw; its SHA-256 was known before the boxes were drawn
public.txt       that sum, and what was added in public; public-2.txt and so on belong to further draws
draw.txt         the draw: what it was made from and which box went where
log-day.csv      the log of desk and draw; each row holds the hash of the row before
log-cards.csv    the log of boxes and marks
results.csv      the standings
SHA256SUMS       the sums of all other files

To check the files:                sha256sum -c SHA256SUMS
To check the draw's commitment:    sha256sum secret.txt
To find the draw's seed:           cat {publics} | sha256sum
To find its fingerprint:           sha256sum draw.txt
To check everything:               manage.py verify THIS-PACKAGE --draw FINGERPRINT --log HEAD
To tally again, with the seed above:
  manage.py tally cards.csv --turnins turnins.csv --rules rules/contest.toml{rules_for} \\
    {overall}--seed SEED --format csv
{no_overall}
What this proves: the draw was not changed after its fingerprint was printed and follows from its secret and its public
lines; where teams called out words, nobody could choose its seed; the standings follow from the marks by the rules;
and no row of the logs was changed or removed since their heads were written down.
What it does not prove: that nobody talked, that each label was stuck on the right box, that every sheet was keyed as
it was written; and, where no team called out a word, that no other secret was tried first.
"""


NO_OVERALL = "(No category counts toward an overall here: leave out the lines that begin with `overall`.)\n"


def packed(contest: Contest, tally: Tally) -> tuple[bytes, str, dict[str, str]]:
    """The package as it is handed out, its SHA-256, and the heads of the logs that it ends with."""
    files = package_files(contest, tally)
    data = pack(files)
    return data, sha256(data), json.loads(files["contest.json"])["logs"]


def package_files(contest: Contest, tally: Tally) -> dict[str, bytes]:
    """File name → content, `SHA256SUMS` excepted, for a tally of `contest`."""
    inputs = tally.inputs
    # In the order of the day: PostgreSQL keeps the keys of a JSON object in an order of its own.
    rules = {key: parse(inputs["rules"][key]) for key in inputs["categories"]}
    draws = list(Draw.objects.filter(contest=contest).order_by("number"))
    files = {
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
    }
    heads = {}
    for name in ("day", "cards"):
        files[f"log-{name}.csv"], heads[name] = _log(contest, name)
    files["contest.json"] = _facts(contest, tally, heads)
    files["results.csv"] = _results(files, rules, inputs)
    files["READ-ME.txt"] = READ_ME.format(
        name=contest.name,
        date=contest.date.isoformat(),
        publics=f"secret.txt {public_name(draws[-1].number)}",
        rules_for="".join(f" --rules-for {key}=rules/{key}.toml" for key in inputs["rules"]),
        overall=f"--overall {','.join(inputs['counting'])} " if inputs["counting"] else "",
        no_overall="" if inputs["counting"] else NO_OVERALL,
    ).encode()
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


def _log(contest: Contest, name: str) -> tuple[bytes, str]:
    rows = [astuple(row) for row in _chain(contest, name)]
    return csv_bytes(LOG_COLUMNS, rows), rows[-1][-1] if rows else ""


def _facts(contest: Contest, tally: Tally, heads: dict[str, str]) -> bytes:
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
        "logs": heads,
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
