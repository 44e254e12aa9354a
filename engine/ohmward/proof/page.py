"""A rule's documentation page, from the rule's own file: nothing is said twice."""

from collections.abc import Iterator, Mapping
from typing import Any

from ohmward.language.models import Bad, OnTheWay, Rule

_LINES = {
    "where": "only where",
    "unless": "not at",
    "must": "must hold",
    "in_order": "before it, in order",
    "must_contain": "every way to held shows",
    "never": "never held after",
    "refuses": "does not hold after",
    "lost_by": "is lost by",
    "holds_at_most": "holds at most",
    "suits": "asks of the gear",
    "names": "names people as",
    "stops": "ends the work",
    "stops_by": "ends the work, or says what becomes of it, an answer that speaks of",
    "stays_off": "nothing is fed again after",
    "told_apart": "not every answer of a question counts as",
}
_TABLES = {
    "read_by_two": "is read by two, within",
    "reads_with": "is read with",
    "shows": "shows",
    "counts_from": "counts from",
    "counts_to": "counts up to",
    "waits": "is read after at least",
    "proved_by": "is vouched for, before and after, by",
    "held_by": "goes on only with",
    "only_by": "is told only by",
    "only_where": "may be chosen only where",
    "tells": "is told by",
    "tells_by": "is told by an answer that speaks of",
    "needs": "needs",
    "means": "has in its changes",
    "reads_also": "is also read with",
    "offers": "offers",
    "told_by": "is told only by",
    "denied_by": "is not told by an answer that speaks of",
}


def page_of(rule: Rule) -> str:
    """The page as text: what it says, where it speaks, what it demands, how it is broken, how that is mended."""
    lines = [rule.rule, f"  {rule.says}", f"  basis ({rule.status}): {'; '.join(rule.basis)}"]
    lines.append(f"  watched:  {rule.whenever}")
    for field, words in _LINES.items():
        value: Any = getattr(rule, field)
        if value:
            lines.append(f"  {words}: {_listed(value)}")
    if rule.in_order:
        lines.append(f"  counted since: {rule.since}")
    for field, words in _TABLES.items():
        lines += _table(getattr(rule, field), words)
    lines += (
        f"  {tag}: {outcome} {limit}"
        for tag, limits in rule.bounds.items()
        for outcome, limit in limits.items()
    )
    lines += (f"  {tag} is read between {' or '.join(points)}" for tag, points in rule.reads_between.items())
    lines += map(_way, rule.on_the_way)
    lines += _edit(rule.bad, "broken by")
    lines += _edit(rule.good, "kept by")
    return "\n".join([*lines, f"  remedy:   {rule.remedy}"])


def _listed(value: str | tuple[str, ...]) -> str:
    return value if isinstance(value, str) else "; ".join(value)


def _table(table: Mapping[str, str | tuple[str, ...]], words: str) -> Iterator[str]:
    return (f"  {tag} {words} {_listed(said)}" for tag, said in table.items())


def _way(way: OnTheWay) -> str:
    only = f", where {way.asks_for} is asked for" if way.asks_for is not None else ""
    return f"  after any of: {_listed(way.after)}; before any of: {_listed(way.to)}; comes: {', then '.join(way.passes)}{only}"


def _edit(edit: Bad | None, words: str) -> Iterator[str]:
    """An example as what is taken out and what is put in."""
    while edit is not None:
        yield f"  {words} this edit of {edit.file}:"
        yield from (f"    - {line}" for line in edit.find)
        yield from (f"    + {line}" for line in edit.put)
        edit, words = edit.also, "together with"
