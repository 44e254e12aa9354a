"""A rule's documentation page, from the rule's own file: nothing is said twice."""

from collections.abc import Iterator, Mapping
from typing import Any

from ohmward.language.models import Bad, Rule

_LINES = (
    ("where", "only where"),
    ("unless", "not at"),
    ("must", "must hold"),
    ("in_order", "before it, in order"),
    ("must_contain", "every way to held shows"),
    ("never", "never held after"),
    ("refuses", "does not hold after"),
    ("lost_by", "is lost by"),
    ("suits", "asks of the gear"),
)


def page_of(rule: Rule) -> str:
    """The page as text: what it says, where it speaks, what it demands, how it is broken, how that is mended."""
    lines = [rule.rule, f"  {rule.says}", f"  basis ({rule.status}): {'; '.join(rule.basis)}"]
    lines.append(f"  watched:  {rule.whenever}")
    for field, words in _LINES:
        value: Any = getattr(rule, field)
        if value:
            lines.append(f"  {words}: {value if isinstance(value, str) else '; '.join(value)}")
    if rule.in_order:
        lines.append(f"  counted since: {rule.since}")
    lines += _tables(rule.reads_between, "is read between")
    lines += _tables(rule.read_by_two, "is read by two, within")
    lines += (
        f"  {tag}: {outcome} {limit}"
        for tag, limits in rule.bounds.items()
        for outcome, limit in limits.items()
    )
    lines += _edit(rule.bad, "broken by")
    lines += _edit(rule.good, "kept by")
    return "\n".join([*lines, f"  remedy:   {rule.remedy}"])


def _tables(table: Mapping[str, str], words: str) -> Iterator[str]:
    return (f"  {tag} {words} {points}" for tag, points in table.items())


def _edit(edit: Bad | None, words: str) -> Iterator[str]:
    """An example as what is taken out and what is put in."""
    while edit is not None:
        yield f"  {words} this edit of {edit.file}:"
        yield from (f"    - {line}" for line in edit.find)
        yield from (f"    + {line}" for line in edit.put)
        edit, words = edit.also, "together with"
