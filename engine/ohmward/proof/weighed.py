"""One change between two tables, and the two forms in which most of them come."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from ohmward.proof.bounds import Weight

_OPPOSITE = {Weight.LOOSER: Weight.STRICTER, Weight.STRICTER: Weight.LOOSER, Weight.OTHER: Weight.OTHER}
MOST_SHOWN = 160


@dataclass(frozen=True, slots=True)
class Change:
    """One thing that stands otherwise: where, and what, in words."""

    weight: Weight
    where: str
    words: str


def added_and_removed(
    where: str,
    old: Iterable[str],
    new: Iterable[str],
    words: str,
    *,
    added: Weight,
    removed: Weight | None = None,
) -> Iterator[Change]:
    """One change for each item that came or went; `words` has a place for the item. `removed`: else the opposite."""
    before, after = tuple(old), tuple(new)
    for item in before:
        if item not in after:
            yield Change(removed or _OPPOSITE[added], where, f"no longer {words.format(item)}")
    for item in after:
        if item not in before:
            yield Change(added, where, f"now {words.format(item)}")


def texts_changed(
    where: str, old: Mapping[str, Any], new: Mapping[str, Any], fields: Iterable[str]
) -> Iterator[Change]:
    """Words that people read: no rule speaks of them, so somebody must."""
    for field in fields:
        if old.get(field) != new.get(field):
            said = f"{field.replace('_', ' ')}: {_short(old.get(field))} -> {_short(new.get(field))}"
            yield Change(Weight.OTHER, where, said)


def refusals_changed(
    where: str, old: Sequence[Mapping[str, str]], new: Sequence[Mapping[str, str]]
) -> Iterator[Change]:
    """What is said when a condition does not hold: of the same condition, else of the one in its place."""
    before = {r["require"]: r["otherwise"] for r in old}
    for place, require in enumerate(new):
        beside = old[place]["otherwise"] if place < len(old) else None
        was = before.get(require["require"], beside)
        if was is not None:
            yield from texts_changed(where, {"otherwise": was}, require, ("otherwise",))


def _short(value: object) -> str:
    text = "none" if value is None else value if isinstance(value, str) else "; ".join(map(str, value))  # type: ignore[call-overload]
    text = text or "none"
    return f"'{text[:MOST_SHOWN]}…'" if len(text) > MOST_SHOWN else f"'{text}'"
