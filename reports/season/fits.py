"""Fits the severity model to a season and keeps what the pages show. Slow: run by the background worker's child only.

The model's numbers are shares of the scale; pages turn them into each contest's own points.
"""

from collections import defaultdict
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction

from django.db import transaction
from django.utils import timezone

from contest.models import Contest
from contest.rules.ruleset import RuleSet
from reports.models import ContestAgreement, SeverityFit
from reports.rules.fitted import ENGINE, FitFigures, JudgeSeverity, Points, TeamSlope, by_place
from reports.rules.severity.hardness import FORMULA, WEIGHTED, Hardness, scored
from reports.rules.severity.model import SeverityError
from reports.rules.severity.places import Announced, Field, Hold, Rejudged, Rules
from reports.season.agreement import agreement_of
from reports.season.cards import SeasonCards, fit_key, points_of, season_cards
from reports.season.own import members_of, with_packages
from reports.season.slopes import slopes_of

REPETITIONS = 4000
Say = Callable[[int, int], None]


def fit_season(group: str, say: Say = lambda done, of: None) -> list[SeverityFit]:
    """Every fit of a season, or of a team's own, that is not kept yet; `say` is told how many are done of how many."""
    members = members_of(group)
    cards = with_packages(season_cards(members.contests), members)
    if not cards.held:
        return []
    wanted = _wanted(cards)
    found = []
    for done, (response, category) in enumerate(wanted):
        say(done, len(wanted) + 1)
        found.append(_kept(group, cards, response, category))
    say(len(wanted), len(wanted) + 1)
    for contest in cards.contests if not cards.own else []:
        _keep_agreement(cards, contest)
    say(len(wanted) + 1, len(wanted) + 1)
    return found


def _wanted(cards: SeasonCards) -> list[tuple[str, str]]:
    """(response, category): the weighted mark over all categories first, then each criterion, then each category."""
    criteria: dict[str, None] = {}
    categories: dict[str, None] = {}
    for held in cards.held:
        for key, rules in held.rules.items():
            categories.setdefault(key)
            criteria.update(dict.fromkeys(criterion.key for criterion in rules.criteria))
    alone = list(categories) if len(categories) > 1 else []
    return [(WEIGHTED, ""), *((key, "") for key in criteria), *((WEIGHTED, key) for key in alone)]


def _kept(group: str, cards: SeasonCards, response: str, category: str) -> SeverityFit:
    uids = sorted(held.uid for held in cards.held)
    key = fit_key(uids, response, category, FORMULA, ENGINE, cards.inputs_hash)
    known = SeverityFit.objects.current().filter(key=key, group=group).first()
    if known is not None:
        return known
    result = _result(cards, response, category)
    with transaction.atomic():
        SeverityFit.objects.filter(group=group, response=response, category=category).delete()
        return SeverityFit.objects.create(
            group=group,
            key=key,
            contests=uids,
            response=response,
            category=category,
            formula=FORMULA,
            engine=ENGINE,
            inputs_hash=cards.inputs_hash,
            result=result.to_json(),
            made_at=timezone.now(),
        )


def _result(cards: SeasonCards, response: str, category: str) -> FitFigures:
    frame = cards.cards_of("category", category) if category else cards.frame
    try:
        return _figures(cards, Hardness(frame, response), category)
    except SeverityError as error:
        return FitFigures(contests=len(cards.held), problem=error.code)


def _figures(cards: SeasonCards, hardness: Hardness, category: str) -> FitFigures:
    fit = hardness.fit
    points = _points(cards, hardness.response)
    names = _names(cards)
    figures = FitFigures(
        contests=len(cards.held),
        brought=len(cards.held) - len(cards.contests),
        cards=len(hardness.cards),
        left_out=hardness.left_out,
        variances=dict(fit.variances),
        residual=fit.residual,
        at_boundary=tuple(fit.at_boundary),
        connected=fit.connected,
        tables_alike=hardness.tables_alike,
        names=names,
        points=points,
        tables=by_place(hardness.tables()),
    )
    if category:
        return figures
    slopes = slopes_of(hardness, [held.uid for held in cards.held], worths=_worths(points))
    boxes = {key: box for key, box in hardness.boxes().items() if cards.own in ("", box.team)}
    if cards.own:  # the other teams were needed to compare, and are nobody's to read
        slopes = {key: _only(teams, cards.own) for key, teams in slopes.items()}
    figures = replace(figures, boxes=by_place(boxes), slopes=slopes)
    if cards.own or hardness.response != WEIGHTED:
        return figures
    several = cards.contests if len(cards.contests) > 1 else []
    return replace(
        figures,
        judges={judge: JudgeSeverity(*severity) for judge, severity in hardness.judges().items()},
        repetitions=REPETITIONS,
        places={str(contest.uid): _places(cards, contest, hardness) for contest in several},
    )


