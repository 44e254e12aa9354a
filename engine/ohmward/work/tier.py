"""The tier of a place as a run stands, with its working in words."""

from typing import Any

from ohmward.account.state import Account
from ohmward.chart.layout import holds
from ohmward.chart.table import NODE_BITS


def tier_of(account: Account, place: str, *, reached: bool = False) -> tuple[str, str]:
    """The tier of a place now, and why, in words; `reached`: hands or probes go in, and no cover counts."""
    data: Any = account.table.data
    layout = account.table.layout
    bits = account.position >> NODE_BITS
    known = data["places"][place]
    if holds(layout.from_words(data["bare low" if reached else "tier low"][place]), bits):
        cover = None if reached else known.get("cover")
        shut = cover is not None and layout.value(bits, f"temporary {cover}") == "not there"
        return (
            "low",
            "its cover is on"
            if shut
            else "what is uncovered there is held off, read dead, discharged, or limited",
        )
    live = [data["sources"][s]["label"] for s in known["holds"] if not _harmless(account, s, place)]
    return "shock", f"may be live there: {', '.join(live)}"


def _harmless(account: Account, source: str, place: str) -> bool:
    data: Any = account.table.data
    known = data["sources"][source]
    if known["kind"] == "circuit":
        held = holds(account.table.layout.from_words(data["held off"][source]), account.position >> NODE_BITS)
        key = f"verified-dead({source}, {place})"
        return "limited" in known or (held and key in data["gates"] and account.is_held(key))
    return (
        known["kind"] != "stored" or account.table.value(account.position, f"stored {source}") == "discharged"
    )
