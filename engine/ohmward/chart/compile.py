"""Plan to table: rows for every step and gate, what follows by itself, assumed conditions, and the checks."""

from collections import deque
from collections.abc import Iterator, Mapping

from ohmward.chart.corrections import possible
from ohmward.chart.describe import describe
from ohmward.chart.layout import Condition, Layout
from ohmward.chart.meaning import Meaning, bound_names, variables_of
from ohmward.chart.moves import Moves
from ohmward.chart.names import (
    debt_variable,
    device_variable,
    gate_variable,
    order_variable,
    temporary_variable,
)
from ohmward.chart.plan import CANNOT, ELSE, ChartPlan, StepPlan
from ohmward.chart.rowcheck import check_exactly_one
from ohmward.chart.safe import add_corrections, add_events, add_making_safe, add_stops
from ohmward.chart.table import (
    NODE_BITS,
    NODE_MASK,
    Assign,
    Move,
    Position,
    Table,
    advance,
    begin_at,
)
from ohmward.errors import BrokenError, Diagnostic, FaultyFileError
from ohmward.language.effects import UPSTREAM, Counts
from ohmward.language.lists import TRIPPING


def compile_chart(plan: ChartPlan) -> Table:
    """The table of a plan. Raises FaultyFileError for what only the whole chart shows to be wrong."""
    _refuse(_faults_before(plan))
    loose = _table(plan, {})
    reached, faults = _uninterrupted(plan, loose)
    faults += [
        _fault(
            step, "unreachable", f"step '{step.name}' is never reached", "lead to it with then:; remove it only where what it does is done elsewhere"
        )
        for step in plan.steps
        if step.name not in reached
    ]
    _refuse(faults)
    _lend(plan, reached)
    layout = loose.layout
    names = _condition_names(plan)
    assumed = {
        step.name: layout.both(
            _assumed(layout, _read_by(names, step), reached.get(step.name, set())), _in_order(plan, layout)
        )
        for step in plan.every_step()
        if not step.only_opens
    }
    table = _table(plan, assumed)
    check_exactly_one(table)
    return table


def _refuse(faults: list[Diagnostic]) -> None:
    if faults:
        raise FaultyFileError(tuple(sorted(faults, key=lambda d: (d.file, d.line, d.code))))


def _fault(step: StepPlan, code: str, problem: str, remedy: str) -> Diagnostic:
    return Diagnostic(file=step.file, line=step.line, column=1, code=code, problem=problem, remedy=remedy)


def _faults_before(plan: ChartPlan) -> list[Diagnostic]:
    found: list[Diagnostic] = []
    for number, step in enumerate(plan.steps):
        if any(number + p.steps >= len(plan.steps) for p in step.passing):
            said = f"where '{step.name}' is passed over there is no next step"
            found.append(_fault(step, "falls-off", said, "let a step without `when:` follow"))
    last = plan.steps[-1]
    if not last.then and any(
        not o.then for o in last.outcomes if o.name not in {CANNOT, ELSE, "not decided"}
    ):
        found.append(
            _fault(
                last,
                "falls-off",
                f"after '{last.name}' there is no next step",
                "add `then:` with a step or an end",
            )
        )
    for gate in plan.gates.values():
        if not plan.way_on(gate.model.gate):
            where = Diagnostic(
                file=plan.file,
                line=1,
                column=1,
                code="no-way-on",
                problem=f"gate '{gate.model.gate}' can fail and when_not_held: does not say where to go",
                remedy=f"add `{gate.model.gate}: <step or end>` to when_not_held:, or `others: <step or end>` for all",
            )
            found += [where] if where not in found else []
        if _asks_in_circle(plan, gate.key, ()):
            found.append(
                Diagnostic(
                    file=gate.file,
                    line=1,
                    column=1,
                    code="asks-in-circle",
                    problem=f"gate '{gate.key}' asks for itself through others",
                    remedy="break the circle in asks: or rests_on:",
                )
            )
    return found


def _asks_in_circle(plan: ChartPlan, key: str, above: tuple[str, ...]) -> bool:
    gate = plan.gates[key]
    return key in above or any(_asks_in_circle(plan, k, (*above, key)) for k in (*gate.asks, *gate.rests_on))


# -- the table ------------------------------------------------------------------------------------------


def _table(plan: ChartPlan, assumed: Mapping[str, Condition]) -> Table:
    layout = Layout(variables_of(plan))
    moves = Moves(plan, layout, assumed)
    moves.auto("start")
    moves.row("start", "", moves.toward(plan.steps[0].name))
    for number, step in enumerate(plan.steps):
        following = moves.following(plan.steps, number + 1, f"approach {step.name}")
        if step.then:
            following = moves.target(step, step.then)
        moves.approach(step)
        moves.step(step, following)
    for name, end in plan.model.ends.items():
        moves.end(
            name, tuple(k for c in end.needs for k in plan.gates if k.replace(" ", "") == c.replace(" ", ""))
        )
    for gate in plan.gates.values():
        moves.gate(gate)
    moves.back(bound_names(plan))
    add_making_safe(moves)
    add_events(moves)
    add_stops(moves)
    add_corrections(moves)
    free = (
        tuple(temporary_variable(t) for t in plan.model.temporary)
        if "temporary" in plan.model.accepts
        else ()
    )
    free += tuple(plan.conditions)
    if "trip" in plan.model.accepts:
        trips = [n for n, d in plan.model.devices.items() if d.kind in TRIPPING]
        free += tuple(debt_variable(d) for d in (*trips, UPSTREAM))
    return Table(
        procedure=plan.model.procedure,
        revision=plan.model.revision,
        layout=layout,
        nodes=tuple(moves.nodes),
        rows=tuple(possible(moves.nodes, moves.rows)),
        consequences=tuple(_consequences(plan, moves.meaning)),
        start={f"moving {n}": "turning" for n, s in plan.model.sources.items() if s.kind == "moving"},
        free=free,
        data=describe(plan, moves),
    )


