"""The limits of a reading in words, with this job's numbers: one wording for screen and paper."""

from collections.abc import Mapping
from typing import Any

from ohmward.language.evaluate import evaluate
from ohmward.language.expression import Undecided, Value, names_in, parse_expression


def limit_lines(
    step: Mapping[str, Any], names: Mapping[str, Value], *, as_written: bool = False
) -> tuple[str, ...]:
    """One line a band: its name, its limit, and how the limit was worked out where it was.

    `as_written`, for an empty form: a limit that the job does not decide stands as its formula, the others
    without their working.
    """
    lines = []
    for band in step["bands"]:
        over = ", or OL" if "over_range" in band else ""
        text = band.get("below") or band.get("up_to") or ""
        word = "below" if "below" in band else "up to"
        shown = f"{word} {_limit(text, names, as_written=as_written)}" if text else "above that"
        lines.append(f"{band['name']}: {shown}{over}")
    return tuple(lines)


def _limit(text: str, names: Mapping[str, Value], *, as_written: bool) -> str:
    tree = parse_expression(text)
    value = evaluate(tree, names)
    if as_written:
        return text if isinstance(value, Undecided) else str(value)
    shown = f"not known ({value.why})" if isinstance(value, Undecided) else str(value)
    return shown + (f" ({text})" if names_in(tree) else "")
