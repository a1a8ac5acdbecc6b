"""A second tally, written from the rules' text alone with fractions, to hold against the engine.

It shares no code with the engine and reads the rule set as a plain document. Slow on purpose: every sentence of the
rules is one plain step.
"""

import hashlib
from decimal import Decimal
from fractions import Fraction

F = Fraction


def weighted(document, card):
    return sum(F(c["weight"]) * F(card["marks"][c["key"]]) for c in document["criterion"])


def in_card_order(document, cards):
    """By weighted mark, then by the marks in sheet order, then by seat."""
    keys = [c["key"] for c in document["criterion"]]
    return sorted(cards, key=lambda card: (weighted(document, card), [F(card["marks"][k]) for k in keys], card["seat"]))


def grubbs_limit_squared(n, alpha):
    from scipy import stats

    t = stats.t.ppf(1 - float(alpha) / (2 * n), n - 2)
    g = (n - 1) / n**0.5 * (t * t / (n - 2 + t * t)) ** 0.5
    return F(format(Decimal(g * g), ".11e"))


def median(values):
    values = sorted(values)
    n = len(values)
    return values[n // 2] if n % 2 else (values[n // 2 - 1] + values[n // 2]) / 2


def outlier(document, cards):
    """The card that a statistical rule would drop next, or None; of equally extreme ones the earlier."""
    drop = document["drop"]
    points = [weighted(document, card) for card in cards]
    n = len(points)
    if drop["rule"] == "grubbs":
        mean = sum(points) / F(n)
        if n < 3:
            return None
        variance = sum((x - mean) ** 2 for x in points) / (n - 1)
        if variance == 0:
            return None
        distances = [abs(x - mean) for x in points]
        worst = max(distances)
        if worst**2 / variance > grubbs_limit_squared(n, drop.get("alpha", "0.05")):
            return cards[distances.index(worst)]
        return None
    centre = median(points)
    distances = [abs(x - centre) for x in points]
    spread = median(distances)
    worst = max(distances)
    if spread and F("0.6745") * worst / spread > F(drop.get("limit", "3.5")):
        return cards[distances.index(worst)]
    return None


def drop_cards(document, cards):
    """(counted, dropped), dropped in the order in which they went."""
    kept, gone = in_card_order(document, cards), []
    drop, fewest = document["drop"], document["cards"]["fewest"]
    if len(cards) < document["cards"]["per_entry"] and drop["when_short"] == "keep":
        return kept, gone
    for _ in range(drop["count"]):
        for end in {"lowest": [0], "highest": [-1], "highest_and_lowest": [0, -1]}.get(drop["rule"], []):
            if len(kept) > fewest:
                gone.append(kept.pop(end))
        if drop["rule"] in ("grubbs", "median_distance") and len(kept) > fewest:
            found = outlier(document, kept)
            if found is None:
                break
            kept.remove(found)
            gone.append(found)
    return kept, gone


def total(document, kept):
    points = sum(weighted(document, card) for card in kept)
    if document["total"]["of"] == "mean":
        return points / F(len(kept))
    full = document["cards"]["per_entry"]
    removes = {"lowest": 1, "highest": 1, "highest_and_lowest": 2}.get(document["drop"]["rule"], 0)
    full -= removes * document["drop"]["count"]
    if document["total"]["when_short"] == "scale":
        return points * full / len(kept)
    return points


def judge(document, box):
    """Adds status, total, kept and gone to a box."""
    cards, status = box["cards"], box["turnin"]
    counts_as_penalty = document.get(status, {}).get("result") == "penalty_marks"
    box.update(status=status, total=None, kept=[], gone=[], rank=None, decided_by=None)
    if status == "accepted":
        if len(cards) < document["cards"]["fewest"]:
            box["status"] = "short"
            return
        box["status"] = "ranked"
    elif status in ("late", "disqualified") and counts_as_penalty:
        marks = {c["key"]: document["scale"]["penalty"] for c in document["criterion"]}
        cards = [{"seat": "", "marks": marks} for _ in range(document["cards"]["per_entry"])]
    else:
        return
    box["kept"], box["gone"] = drop_cards(document, cards)
    box["total"] = total(document, box["kept"])


def tie_value(step, documents, boxes, seed, category, name):
    """Higher is better."""

    def criterion_sum(which):
        return sum(F(card["marks"].get(step["criterion"], 0)) for box in boxes for part in which for card in box[part])

    def points(which):
        return [weighted(documents[box["category"]], card) for box in boxes for part in which for card in box[part]]

    if step["by"] == "counted_criterion":
        return criterion_sum(["kept"])
    if step["by"] == "criterion":
        return criterion_sum(["kept", "gone"])
    if step["by"] == "dropped_cards":
        return sum(points(["gone"]))
    if step["by"] == "highest_card":
        return sorted(points(["kept", "gone"]), reverse=True)
    digest = hashlib.sha256(f"{seed}:{category}:{name}".encode()).hexdigest()
    return -int(digest, 16)


def part(tied, steps, documents, seed, category):
    """Groups of a tie, best first. An entry is a dict with name and boxes."""
    if len(tied) == 1 or not steps:
        return [tied]
    step, rest = steps[0], steps[1:]
    values = [tie_value(step, documents, each["boxes"], seed, category, each["name"]) for each in tied]
    distinct = []
    for value in sorted(values, reverse=True):
        if value not in distinct:
            distinct.append(value)
    groups = []
    for value in distinct:
        group = [each for each, own in zip(tied, values, strict=True) if own == value]
        if len(distinct) > 1:
            for each in group:
                each["decided_by"] = step["by"] + (f":{step['criterion']}" if "criterion" in step else "")
        groups += part(group, rest, documents, seed, category)
    return groups


def rank(entries, steps, documents, seed, category):
    place = 1
    for value in sorted({each["total"] for each in entries}, reverse=True):
        for group in part([e for e in entries if e["total"] == value], steps, documents, seed, category):
            for each in group:
                each["rank"] = place
            place += len(group)


def tally(documents, boxes, overall, seed, contest):
    """Boxes: dicts of category, box, team, turnin, cards. Gives boxes by (category, box), and teams by name."""
    for box in boxes:
        judge(documents[box["category"]], box)
    for category, document in documents.items():
        entries = [
            {"name": box["box"], "boxes": [box], "total": box["total"], "decided_by": None, "box": box}
            for box in boxes
            if box["category"] == category and box["total"] is not None
        ]
        rank(entries, document["tie_break"], documents, seed, category)
        for entry in entries:
            entry["box"].update(rank=entry["rank"], decided_by=entry["decided_by"])
    teams = []
    held = [category for category in overall if any(box["category"] == category for box in boxes)]
    for name in sorted({box["team"] for box in boxes}):
        own = [box for box in boxes if box["team"] == name and box["category"] in overall]
        ranked = [box for box in own if box["total"] is not None]
        teams.append(
            {
                "name": name,
                "boxes": ranked,
                "total": sum((box["total"] for box in ranked), F(0)),
                "eligible": not contest["overall"]["needs_all"] or {box["category"] for box in own} == set(held),
                "decided_by": None,
            }
        )
    rank(teams, contest["tie_break"], documents, seed, "overall")
    return {(box["category"], box["box"]): box for box in boxes}, {team["name"]: team for team in teams}
