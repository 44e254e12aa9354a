"""The limits of a reading in words, with this job's numbers: one wording for screen and paper."""

from collections.abc import Mapping
from typing import Any

from ohmward.language.evaluate import evaluate
from ohmward.language.expression import Undecided, Value, names_in, parse_expression


def limit_lines(step: Mapping[str, Any], names: Mapping[str, Value]) -> tuple[str, ...]:
    """One line a band: its name, its limit, and how the limit was worked out where it was."""
    lines = []
    for band in step["bands"]:
        text = band.get("below") or band.get("up_to") or ""
        over = "over_range" in band
        if not text:
            lines.append(f"{band['name']}: " + ("above that, or OL" if over else "above that"))
            continue
        word = "below" if "below" in band else "up to"
        tree = parse_expression(text)
        value = evaluate(tree, names)
        shown = f"not known ({value.why})" if isinstance(value, Undecided) else str(value)
        working = f" ({text})" if names_in(tree) else ""
        lines.append(f"{band['name']}: {word} {shown}{working}" + (", or OL" if over else ""))
    return tuple(lines)
