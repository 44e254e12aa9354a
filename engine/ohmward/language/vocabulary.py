"""The names that limits may use, with their kinds. `shop` holds its own fields equal to this (a test)."""

from collections.abc import Mapping

from ohmward.language.fields import dimension
from ohmward.language.lists import MEANS, ROLES, SLOTS
from ohmward.language.models import Procedure
from ohmward.trade.formula import TEXT, TRUTH

# Fields of a circuit on the job sheet: `motor-circuit.to-ground`, in a gate `it.to-ground`, `here.to-ground`.
CIRCUIT: Mapping[str, str] = {
    "to-ground": "voltage",
    "phase-to-phase": "voltage",
    "category": "number",
    "protection": "current",
    "frequency": "frequency",
    "can-hold-dc": TRUTH,
    "kind-of-means": TEXT,
}
# Fields of a thing in the gear register: `gear.voltage` while it is picked, `voltmeter.voltage` afterwards.
GEAR: Mapping[str, str] = {
    "category": "number",
    "voltage": "voltage",
    "in-date": TRUTH,
    "withdrawn": TRUTH,
    "own-voltage": "voltage",
    "fuse": "current",
    "use-voltage": "voltage",
    "resolution": "voltage",
    "functions": TEXT,
}
# Fields of a person in the roster while one is named.
PERSON: Mapping[str, str] = {"qualified-here": TRUTH, "role": TEXT, "is-worker": TRUTH, "is-supervising": TRUTH}
# What earlier visits say of the machine, on the day when a run begins.
MACHINE: Mapping[str, str] = {"closings-in-24-h": "number"}


def kinds_for(procedure: Procedure, env: Mapping[str, str]) -> dict[str, str]:
    """Every name that a limit may use, given the procedure and the names of a gate's key."""
    kinds: dict[str, str] = {}
    for slot in SLOTS:
        kinds |= {f"{slot}.{name}": kind for name, kind in GEAR.items()}
    kinds |= {f"gear.{name}": kind for name, kind in GEAR.items()}
    kinds |= {f"person.{name}": kind for name, kind in PERSON.items()}
    kinds |= {f"machine.{name}": kind for name, kind in MACHINE.items()}
    kinds |= dict.fromkeys((*ROLES, *MEANS), TEXT)
    for name in env:
        kinds |= {f"{name}.{word}": kind for word, kind in {**CIRCUIT, **GEAR}.items()}
    for name, source in procedure.sources.items():
        if source.kind == "circuit":
            kinds |= {f"{name}.{word}": kind for word, kind in CIRCUIT.items()}
    for name, fact in procedure.facts.items():
        kinds[f"fact.{name}"] = TEXT if fact.one_of or fact.list_of else dimension(fact.unit)
        kinds |= dict.fromkeys(fact.one_of or (), TEXT)
    return kinds