def _consequences(plan: ChartPlan, meaning: Meaning) -> Iterator[Assign]:
    """What follows from a position by itself, in an order in which one pass is enough."""
    layout = meaning.layout
    for name, source in plan.model.sources.items():
        feeder = source.charged_by or source.driven_by
        if feeder and source.kind != "circuit":
            word, value = ("stored", "charged") if source.kind == "stored" else ("moving", "turning")
            yield Assign(layout.opposite(meaning.held_off(feeder)), ((f"{word} {name}", value),))
    for key in _by_dependence(plan):
        gate = plan.gates[key]
        resting = [meaning.gate_held(k) for k in gate.rests_on]
        if gate.makes_held_off:
            resting.append(meaning.held_off(gate.makes_held_off))
        if gate.makes_discharged:
            resting.append(layout.being(f"stored {gate.makes_discharged}", "discharged"))
        fallen = layout.opposite(layout.both(*resting))
        if fallen:
            yield Assign(fallen, ((gate_variable(key), "not held"),))


def _by_dependence(plan: ChartPlan) -> list[str]:
    done: dict[str, None] = {}

    def visit(key: str) -> None:
        for base in plan.gates[key].rests_on:
            visit(base)
        done[key] = None

    for key in plan.gates:
        visit(key)
    return list(done)


# -- assumed conditions ---------------------------------------------------------------------------------


def _condition_names(plan: ChartPlan) -> tuple[str, ...]:
    """What assumed conditions speak of. Debts matter only to a procedure that closes something."""
    model = plan.model
    closes = any(e.verb == "close" for s in plan.every_step() for e in s.touches)
    return (
        *(device_variable(d) for d in model.devices),
        *(temporary_variable(t) for t in model.temporary),
        *(debt_variable(d) for d in (*model.devices, UPSTREAM) if closes),
    )


def starts(table: Table) -> list[Position]:
    """Every position from which a run may start: all combinations of the free variables."""
    combinations: list[dict[str, str]] = [{}]
    for name in table.free:
        values = ("none", "unanswered") if name.startswith("trip ") else table.layout.values[name]
        combinations = [{**c, name: v} for c in combinations for v in values]
    return [begin_at(table, c) for c in combinations]


def uninterrupted(trigger: str) -> bool:
    """Begin and answer, as when nothing lapses, is interrupted or corrected and nobody is at a loss."""
    word, _, rest = trigger.partition("@")
    outcome = rest.partition("=")[2]
    return word in {"begin", "answered"} and outcome not in {CANNOT, ELSE}


def _uninterrupted(plan: ChartPlan, table: Table) -> tuple[dict[str, set[int]], list[Diagnostic]]:
    """For each step the bits with which it is asked when nothing goes wrong; and what goes wrong there."""
    waiting = deque(starts(table))
    seen = set(waiting)
    reached: dict[str, set[int]] = {}
    faults: dict[tuple[str, str], Diagnostic] = {}
    steps = {s.name: s for s in plan.every_step()}
    usual = [tuple(t for t in triggers if uninterrupted(t)) for triggers in table.packed]
    while waiting:
        position = waiting.popleft()
        node = table.node(position)
        if node.kind == "ask":
            reached.setdefault(node.step, set()).add(position >> NODE_BITS)
            faults |= _closes_blind(table, position, steps[node.step])
        for following in _onward(table, position, usual[position & NODE_MASK]):
            if following not in seen:
                seen.add(following)
                waiting.append(following)
    return reached, list(faults.values())


def _onward(table: Table, position: Position, triggers: tuple[str, ...]) -> Iterator[Position]:
    for trigger in triggers:
        move = advance(table, position, trigger)
        if not isinstance(move, Move):
            raise BrokenError(f"{table.node(position).name}: {trigger}: {move.why}")
        yield move.position


def _closes_blind(table: Table, position: Position, step: StepPlan) -> dict[tuple[str, str], Diagnostic]:
    """Closing what is held off or whose condition nobody knows."""
    found = {}
    for effect in step.of(Counts.BEGUN):
        stands = table.value(position, device_variable(effect.object)) if effect.verb == "close" else ""
        if stands in {"unknown", "held off"}:
            said = f"'{step.name}' closes '{effect.object}' which is {stands} there"
            found[(step.name, effect.object)] = _fault(
                step, "closes-blind", said, "open it, or release it, before"
            )
    return found


def _lend(plan: ChartPlan, reached: dict[str, set[int]]) -> None:
    """A gate that lapsed is brought in again where the step that needs it stands: in that step's conditions."""
    for step in plan.steps:
        for key in plan.brought_in(step.needs):
            for asked in plan.gates[key].steps:
                reached.setdefault(asked.name, set()).update(reached.get(step.name, ()))


def _read_by(names: tuple[str, ...], step: StepPlan) -> tuple[str, ...]:
    """What the assumed conditions of a step speak of: not of a temporary that the step itself puts or takes."""
    own = {temporary_variable(e.object) for e in step.effects if e.acts_on == "temporary"}
    return tuple(n for n in names if n not in own)


def _assumed(layout: Layout, names: tuple[str, ...], reached: set[int]) -> Condition:
    everything = 0
    for name in names:
        everything |= layout.span(name)
    return layout.tidy(tuple(sorted({everything & ~bits for bits in reached})))


def _in_order(plan: ChartPlan, layout: Layout) -> Condition:
    """Devices that the procedure closes stand as the run itself left them, or were held off since."""
    return layout.both(
        *(layout.being(order_variable(d), "kept") for d in plan.model.devices if plan.closes(d))
    )
