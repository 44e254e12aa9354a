"""Rules over what a procedure says of itself before work begins: up to which voltage, and how often it closes again."""

import re
from collections.abc import Iterator
from typing import Any

from ohmward.chart.table import Table
from ohmward.language.models import Rule
from ohmward.proof.bounds import all_demanded, demands
from ohmward.proof.machine import touched

INSPECTED = r"inspected within ([1-9]|1[0-2]) months by another person"
VOLTAGE = r"its scope ends at ([1-9][0-9]{0,3}) V to ground"
CLOSINGS = r"its scope ends before ([1-3]) closings in 24 h, where it closes"
BEFORE_WORK = (INSPECTED, VOLTAGE, CLOSINGS)
_TIMES = "machine.closings-in-24-h"


def scope_faults(table: Table, rule: Rule) -> Iterator[str]:
    """What the scope of a procedure does not refuse and a rule says that it must, as words."""
    data: Any = table.data
    said = demands(tuple(r["require"] for r in data["scope"]))
    for phrase in rule.must:
        if volts := re.fullmatch(VOLTAGE, phrase):
            for circuit in touched(data):
                wanted = f"{circuit}.to-ground <= {volts[1]} V"
                if not all_demanded(demands((wanted,)), said):
                    yield f"its scope does not refuse more than {volts[1]} V to ground on '{data['sources'][circuit]['label']}': {wanted}"
        elif closings := re.fullmatch(CLOSINGS, phrase):
            closes = any(e.startswith("close ") for s in data["steps"].values() for e in s["begun"])
            wanted = f"{_TIMES} < {closings[1]}"
            if closes and not all_demanded(demands((wanted,)), said):
                yield f"it closes, and its scope does not refuse a machine that was closed again {closings[1]} times in 24 h: {wanted}"
