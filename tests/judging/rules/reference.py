"""A second tally, written from the rules' text alone with fractions, to hold against the engine.

It shares no code with the engine and reads the rule set as a plain document. Slow on purpose: every sentence of the
rules is one plain step.
"""

import hashlib
import itertools
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
    worst = max(distances)
    score = modified_z(worst, distances)
    if score is not None and score > F(drop.get("limit", "3.5")):
        return cards[distances.index(worst)]
    return None


def modified_z(distance, distances):
    """Iglewicz and Hoaglin: by the median of the distances; by their mean where that is 0; None where both are."""
    if median(distances):
        return F("0.6745") * distance / median(distances)
    mean = sum(distances) / F(len(distances))
    return F("0.7979") * distance / mean if mean else None


def text(number):
    """An exact decimal where there is one, else p/q reduced."""
    number = F(number)
    rest = number.denominator
    for prime in (2, 5):
        while rest % prime == 0:
            rest //= prime
    if rest > 1:
        return f"{number.numerator}/{number.denominator}"
    for places in itertools.count():
        shifted = number * 10**places
        if shifted.denominator == 1:
            digits = str(abs(shifted.numerator)).rjust(places + 1, "0")
            sign = "-" if number < 0 else ""
            return sign + (f"{digits[:-places]}.{digits[-places:]}" if places else digits)


def codes(document, cards, kept, gone):
    """The dropped cards' codes, each worked out from the cards that were there when it went."""
    drop, order, made = document["drop"], in_card_order(document, cards), []
    for at, card in enumerate(gone):
        left = [weighted(document, other) for other in order if other not in gone[:at]]
        own = weighted(document, card)
        if drop["rule"] == "grubbs":
            mean = sum(left) / F(len(left))
            variance = sum((x - mean) ** 2 for x in left) / (len(left) - 1)
            limit = grubbs_limit_squared(len(left), drop.get("alpha", "0.05"))
            made.append(f"grubbs:{text((own - mean) ** 2 / variance)}:{text(limit)}")
        elif drop["rule"] == "median_distance":
            distances = [abs(x - median(left)) for x in left]
            score = modified_z(abs(own - median(left)), distances)
            made.append(f"median_distance:{text(score)}:{text(F(drop.get('limit', '3.5')))}")
        else:
            end = drop["rule"]
            if end == "highest_and_lowest":
                end = "highest" if at % 2 else "lowest"
            nearest = kept[0] if end == "lowest" else kept[-1]
            made.append(f"{end}:{text(own)}:{text(weighted(document, nearest))}")
    return made


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
    box.update(status=status, total=None, kept=[], gone=[], rank=None, decided_by=None, codes=[], ties=[])
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
    box["codes"] = codes(document, cards, box["kept"], box["gone"]) if status == "accepted" else []
    box["total"] = total(document, box["kept"])


def mean_of(values):
    return sum(values) / F(len(values))


def tie_values(step, documents, tied, seed, category):
    """One value for each of those tied, higher is better, each with its text; None where the step is passed over."""

    def criterion_means(boxes, parts):
        key = step["criterion"]
        return sum(
            (
                mean_of([F(card["marks"][key]) for part in parts for card in box[part]])
                for box in boxes
                if key in [c["key"] for c in documents[box["category"]]["criterion"]]
            ),
            F(0),
        )

    def points(boxes, parts):
        return [weighted(documents[box["category"]], card) for box in boxes for part in parts for card in box[part]]

    by = step["by"]
    if by in ("counted_criterion", "criterion"):
        parts = ["kept"] if by == "counted_criterion" else ["kept", "gone"]
        values = [criterion_means(entry["boxes"], parts) for entry in tied]
        return values, [text(value) for value in values]
    if by == "dropped_cards":
        dropped = [points(entry["boxes"], ["gone"]) for entry in tied]
        if not all(dropped):
            return None
        values = [mean_of(cards) for cards in dropped]
        return values, [text(value) for value in values]
    if by == "highest_card":
        listed = [sorted(points(entry["boxes"], ["kept", "gone"]), reverse=True) for entry in tied]
        shortest = min(len(cards) for cards in listed)
        if not shortest:
            return None
        values = [cards[:shortest] for cards in listed]
        return values, [",".join(text(card) for card in cards) for cards in values]
    digests = [hashlib.sha256(f"{seed}:{category}:{entry['name']}".encode()).hexdigest() for entry in tied]
    return [-int(digest, 16) for digest in digests], digests


def part(tied, steps, documents, seed, category):
    """Groups of a tie, best first. An entry is a dict with name and boxes."""
    if len(tied) == 1 or not steps:
        return [tied]
    step, rest = steps[0], steps[1:]
    compared = tie_values(step, documents, tied, seed, category)
    if compared is None:
        return part(tied, rest, documents, seed, category)
    values, texts = compared
    label = step["by"] + (f":{step['criterion']}" if "criterion" in step else "")
    distinct = []
    for value in sorted(values, reverse=True):
        if value not in distinct:
            distinct.append(value)
    for entry, shown in zip(tied, texts, strict=True):
        entry["ties"].append(f"{label}={shown}")
        if len(distinct) > 1:
            entry["decided_by"] = label
    groups = []
    for value in distinct:
        group = [entry for entry, own in zip(tied, values, strict=True) if own == value]
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
            {"name": box["box"], "boxes": [box], "total": box["total"], "decided_by": None, "ties": [], "box": box}
            for box in boxes
            if box["category"] == category and box["total"] is not None
        ]
        rank(entries, document["tie_break"], documents, seed, category)
        for entry in entries:
            entry["box"].update(rank=entry["rank"], decided_by=entry["decided_by"], ties=entry["ties"])
    teams = []
    held = {box["category"] for box in boxes if box["category"] in overall}
    needs = contest["overall"]["needs"]
    for name in sorted({box["team"] for box in boxes}):
        if all(box["turnin"] == "absent" for box in boxes if box["team"] == name):
            continue
        own = [box for box in boxes if box["team"] == name and box["category"] in overall]
        ranked = [box for box in own if box["total"] is not None]
        judged, entered = {box["category"] for box in ranked} == held, {box["category"] for box in own} == held
        teams.append(
            {
                "name": name,
                "boxes": ranked,
                "total": sum((box["total"] for box in ranked), F(0)),
                "eligible": {"all_judged": judged, "all_entered": entered, "any": True}[needs],
                "decided_by": None,
                "ties": [],
            }
        )
    rank(teams, contest["tie_break"], documents, seed, "overall")
    return {(box["category"], box["box"]): box for box in boxes}, {team["name"]: team for team in teams}
