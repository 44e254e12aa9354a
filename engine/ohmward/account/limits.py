"""The limits of a reading in words, with this job's numbers: one wording for screen and paper."""

from collections.abc import Mapping
from typing import Any

from ohmward.account.judge import given_values, spans_of
from ohmward.language.evaluate import evaluate
from ohmward.language.expression import Call, Undecided, Value, names_in, parse_expression
from ohmward.language.working import Working, shown, with_values, workings
from ohmward.record.entry import Entry


def limit_lines(
    step: Mapping[str, Any], names: Mapping[str, Value], *, as_written: bool = False
) -> tuple[str, ...]:
    """One line a band: its name, from where to where it reaches, and how its limit was worked out where it was.

    `as_written`, for an empty form: a limit that the job does not decide stands as its formula, the others
    without their working.
    """
    lines = []
    low = ""
    for band in step["bands"]:
        over = "or OL" if "over_range" in band else ""
        text = band.get("below") or band.get("up_to") or ""
        word = "below" if "below" in band else "up to"
        high = f"{word} {_limit(text, names, as_written=as_written)}" if text else "" if low else "any value"
        reach = ", ".join(part for part in (low, high, over) if part)
        lines.append(f"{band['name']}: {reach}")
        low = f"{'from' if 'below' in band else 'above'} {_end(text, names, as_written=as_written)}"
    return tuple(lines)


def _end(text: str, names: Mapping[str, Value], *, as_written: bool) -> str:
    """A limit once more, where the next band begins: its value alone."""
    value = evaluate(parse_expression(text), names) if text else Undecided("")
    return (text if as_written else "what is not known") if isinstance(value, Undecided) else shown(value)


def computed_lines(step: Mapping[str, Any], names: Mapping[str, Value] | None = None) -> tuple[str, ...]:
    """What the bands judge where it is not what was read: the calculation, then each formula in words and its source.

    With `names` the calculation shows what this job gives for them; what is still to be read stays a name.
    """
    if "computes" not in step:
        return ()
    tree = parse_expression(step["computes"])
    read = {n.name: n.name for n in names_in(tree) if n.name.partition("-")[0] == "value"}
    text = step["computes"] if names is None else with_values(tree, {**names, **read})
    return (text, *(f"{w.name}: {w.words} [{w.source}]" for w in workings(tree, {})))


def _limit(text: str, names: Mapping[str, Value], *, as_written: bool) -> str:
    tree = parse_expression(text)
    value = evaluate(tree, names)
    if as_written:
        return text if isinstance(value, Undecided) else shown(value)
    if isinstance(tree, Call):
        return f"{shown(value)} ({tree.name})"  # its working stands beside it
    return shown(value) + (f" ({text})" if names_in(tree) else "")


def limit_workings(step: Mapping[str, Any], names: Mapping[str, Value]) -> tuple[Working, ...]:
    """How the limits of a reading were worked out, each calculation once."""
    texts = [band.get("below") or band.get("up_to") or "" for band in step["bands"]]
    found = {w: None for text in texts if text for w in workings(parse_expression(text), names)}
    return tuple(found)


def reading_workings(
    step: Mapping[str, Any], entry: Entry, names: Mapping[str, Value]
) -> tuple[Working, ...]:
    """How what was read was worked out to what the bands judged; empty where they judge it as it is."""
    if "computes" not in step:
        return ()
    tree = parse_expression(step["computes"])
    sets = given_values(tree, spans_of(entry))
    return tuple({w: None for given in sets if given is not None for w in workings(tree, {**names, **given})})
