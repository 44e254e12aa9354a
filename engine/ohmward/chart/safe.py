"""Making safe: a list that only goes forward. No gate blocks opening or holding off; hands only with the gate."""

from ohmward.chart.changes import put
from ohmward.chart.layout import ALWAYS, Condition
from ohmward.chart.moves import Moves
from ohmward.chart.names import (
    device_variable,
    gate_variable,
    kept_variable,
    order_variable,
    temporary_variable,
)
from ohmward.chart.resolve_names import removal_needs
from ohmward.chart.rows import SAFE, SHIFT, UNLIMITED, lifetime
from ohmward.chart.table import CHECK, STAY, Assign, Node
from ohmward.language.effects import PLAIN_EVENTS, SECOND_LEFT, Effect, Event

CLOCK_BACK = "clock went back"
SHIFT_ENDED = "shift ended"
STOPPED = "stopped"


def add_making_safe(moves: Moves) -> None:
    """Nodes and rows: I have left · open and hold off · take down · guard and attend · stopped."""
    model = moves.plan.model
    items: list[tuple[str, str]] = [("left", "")]
    items += [("device", d) for d in model.devices if moves.plan.can_hold(d)]
    by_cover = sorted(model.temporary, key=lambda t: model.temporary[t].kind == "guard")  # what is in a box first, then its cover
    items += [("temporary", t) for t in by_cover]
    items.append(("guard", ""))
    moves.auto(SAFE)
    at = SAFE
    for number, (kind, name) in enumerate(items):
        after = f"safe {number + 1}"
        moves.auto(after)
        ask = f"safe {kind} {name}".strip()
        match kind:
            case "device":
                held = moves.layout.being(device_variable(name), "held off")
                opened = (Effect("open", name), Effect("hold off", name))
                gone = moves.layout.either(held, moves.meaning.absent(name))
                _item(moves, at, ask, after, wanted=moves.layout.opposite(gone), done=opened)
            case "temporary":
                _removal(moves, at, ask, after, name)
            case _:
                _item(moves, at, ask, after, wanted=ALWAYS, done=())
        at = after
    moves.nodes.append(Node(name=STOPPED, kind="end"))
    moves.row(at, "", STOPPED)


def _item(
    moves: Moves, at: str, ask: str, after: str, *, wanted: Condition, done: tuple[Effect, ...]
) -> None:
    moves.nodes.append(Node(name=ask, kind="safe"))
    moves.row(at, "", ask, when=wanted)
    moves.row(at, "", after, when=moves.layout.opposite(wanted))
    trigger = "answered@" + ask.replace(" ", ".")
    moves.row(ask, f"{trigger}=done", after, assigns=moves.effects(done), marks=map(str, done))
    moves.row(ask, f"{trigger}=cannot", after)


def _removal(moves: Moves, at: str, ask: str, after: str, name: str) -> None:
    """A temporary is taken down only where hands may go: everything that its sources ask for is held."""
    temporary = moves.plan.model.temporary[name]
    layout = moves.layout
    needs = removal_needs(moves.plan.model, temporary.at, temporary.on)
    ready = layout.both(*(moves.meaning.need(k) for k in needs))
    if temporary.kind == "guard" and temporary.at and not temporary.on:
        holds = moves.plan.model.places[temporary.at].holds
        ready = layout.both(*(moves.meaning.harmless(s, temporary.at) for s in holds))
    there = layout.being(temporary_variable(name), "in place")
    wanted = layout.both(there, ready)
    doing, watch = f"safe-doing {name}", f"safe-watch {name}"
    moves.nodes.append(Node(name=ask, kind="safe-hands", step=name, check=f"safe-look {name}"))
    moves.nodes.append(Node(name=doing, kind="safe-doing", step=name, check=watch))
    moves.row(at, "", ask, when=wanted)
    moves.row(at, "", after, when=layout.opposite(wanted))
    trigger = "answered@" + ask.replace(" ", ".")
    moves.row(ask, f"begin@{ask.replace(' ', '.')}", doing)
    moves.row(ask, f"{trigger}=cannot", after)
    effect = Effect("cover" if temporary.kind == "guard" else "take down", name)
    moves.row(doing, f"{trigger}=done", after, assigns=moves.effects((effect,)), marks=(str(effect),))
    moves.row(doing, f"{trigger}=cannot", after)
    for node, to in ((f"safe-look {name}", ask), (watch, doing)):
        moves.auto(node)
        moves.row(node, "", to, when=ready)
        moves.row(node, "", after, when=layout.opposite(ready))
    for trigger in ("pause", "interrupted"):
        moves.row(doing, trigger, f"safe-look {name}")
    for trigger in ("unsafe", "emergency"):
        moves.row(doing, trigger, STAY)


