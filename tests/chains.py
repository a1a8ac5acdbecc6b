"""Is a chain of the log whole: asked of the code that reads a backup's chains."""

from contest.models import LogChain
from reports.backup.content import chain_of


def broken_row(chain: LogChain) -> int | None:
    """The number of the first row that does not fit its chain; None when the chain is whole."""
    rows = chain.rows.order_by("number").values_list("number", "at", "what", "facts", "previous", "hash")
    return chain_of(chain.contest_id, chain.name, chain.length, chain.head, rows).broken
