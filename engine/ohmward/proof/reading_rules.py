"""Rules over the readings of a gate: with which function they are taken, and within what they must lie to count."""

import re
from collections.abc import Iterator, Mapping
from decimal import Decimal
from typing import Any

from ohmward.chart.table import Table
from ohmward.language.expression import Binary, ExpressionError, Literal, parse_expression
from ohmward.language.fields import PART
from ohmward.language.models import Rule
from ohmward.proof.bounds import words
from ohmward.proof.leaving import NOT_HELD
from ohmward.trade.quantity import Quantity


def reading_faults(table: Table, key: str, rule: Rule) -> Iterator[str]:
    """What the readings of one gate lack of one rule, as words."""
    data: Any = table.data
    for name in data["gates"][key]["steps"]:
        step = data["steps"][name]
        said = {*rule.reads_with, *rule.shows} & {step["evidence"]}
        if step["kind"] == "reading":
            yield from _function(step, rule)
            yield from _shown(step, rule)
        elif said:
            yield f"'{step['prompt']}' counts as '{step['evidence']}' and is no reading"


def _function(step: Mapping[str, Any], rule: Rule) -> Iterator[str]:
    wanted = rule.reads_with.get(step["evidence"], ())
    taken = [f for f in (step.get("function", ""), *step.get("functions", ())) if f]
    if wanted and not set(taken) & set(wanted):  # one that is read only where something holds is not always read
        yield f"'{step['prompt']}' is taken with {', '.join(taken)}, not with {' or '.join(wanted)}"


def _shown(step: Mapping[str, Any], rule: Rule) -> Iterator[str]:
    """Every band that does not keep the gate from being held lies within the rule's part of what is named."""
    said = rule.shows.get(step["evidence"])
    known = re.fullmatch(PART, said) if said is not None else None
    if known is None:
        return
    if step.get("decided_by") == "smallest":
        yield f"'{step['prompt']}' is decided by its smallest value"
    least, most, name = Decimal(known[1]), Decimal(known[2]), known[3]
    then = {o["name"]: {o["then"], o.get("exhausted", "fail")} for o in step["outcomes"]}
    below: Decimal | None = None
    for band in step["bands"]:
        upper = part_of(band.get("below") or band.get("up_to"), name)
        if not then[band["name"]] <= NOT_HELD:
            if below is None or below < least:
                yield f"'{band['name']}' begins below {least} of {name}"
            if upper is None or upper > most:
                yield f"'{band['name']}' reaches beyond {most} of {name}"
        below = upper


def part_of(text: str | None, name: str) -> Decimal | None:
    """How many times `name` a limit is: `0.9 * NAME` or `90 % * NAME`, either way round, or NAME itself; else None."""
    try:
        tree = parse_expression(text) if text else None
    except ExpressionError:
        return None
    if tree is not None and words(tree) == name:
        return Decimal(1)
    match tree:
        case Binary(op="*", left=Literal(value=Quantity(unit="" | "%") as factor), right=right) if words(right) == name:
            return factor.base
        case Binary(op="*", left=left, right=Literal(value=Quantity(unit="" | "%") as factor)) if words(left) == name:
            return factor.base
        case _:
            return None
