"""How far the review of a record has come, read from its own entries."""

from ohmward.account.state import Account
from ohmward.record.entry import Entry, Kind

TO_LOOK, SENT_BACK, ANSWERED, COUNTERSIGNED = "to be looked at", "sent back", "answered", "countersigned"


def standing_of(account: Account) -> tuple[str, str]:
    """(where the review stands, words): sent back until somebody signs again, countersigned while nothing came after."""
    returned = _returned(account)
    reviewed = _last(account, Kind.SIGNED, "reviewed")
    performed = _last(account, Kind.SIGNED, "performed")
    if returned is not None and (reviewed is None or reviewed.number <= returned.number + 1):
        words = f"sent back by {returned.actor} on {returned.time[:10]}: {returned.note}"
        again = performed is not None and performed.number > returned.number
        return (ANSWERED, f"{words}; answered since then") if again else (SENT_BACK, words)
    if reviewed is not None and not _went_on(account, reviewed.number):
        return COUNTERSIGNED, f"countersigned by {reviewed.actor} on {reviewed.time[:10]}"
    return TO_LOOK, TO_LOOK


def _returned(account: Account) -> Entry | None:
    """The last note that sent it back, signed by its writer right after it: a note alone counts for nothing."""
    pairs = zip(account.entries, account.entries[1:], strict=False)
    return next(
        (
            note
            for note, after in reversed(list(pairs))
            if note.kind is Kind.RETURNED and (after.kind, after.actor) == (Kind.SIGNED, note.actor)
        ),
        None,
    )


def _last(account: Account, kind: Kind, said: str = "") -> Entry | None:
    return next((e for e in account.entries[::-1] if e.kind is kind and said in {"", e.said}), None)


def _went_on(account: Account, number: int) -> bool:
    return any(e.number > number and e.kind is not Kind.SIGNED for e in account.entries)
