"""How a contest was sealed, in lines for the public: each line is a row of the log."""

import json
from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from contest.models import Contest, LogRow
from contest.rules.draw.commitment import short_form

Facts = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class SealLine:
    """`what` is the row's own word for what happened."""

    at: datetime
    what: str
    text: str


def _drawn(facts: Facts) -> str:
    text = f"The boxes were drawn (draw {facts['draw']}); {facts['boxes']} boxes."
    return f"{text} Reason for drawing again: {facts['reason']}" if facts.get("reason") else text


def _tables(facts: Facts) -> str:
    parts = [("lost", facts["lost"]), ("added", facts["added"])]
    said = [f"table {', '.join(map(str, numbers))} {what}" for what, numbers in parts if numbers]
    return f"The tables changed before the boxes were drawn again: {'; '.join(said)}."


def _reissued(facts: Facts) -> str:
    door = {"desk": "the turn-in desk", "table": "a table captain", "seat": "a judge", "account": "a helper"}
    whose = door.get(facts["opens"], facts["opens"])
    at = f" of table {facts['table']}" if facts.get("table") and facts["opens"] == "table" else ""
    return f"A new pass word was made for {whose}{at}; the one before it no longer opens."


def _labels(facts: Facts) -> str:
    one, other = facts["boxes"]
    when = "" if facts.get("tally") in (None, "sealed") else ", after the tally was closed"
    return f"The desk corrected two swapped labels{when}: boxes {one} and {other}. Reason: {facts['reason']}"


def _name(facts: Facts) -> str:
    whose = f"team {facts['entry']}" if "entry" in facts else "a category"
    return f"The name of {whose} was corrected after the draw: “{facts['from']}” is now “{facts['to']}”."


def _box(facts: Facts) -> str:
    return f"box {facts['box']} ({facts['category']})"


def _ruled(facts: Facts) -> str:
    """A ruling in the public's words: the seat stays out, and the reason, which may name a person, is not logged."""
    box = _box(facts)
    return {
        ("penalty", "criterion"): f"a penalty for {facts.get('criterion', '')} of {box}",
        ("penalty", "card"): f"a penalty on one card of {box}",
        ("penalty", "box"): f"a penalty for {box}",
        ("disqualification", "box"): f"{box} is disqualified",
        ("disqualification", "team"): f"the team of {box} is disqualified",
        ("lost", "card"): f"a card of {box} is lost",
        ("dismissal", "card"): f"a card of {box} is dismissed",
    }[facts["kind"], facts["scope"]]


def _settled(facts: Facts) -> str:
    marks = "the marks that stood" if facts["chosen"] == "standing" else "the other marks"
    return f"Two keyings of a card of {_box(facts)} differed; the paper showed {marks}."


def _unlocked(facts: Facts) -> str:
    return f"The marks were unlocked. Reason: {facts['reason']}"


def _closed(facts: Facts) -> str:
    return f"The tally was closed. Sum of its inputs: {short_form(facts['inputs'])}"


def _revised(facts: Facts) -> str:
    return (
        f"The result was revised: revision {facts['revision']}. Reason: {facts['reason']} "
        f"Sum of its inputs: {short_form(facts['inputs'])}"
    )


_LINES: Mapping[tuple[str, str], Callable[[Facts], str]] = {
    ("day", "one person declared"): lambda facts: "One person was declared to work both the desk and the tally.",
    ("day", "secret of the draw made"): lambda facts: (
        f"The secret of the draw was made, before the teams called out words. Its commitment: {facts['commitment']}"
    ),
    ("day", "boxes drawn"): _drawn,
    ("day", "late team entered"): lambda facts: f"Team {facts['team']} came late and was entered.",
    ("day", "tables changed"): _tables,
    ("day", "name corrected"): _name,
    ("day", "desk signed in"): lambda facts: "Somebody signed in at the turn-in desk.",
    ("day", "pass reissued"): _reissued,
    ("day", "labels corrected"): _labels,
    ("day", "rest came in on time"): lambda facts: (
        f"{len(facts['boxes'])} boxes were recorded together as handed in on time, from the paper ledger."
    ),
    ("day", "windows delayed"): lambda facts: f"The turn-in windows to come were moved by {facts['minutes']} minutes.",
    ("day", "category cancelled"): lambda facts: (
        f"{facts['category'].capitalize()} was cancelled. Reason: {facts['reason']}"
    ),
    ("day", "seal opened"): lambda facts: (
        f"The seal was opened early: the organiser saw names beside boxes from here on. Reason: {facts['reason']}"
    ),
    ("day", "ledger opened"): lambda facts: "The ledger of the turn-in desk was opened or printed.",
    ("day", "role given"): lambda facts: f"After the draw somebody was given a role: {_ROLES[facts['part']]}.",
    ("day", "phones switched on"): lambda facts: "Judges were allowed to mark on their phones.",
    ("day", "phones switched off"): lambda facts: "Marking on phones was switched off.",
    ("cards", "card corrected"): lambda facts: f"A card of {_box(facts)} was corrected after it was handed in.",
    ("cards", "card in conflict"): lambda facts: (
        f"Other marks came from a phone for a card of {_box(facts)} that was in already; they did not replace it."
    ),
    ("cards", "difference settled"): _settled,
    ("cards", "ruling"): lambda facts: f"The head judge ruled: {_ruled(facts)}.",
    ("cards", "ruling withdrawn"): lambda facts: f"The head judge took a ruling back: {_ruled(facts)}.",
    ("cards", "marks locked"): lambda facts: "The marks were locked.",
    ("cards", "marks unlocked"): _unlocked,
    ("day", "marks unlocked"): _unlocked,
    ("day", "tally closed"): _closed,
    ("cards", "tally signed off"): lambda facts: f"The head judge signed off revision {facts['revision']}.",
    ("day", "tally revised"): _revised,
    ("day", "result published"): lambda facts: f"Revision {facts['revision']} was published.",
}


