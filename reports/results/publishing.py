"""Making a signed tally public, and an account's claim to a team."""

from django.db import transaction

from contest import day
from contest.models import Account, Contest, Team, TeamMember
from contest.refusals import Refused
from contest.services.log import write_log
from contest.services.names import log_corrected_names
from judging.services.tally import newest_tally
from reports.models import Publication
from reports.results.packaging import bound_files, packed
from reports.rules.package.archive import bound_sums


@transaction.atomic
def publish(*, contest: Contest, by: str) -> Publication:
    """Make the newest tally public. A revision is published beside the earlier ones, which stay."""
    contest = Contest.objects.select_for_update(of=("self",)).get(pk=contest.pk)
    if contest.is_sealed:
        raise Refused("There is nothing to publish before the tally is closed.")
    todos = day.in_the_way("publishing", contest)
    if todos:
        raise Refused(" ".join(todo.text for todo in todos))
    tally = newest_tally(contest)
    if tally is None or tally.signed_at is None:
        raise Refused("The head judge has not signed off the tally.")
    if Publication.objects.filter(tally=tally).exists():
        raise Refused("This result is published already.")
    # A name that changed in any other way than by a correction that was logged is named before the result goes out.
    log_corrected_names(contest=contest, by=by)
    made = Publication.objects.create(contest=contest, tally=tally, by=by)
    Contest.objects.filter(pk=contest.pk).update(state=Contest.State.PUBLISHED)
    files = bound_files(contest, tally)
    facts = {"revision": tally.revision, "inputs": tally.inputs_hash, "files": bound_sums(files)}
    # From this row on the log of the day waits for this transaction: in the package it ends with the publication.
    write_log(contest=contest, chain="day", what="result published", facts=facts, by=by)
    made.package, made.package_sum, made.log_heads = packed(contest, files)
    made.save(update_fields=["package", "package_sum", "log_heads"])
    day.happened(contest, "published")
    return made


def claim_team(*, team: Team, account: Account) -> TeamMember:
    """The account counts as one of the team; claiming twice changes nothing."""
    return TeamMember.objects.get_or_create(team=team, account=account)[0]