def event_losses(moves: Moves) -> dict[str, tuple[tuple[str, ...], tuple[str, ...]]]:
    """Each event of people, gear, time: the gates and the kept answers that it loses."""
    always = (w for w in PLAIN_EVENTS if w not in {"hands in", SECOND_LEFT})  # nobody is second unless a gate says so
    gates: dict[str, set[str]] = {word: set() for word in (CLOCK_BACK, *always)}
    kept: dict[str, set[str]] = {}
    for key, gate in moves.plan.gates.items():
        for event in _plain(gate.lost_by):
            gates.setdefault(event, set()).add(key)
        for step, events in gate.keeps.items():
            for event in _plain(events):
                kept.setdefault(event, set()).add(f"{key}.{step}")
        if lifetime(gate) < UNLIMITED:
            gates[SHIFT_ENDED].add(key)
            gates[CLOCK_BACK].add(key)
            kept.setdefault(CLOCK_BACK, set()).update(s.name for s in gate.steps if s.kept)
        if lifetime(gate) < SHIFT:
            gates[f"lapsed@{key}"] = {key}
    words = sorted(set(gates) | set(kept))
    return {w: (tuple(sorted(gates.get(w, ()))), tuple(sorted(kept.get(w, ())))) for w in words}


def _plain(events: tuple[Event, ...]) -> tuple[str, ...]:
    """The events that are not a step's own doing."""
    return tuple(e.word for e in events if e.verb is None and e.word != "hands in")


def add_events(moves: Moves) -> None:
    """Events reach every node that waits; gates are lost as sets, one event one set."""
    for event, (gates, kept) in event_losses(moves).items():
        lost = (
            Assign(ALWAYS, tuple((gate_variable(k), "not held") for k in gates)),
            Assign(ALWAYS, tuple((kept_variable(s), "no") for s in kept)),
        )
        for kind in ("ask", "doing", "safe-hands", "safe-doing"):
            moves.row(f"any {kind}", event, CHECK, assigns=lost)
        for kind in ("late", "hold", "reconcile", "safe"):
            moves.row(f"any {kind}", event, STAY, assigns=lost)


def add_stops(moves: Moves) -> None:
    """Stop and break at the nodes where no deed is under way; the deeds have rows of their own."""
    for kind in ("ask", "hold", "reconcile", "safe", "safe-hands"):
        for trigger in ("pause", "interrupted"):
            moves.row(f"any {kind}", trigger, STAY)
        for trigger in ("unsafe", "emergency"):
            moves.row(f"any {kind}", trigger, STAY if kind.startswith("safe") else SAFE)


def add_corrections(moves: Moves) -> None:
    """A correction loses every gate and kept answer, and widens what the corrected step could have changed.

    Of a device that was touched, what came before a closing no longer counts: the run goes on only once it
    is held off again.
    """
    everything = put(*((gate_variable(k), "not held") for k in moves.plan.gates))
    broken = tuple(
        Assign(
            moves.layout.being(device_variable(d), "closed", "opened", "held off"),
            ((order_variable(d), "corrected"),),
        )
        for d in moves.plan.model.devices
        if moves.plan.closes(d)
    )
    forgotten = put(*((kept_variable(s.name), "no") for s in moves.plan.every_step() if s.kept))
    for step in moves.plan.every_step():
        assigns = (everything, forgotten, *broken, *moves.widen(step))
        if not step.owner:
            assigns = (*assigns, put(("bound", step.name)))
        moves.row("any ask", f"correct@{step.name}", f"gone {step.name}", assigns=assigns)
