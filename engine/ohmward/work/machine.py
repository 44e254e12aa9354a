"""A second walker over the same table, built on `transitions`. Where the two differ the work stops.

Transitions are added the first time that a trigger is used, so that a run pays for the triggers that it
takes; the trigger's name holds the step, so that dispatch stays flat as charts grow.
"""

from collections.abc import Callable
from typing import Any

from transitions import Machine, MachineError

from ohmward.chart.layout import Condition, holds
from ohmward.chart.table import CHECK, MOST_HOPS, NODE_BITS, STAY, Assign, Node, Position, Row, Table
from ohmward.errors import BrokenError

_GO_ON = "(by itself)"


class _Model:
    """What the machine moves: the variables' bits."""

    state: str
    trigger: Callable[[str], bool]

    def __init__(self, bits: int) -> None:
        self.bits = bits


class Mirror:
    """Walks a table with a `transitions` machine; one machine serves many runs of a table."""

    def __init__(self, table: Table) -> None:
        self.table = table
        self.by_trigger: dict[str, list[Row]] = {}
        for row in table.rows:
            self.by_trigger.setdefault(row.trigger, []).append(row)
        self.kinds: dict[str, list[Node]] = {}
        for node in table.nodes:
            self.kinds.setdefault(node.kind, []).append(node)
        self.machine = Machine(
            model=None,
            states=[n.name for n in table.nodes],
            initial=table.nodes[0].name,
            auto_transitions=False,
            queued=True,
            send_event=True,
        )
        self.known: set[str] = set()

    def model_at(self, position: Position) -> Any:  # noqa: ANN401  transitions decorates the model
        """A model that stands at a position."""
        model = _Model(position >> NODE_BITS)
        self.machine.add_model(model, initial=self.table.node(position).name)
        return model

    def stand(self, model: Any, position: Position) -> None:  # noqa: ANN401
        """Puts a model where a run stands."""
        model.bits = position >> NODE_BITS
        self.machine.set_state(self.table.node(position).name, model)

    def fire(self, model: Any, trigger: str) -> Position | None:  # noqa: ANN401
        """Where the machine leads, or None when it does not move. Raises BrokenError when it cannot settle."""
        self._learn(trigger)
        if not self._fire(model, trigger):
            return None
        for _ in range(MOST_HOPS):
            if self.table.nodes[self.table.index[model.state]].waits:
                return Position(model.bits << NODE_BITS | self.table.index[model.state])
            self._learn_at(model.state)
            if not self._fire(model, f"{_GO_ON} {model.state}"):
                break
        raise BrokenError(f"the machine does not settle after '{trigger}'")

    def _fire(self, model: Any, trigger: str) -> bool:  # noqa: ANN401
        try:
            return bool(model.trigger(trigger))
        except (MachineError, AttributeError):
            return False

    def _learn(self, trigger: str) -> None:
        if trigger in self.known or not trigger:
            return
        self.known.add(trigger)
        for row in self.by_trigger.get(trigger, ()):
            for node in (
                self.kinds.get(row.at[4:], [])
                if row.at.startswith("any ")
                else [self.table.nodes[self.table.index[row.at]]]
            ):
                self._add(trigger, row, node)

    def _learn_at(self, state: str) -> None:
        name = f"{_GO_ON} {state}"
        if name in self.known:
            return
        self.known.add(name)
        for row in self.by_trigger.get("", ()):
            if row.at == state:
                self._add(name, row, self.table.nodes[self.table.index[state]])

    def _add(self, trigger: str, row: Row, node: Node) -> None:
        target = {STAY: node.name, CHECK: node.check}.get(row.to, row.to)
        effect = _effect(self.table, row.assigns)
        self.machine.add_transition(
            trigger, node.name, target, conditions=[_guard(row.when)], before=[effect]
        )


def _guard(when: Condition) -> Callable[[Any], bool]:
    """Callables only: a string from a file would be looked up and run by the library."""

    def guard(event: Any) -> bool:  # noqa: ANN401  transitions types the model as an object
        return holds(when, event.model.bits)

    return guard


def _effect(table: Table, assigns: tuple[Assign, ...]) -> Callable[[Any], None]:
    """Assignments by name and value, on purpose not by the packed masks that `advance` uses."""
    layout = table.layout

    def effect(event: Any) -> None:  # noqa: ANN401
        values = layout.read(event.model.bits)
        for assign in (*assigns, *table.consequences) if assigns else ():
            if holds(assign.when, layout.pack(values)):
                values |= dict(assign.values)
        event.model.bits = layout.pack(values)

    return effect
