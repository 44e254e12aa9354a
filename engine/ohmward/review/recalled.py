"""Records that rest on what was taken out of use after they were worked: they are looked at again."""

from collections.abc import Iterator

from ohmward.account.state import Account
from ohmward.approval.consent import Approvals
from ohmward.review.reasons import Reason

RECALLED = "recalled"
WEIGHT = 8


def recalled_since(account: Account, known: Approvals) -> Iterator[Reason]:
    """Gear that was used and the table that was worked, recalled on the day of the run or later."""
    opened = account.opened_at[:10]
    for item, word in known.gear.items():
        entries = tuple(e.number for e in account.entries if item in e.instrument.split("; "))
        if entries and word.time[:10] >= opened:
            words = f"{item} was recalled on {word.time[:10]} ({word.why}): it was used here"
            yield Reason(kind=RECALLED, weight=WEIGHT, words=words, entries=entries)
    consent = known.tables.get(account.table_digest)
    if consent is not None and consent.recalled is not None and consent.recalled.time[:10] >= opened:
        words = f"this revision was recalled on {consent.recalled.time[:10]} ({consent.recalled.why})"
        yield Reason(kind=RECALLED, weight=WEIGHT, words=words)