def _only(teams: dict[str, TeamSlope], own: str) -> dict[str, TeamSlope]:
    return {own: teams[own]} if own in teams else {}


def _points(cards: SeasonCards, response: str) -> dict[str, Points]:
    """Contest and category → how shares read in its points; without the categories that lack the criterion."""
    found = {}
    for held in cards.held:
        for key, rules in held.rules.items():
            try:
                found[f"{held.uid}|{key}"] = points_of(rules, response)
            except KeyError:
                continue
    return found


def _names(cards: SeasonCards) -> dict[str, str]:
    """The names of categories and criteria, by key, as the newest contest has them."""
    found: dict[str, str] = {}
    for held in cards.held:
        for rules in held.rules.values():
            found.update({criterion.key: criterion.name for criterion in rules.criteria})
    for held in cards.held:
        found.update(held.names)
    return found


def _worths(points: dict[str, Points]) -> dict[tuple[str, str], float]:
    """(contest, category) → what a whole share of the scale is worth in points; category "": the categories' mean."""
    found: dict[tuple[str, str], float] = {}
    of_contest: dict[str, list[float]] = defaultdict(list)
    for key, each in points.items():
        contest, _, category = key.partition("|")
        found[contest, category] = each.total
        of_contest[contest].append(found[contest, category])
    return found | {(contest, ""): sum(worths) / len(worths) for contest, worths in of_contest.items()}


def _places(cards: SeasonCards, contest: Contest, hardness: Hardness) -> dict[str, dict[str, Hold]]:
    """How the announced places of a contest would fare: category key (or "") → team number → hold."""
    outcome, numbers = cards.tallies[contest.pk].standings, {}
    own = dict(list(scored(cards.cards_of("contest", str(contest.uid))).groupby(["category", "box"])))
    fields = []
    for category in outcome.categories:
        boxes = []
        for box in category.boxes:
            if box.rank is None or box.total is None:
                continue
            rows = own.get((category.key, box.box))
            judged = list(rows.itertuples()) if rows is not None and rows["score"].notna().all() else []
            numbers[category.key, box.box] = box.team
            boxes.append(Announced(box.box, box.team, box.table, box.rank, float(Fraction(box.total)), judged))
        if len(boxes) > 1:
            fields.append(Field(category.key, _rules(cards.rules(contest)[category.key]), boxes))
    if not fields:
        return {}
    again = Rejudged(hardness, fields, repetitions=REPETITIONS, seed=int(cards.inputs_hash[:12], 16))
    found = {
        field.category: {numbers[field.category, box]: hold for box, hold in again.holds(field.category).items()}
        for field in fields
    }
    counting = [category.key for category in outcome.categories if category.counts]
    overall = {row.team: row.rank for row in outcome.overall}
    if len(counting) > 1 and overall:
        found[""] = again.overall(counting, overall)
    return found


def _rules(rules: RuleSet) -> Rules:
    points = points_of(rules, WEIGHTED)
    lows = rules.drop.count if rules.drop.rule in ("lowest", "highest_and_lowest") else 0
    highs = rules.drop.count if rules.drop.rule in ("highest", "highest_and_lowest") else 0
    return Rules(
        lowest=points.lowest,
        span=points.span,
        per_entry=rules.per_entry,
        lows=lows,
        highs=highs,
        drop_when_short=rules.drop.when_short == "drop",
        full=rules.full_counted,
        scaled=rules.total_when_short == "scale",
        mean=rules.total_of == "mean",
    )


def _keep_agreement(cards: SeasonCards, contest: Contest) -> None:
    tally = cards.tallies[contest.pk]
    if ContestAgreement.objects.filter(tally=tally, engine=ENGINE).exists():
        return
    points = {key: points_of(rules, WEIGHTED) for key, rules in cards.rules(contest).items()}
    result = agreement_of(cards.cards_of("contest", str(contest.uid)), points)
    ContestAgreement.objects.update_or_create(
        tally=tally, defaults={"engine": ENGINE, "result": result.to_json(), "made_at": timezone.now()}
    )
