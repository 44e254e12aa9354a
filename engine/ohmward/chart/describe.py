"""The table's plain data: what the readers of a table show, measure and check. Text, lists and mappings only."""

from ohmward.chart.layout import Condition
from ohmward.chart.moves import Moves, touched_things
from ohmward.chart.plan import ChartPlan, Outcome, StepPlan
from ohmward.chart.resolve_names import removal_needs
from ohmward.chart.rows import lifetime
from ohmward.language.effects import Counts
from ohmward.language.steps import Require

_TEXTS = (
    "title",
    "why",
    "expect",
    "caution",
    "warning",
    "danger",
    "function",
    "computes",
    "unit",
    "slot",
    "decided_by",
    "second_within",
    "by",
    "role",
    "momentary",
    "at_most",
    "wait",
    "takes",
    "fact",
    "means",
    "when",
)


def describe(plan: ChartPlan, moves: Moves) -> dict[str, object]:
    """Everything about the procedure that is not a move."""
    model = plan.model
    words = moves.layout.words

    def condition(c: Condition) -> object:
        return words(c)

    circuits = [n for n, s in model.sources.items() if s.kind == "circuit"]
    return {
        "title": model.title,
        "purpose": model.purpose,
        "not_covered": model.not_covered,
        "basis": list(model.basis),
        "accepts": list(model.accepts),
        "when_not_held": dict(model.when_not_held),
        "landings": {g: plan.landings.get(t, t) for g, t in model.when_not_held.items()},
        "scope": [_require(r) for r in model.scope],
        "facts": {
            n: f.model_dump(by_alias=True, mode="json", exclude_none=True) for n, f in model.facts.items()
        },
        "devices": {n: d.model_dump(mode="json") for n, d in model.devices.items()},
        "sources": {n: s.model_dump(mode="json", exclude_none=True) for n, s in model.sources.items()},
        "places": {
            n: {**p.model_dump(mode="json", exclude_none=True), "label": p.label or n.replace("-", " ")}
            for n, p in model.places.items()
        },
        "temporary": {
            n: {
                **t.model_dump(mode="json", exclude_none=True),
                "needs": list(removal_needs(model, t.at, t.on)),
            }
            for n, t in model.temporary.items()
        },
        "ends": {n: e.model_dump(mode="json") for n, e in model.ends.items()},
        "steps": {s.name: _step(s, moves) for s in plan.every_step()},
        "order": [s.name for s in plan.steps],
        "gates": {key: _gate(plan, key) for key in plan.gates},
        "held off": {c: condition(moves.meaning.held_off(c)) for c in circuits},
        "bare low": {p: condition(moves.meaning.bare_low(p)) for p in model.places},
        "tier low": {p: condition(moves.meaning.tier_low(p)) for p in model.places},
        "debts clear": {d: condition(moves.meaning.debts_clear(d)) for d in model.devices},
        "path": {c: list(plan.path(c)) for c in circuits},
        "conditions": {
            n: {"limit": c.limit}
            if c.limit
            else {"supplies": c.supplies}
            if c.supplies
            else {"fact": c.fact, "at least": c.at_least}
            for n, c in plan.conditions.items()
        },
        "absent": {n: condition(moves.meaning.absent(n)) for n in model.sources if plan.counted(n)},
        "lists": dict(plan.lists),
        "files": dict(plan.digests),
    }


def _require(require: Require) -> dict[str, str]:
    return {"require": require.require, "otherwise": require.otherwise}


def _gate(plan: ChartPlan, key: str) -> dict[str, object]:
    gate = plan.gates[key]
    model = plan.model
    labels = {
        **{n: s.label for n, s in model.sources.items()},
        **{n: p.label or n.replace("-", " ") for n, p in model.places.items()},
    }
    return {
        "gate": gate.model.gate,
        "title": gate.model.title,
        "why": gate.model.why,
        "basis": list(gate.model.basis),
        "status": gate.model.status,
        "of": [labels.get(v, v.replace("-", " ")) for v in gate.env.values()],
        "env": dict(gate.env),
        "asks": list(gate.asks),
        "rests_on": list(gate.rests_on),
        "lost_by": [e.word for e in gate.lost_by],
        "keeps": {n: [e.word for e in events] for n, events in gate.keeps.items()},
        "holds_for": gate.model.holds_for,
        "lifetime": lifetime(gate),
        "steps": [s.name for s in gate.steps],
        "reaches": gate.reaches,
        "file": gate.file,
    }


def _step(step: StepPlan, moves: Moves) -> dict[str, object]:
    model = step.model
    made: dict[str, object] = {
        "kind": step.kind,
        "prompt": moves.plan.model.facts[str(model.fact)].ask
        if step.kind == "fact"
        else getattr(model, step.kind),
        "do": list(model.do),
        "basis": list(model.basis),
        "owner": step.owner,
        "env": dict(step.env),
        "place": step.place,
        "reaches": step.reaches,
        "hands": list(step.hands),
        "probes": list(step.probes),
        "near": list(step.near),
        "needs": list(moves.needs_of(step)),
        "heavy": step.heavy,
        "begun": [str(e) for e in step.of(Counts.BEGUN)],
        "confirmed": [str(e) for e in step.of(Counts.CONFIRMED)],
        "evidence": step.evidence,
        "touched": [list(t) for t in touched_things(step)],
        "outcomes": [_outcome(o) for o in step.outcomes],
        "bands": [
            b.model_dump(mode="json", exclude_none=True, include={"name", "below", "up_to", "over_range"})
            for b in model.bands
        ],
        "suits": [_require(r) for r in model.suits],
        "between": list(model.between) if isinstance(model.between, tuple) else model.between or "",
        "file": step.file,
        "line": step.line,
    }
    return made | _more(moves.plan, step)


def _named(step: StepPlan) -> tuple[str, ...]:
    """Every circuit and device that a step touches or changes."""
    return (*step.hands, *step.probes, *(e.object for e in step.touches))


def _outcome(outcome: Outcome) -> dict[str, object]:
    return {
        "name": outcome.name,
        "leads": outcome.leads.value,
        "then": outcome.then,
        "finding": outcome.finding,
        "effects": [str(e) for e in outcome.effects],
        "usual": outcome.usual,
        **({"work": outcome.work} if outcome.work else {}),
        **({"repeats": outcome.repeats, "exhausted": outcome.exhausted} if outcome.repeats else {}),
    }


def _more(plan: ChartPlan, step: StepPlan) -> dict[str, object]:
    """What only some steps have."""
    model = step.model
    conditions = {
        o.name: {"require": o.only_if, "otherwise": o.otherwise or ""}
        for o in model.options
        if o.only_if is not None
    }
    some: dict[str, object] = {
        "supplies": next((c for c in map(plan.counted, _named(step)) if c), ""),
        "each": list(step.each) if step.each[0] else None,
        "picture": model.picture.model_dump(mode="json") if model.picture is not None else None,
        "functions": list(model.functions),
        "operates": step.operates,
        "uses": list(step.uses),
        "absent": step.if_absent,
        "shows": list(model.shows),
        "only_if": conditions,
        "if_interrupted": step.if_interrupted,
        "touches": model.touches,
        "passes": [p.steps for p in step.passing],
        "again": model.again,
    }
    made = {word: value for word, value in some.items() if value}
    if step.uses:
        made |= {"unit": "", "slot": "", "function": "", "between": []}
    for name in _TEXTS:
        value = getattr(model, name)
        if value is not None:
            made[name] = step.env.get(value, value) if name == "slot" else value
    return made
