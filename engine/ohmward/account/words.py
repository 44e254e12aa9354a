"""What the table's plain data is called, one wording for screen, paper and files: gates, items of a list."""

from collections.abc import Mapping
from typing import Any


def gate_words(gate: Mapping[str, Any]) -> str:
    """A gate's title with what it is of, in brackets."""
    return f"{gate['title']} ({', '.join(gate['of'])})" if gate["of"] else str(gate["title"])


def items_of(facts: Mapping[str, Any], fact: str) -> list[str]:
    """The items of a fact that is a list; a single text is a list of one, a missing fact an empty one."""
    listed = facts.get(fact, ())
    return [listed] if isinstance(listed, str) else list(listed)


def item_words(facts: Mapping[str, Any], step: Mapping[str, Any]) -> str:
    """`zones: proving room` for a step that is worked for an item of a list; '' for any other."""
    fact, number = step.get("each", ("", 0))
    items = items_of(facts, fact)
    return f"{fact}: {items[number]}" if number < len(items) else ""
