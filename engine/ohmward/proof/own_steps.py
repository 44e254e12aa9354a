"""Rules over a procedure's own steps as they are written: by which answers they have an effect, which answers stop, what answers tell."""

from collections.abc import Iterator
from typing import Any

from ohmward.chart.plan import Leads
from ohmward.chart.table import Table
from ohmward.language.models import Rule
from ohmward.proof.demands import OWN
from ohmward.proof.gate_rules import has_effect, only_by

RAISES = ("close ", "release ", "turn ", "fit ")  # what nobody does any more after an answer that stops


def own_faults(table: Table, rule: Rule) -> Iterator[tuple[str, str]]:
    """(step, what is wrong) for each step of the procedure's own that breaks a rule over them."""
    data: Any = table.data
    own = [name for name, step in data["steps"].items() if not step["owner"]]
    for name in own if OWN in rule.situations else ():
        yield from ((name, story) for story in only_by(table, name, rule))
        for outcome in data["steps"][name]["outcomes"]:
            if outcome["name"] in rule.stops:
                yield from ((name, story) for story in _goes_on(data["steps"], own, name, outcome))
            for effect, answers in rule.tells.items():
                if outcome["name"] in answers and not has_effect(outcome["effects"], effect):
                    yield name, f"'{outcome['name']}' to '{data['steps'][name]['prompt']}' does not count as '{effect}'"


def _goes_on(steps: Any, own: list[str], name: str, outcome: Any) -> Iterator[str]:  # noqa: ANN401  plain data
    """An answer that should stop leads nowhere else, or to something that raises the hazard or is probed live."""
    said = f"'{outcome['name']}' to '{steps[name]['prompt']}'"
    if not outcome["then"]:
        yield f"{said} goes on"
        return
    for following in _ahead(steps, own, outcome["then"]):
        step = steps[following]
        raised = [e for e in _effects(step) if e.startswith(RAISES)]
        if raised or step["probes"]:
            done = raised[0] if raised else f"probes on {step['probes'][0]}"
            yield f"{said} leads on to '{step['prompt']}' ({done})"
            return


def _ahead(steps: Any, own: list[str], first: str) -> list[str]:  # noqa: ANN401
    """Own steps that can follow, whatever is answered; an end has none."""
    found = [first] if first in own else []
    for name in found:
        step = steps[name]
        after = own[own.index(name) + 1 : own.index(name) + 2]
        on = [o["then"] for o in step["outcomes"] if o["leads"] == Leads.ON.value]
        ways = [[then] if then else after for then in on]
        found += dict.fromkeys(s for way in ways for s in way if s in own and s not in found)
    return found


def _effects(step: Any) -> Iterator[str]:  # noqa: ANN401
    yield from step["begun"]
    yield from step["confirmed"]
    for outcome in step["outcomes"]:
        yield from outcome["effects"]
