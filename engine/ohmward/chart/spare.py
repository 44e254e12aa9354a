"""Gates and groups that no procedure uses are checked on an imagined machine with one of everything."""

from ohmward.chart.resolve import check_plan
from ohmward.language.library import Library, Source, load_one
from ohmward.language.models import Gate, Group, Procedure

_MACHINE = """\
procedure: imagined
revision: 1
title: Imagined
purpose: Imagined.
not_covered: Everything.
basis: [ours]
devices: {a-device: {kind: disconnect, label: A device}}
sources:
  a-circuit: {kind: circuit, through: [a-device], label: A circuit}
  a-store: {kind: stored, charged_by: a-circuit, can_return: yes, label: A store}
  a-part: {kind: moving, driven_by: a-circuit, label: A part}
places: {a-place: {holds: [a-circuit, a-store], label: A place}}
when_not_held: {others: done}
steps:
  use:
USE
    then: done
ends: {done: {title: Done}}
"""
_NAMES = {
    "circuit": "a-circuit",
    "stored": "a-store",
    "moving": "a-part",
    "place": "a-place",
    "slot": "voltmeter",
    "step": "done",
}


def check_spare(library: Library, used: frozenset[str]) -> None:
    """Adds the faults of every gate and group whose id is not in `used` to its own file.

    What hangs on a procedure's own names (facts, temporaries, devices by name) cannot be judged here.
    """
    for name, gate in library.gates.items():
        if f"gate {name}" not in used:
            words = ", ".join(_NAMES[kind] for kind in gate.model.of)
            call = f"{name}({words})" if words else name
            _check(library, gate, f'    action: Use it.\n    needs:\n      - "{call}"')
    for name, group in library.groups.items():
        if f"group {name}" not in used:
            given = ", ".join(f"{variable}: {_NAMES[kind]}" for kind, variable in group.model.of.items())
            _check(library, group, f"    group: {name}" + (f"\n    with: {{{given}}}" if given else ""))


def _check(library: Library, source: Source[Gate] | Source[Group], use: str) -> None:
    machine = load_one(_MACHINE.replace("USE", use).encode(), "imagined", Procedure)
    before = list(source.faults.found)
    check_plan(library, machine)
    source.faults.found[:] = before + [
        d
        for d in source.faults.found
        if d not in before and d.code != "unknown-name" and not (d.code == "limit" and "fact." in d.source)
    ]