_ROLES: dict[str, str] = {
    "organiser": "organiser",
    "announcer": "announcer",
    "head_judge": "head judge",
    "tally": "tally clerk",
    "desk": "turn-in desk",
}


def seal_lines(contest: Contest) -> list[SealLine]:
    """The rows of both chains that bear on the seal, in the order of time."""
    rows = LogRow.objects.filter(chain__contest=contest, what__in={what for _, what in _LINES}).values_list(
        "chain__name", "what", "facts", "at"
    )
    found = []
    drawn = False
    for chain, what, text, at in rows.order_by("at", "chain__name", "number"):
        facts = json.loads(text)
        drawn = drawn or what == "boxes drawn"
        if (chain, what) in _LINES and not _left_out(chain, what, facts, drawn):
            found.append(SealLine(datetime.fromisoformat(at), what, _LINES[chain, what](facts)))
    return found


def _left_out(chain: str, what: str, facts: Facts, drawn: bool) -> bool:
    """Who helps is settled before the draw. Unlocking after closing stands in both chains, with its reason in one."""
    return (what == "role given" and not drawn) or (
        (chain, what) == ("cards", "marks unlocked") and not facts.get("reason")
    )


_COUNTED = (
    # what; once, how often otherwise, and never
    ("name corrected", "One name was corrected after the draw.", "{} names were corrected after the draw.",
     "No name was corrected after the draw."),
    ("desk signed in", "The turn-in desk signed in once.", "The turn-in desk signed in {} times.",
     "Nobody signed in at the turn-in desk."),
    ("pass reissued", "One pass word was given anew after the draw.", "{} pass words were given anew after the draw.",
     "No pass word was given anew after the draw."),
    ("role given", "One role was given after the draw.", "{} roles were given after the draw.", ""),
    ("labels corrected", "The desk corrected swapped labels once.", "The desk corrected swapped labels {} times.",
     "No label was found swapped."),
    ("card corrected", "One card was corrected after it was handed in.",
     "{} cards were corrected after they were handed in.", "No card was corrected after it was handed in."),
    ("ruling", "The head judge made one ruling.", "The head judge made {} rulings.", "The head judge made no ruling."),
    ("ruling withdrawn", "One ruling was taken back.", "{} rulings were taken back.", ""),
    ("marks unlocked", "Locked marks were unlocked once.", "Locked marks were unlocked {} times.", ""),
    ("tally revised", "The result was revised once.", "The result was revised {} times.", ""),
)  # fmt: skip


def seal_summary(contest: Contest, lines: list[SealLine]) -> list[str]:
    """How the contest was sealed, in a few sentences: what happened, and what never did."""
    counted = Counter(line.what for line in lines)
    draws = counted["boxes drawn"]
    said = [
        "One person worked both the turn-in desk and the tally."
        if contest.one_person
        else "No account held the turn-in desk beside any other role.",
        _opened(contest),
        "The boxes were drawn once." if draws < 2 else f"The boxes were drawn {draws} times; the last draw stands.",
    ]
    for what, once, often, never in _COUNTED:
        number = counted[what]
        said.append(never if number == 0 else once if number == 1 else often.format(number))
    return [sentence for sentence in said if sentence]


def _opened(contest: Contest) -> str:
    if contest.seal_opened_at is None:
        return "The seal was not opened before the tally was closed."
    at = contest.local(contest.seal_opened_at)
    return f"The seal was opened early on {at.day} {at:%B} {at:%H:%M}, by the organiser: {contest.seal_opened_why}"
