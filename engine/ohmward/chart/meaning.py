"""What positions mean: held off, tier, debts. Each as a condition over the table's variables."""

from collections.abc import Iterable
from typing import assert_never

from ohmward.chart.layout import ALWAYS, NEVER, Condition, Layout, Variable
from ohmward.chart.names import (
    any_variable,
    count_variable,
    debt_variable,
    device_variable,
    gate_variable,
    kept_variable,
    order_variable,
    temporary_variable,
)
from ohmward.chart.plan import READ_DEAD, SHOCK, ChartPlan, Passing, StepPlan
from ohmward.language.effects import UPSTREAM, Effect

DEVICE_VALUES = ("unknown", "closed", "opened", "held off")
DEBT_VALUES = ("none", "unanswered", "answered")
ORDER_VALUES = ("kept", "interrupted", "corrected")
GATE_VALUES = ("not held", "held")
TRIES = 6
ROUNDS = 3


def variables_of(plan: ChartPlan) -> tuple[Variable, ...]:
    """Every variable of the position, in a fixed order."""
    model = plan.model
    made = [
        Variable("tries", tuple(str(n) for n in range(TRIES))),
        Variable("rounds", tuple(str(n) for n in range(ROUNDS))),
    ]
    made.append(Variable("bound", ("(nothing)", *bound_names(plan))))
    made += [Variable(device_variable(d), DEVICE_VALUES) for d in model.devices]
    made += [Variable(debt_variable(d), DEBT_VALUES) for d in (*model.devices, UPSTREAM)]
    made += [Variable(f"made trip {d}", ("no", "yes")) for d in (*model.devices, UPSTREAM)]
    made += [Variable(order_variable(d), ORDER_VALUES) for d in model.devices if plan.closes(d)]
    made += [Variable(temporary_variable(t), ("not there", "in place")) for t in model.temporary]
    for name, source in model.sources.items():
        match source.kind:
            case "circuit":
                made.append(Variable(f"found {name}", ("as held", "live")))
            case "stored":
                made.append(Variable(f"stored {name}", ("charged", "discharged")))
            case "moving":
                made.append(Variable(f"moving {name}", ("turning", "still")))
            case _:
                assert_never(source.kind)
    made += [Variable(gate_variable(key), GATE_VALUES) for key in plan.gates]
    made += [Variable(kept_variable(s.name), ("no", "yes")) for s in plan.every_step() if s.kept]
    made += [Variable(name, ("no", "yes")) for name in plan.conditions]
    made += [
        Variable(count_variable(s.name, o.name), tuple(str(n) for n in range(o.repeats + 1)))
        for s in plan.every_step()
        for o in s.outcomes
        if o.repeats
    ]
    return tuple(made)


def bound_names(plan: ChartPlan) -> tuple[str, ...]:
    """The steps and ends for which gates can be brought in."""
    ends = tuple(name for name, end in plan.model.ends.items() if end.needs)
    return tuple(s.name for s in plan.steps) + ends


class Meaning:
    """The conditions, for one plan and its layout."""

    def __init__(self, plan: ChartPlan, layout: Layout) -> None:
        self.plan, self.layout = plan, layout

    def absent(self, name: str) -> Condition:
        """A counted circuit, or its device, of which the job sheet lists none: there is nothing of it to guard."""
        circuit = self.plan.counted(name)
        return self.layout.being(any_variable(circuit), "no") if circuit else NEVER

    def gate_held(self, key: str) -> Condition:
        return self.layout.being(gate_variable(key), "held") if key in self.plan.gates else NEVER

    def held_off(self, circuit: str) -> Condition:
        """Not found live, and a device of its own held off, or every feeder held off.

        Source: 29 CFR 1910.333(b)(1): opened but not locked and tagged counts as energized.
        """
        source = self.plan.model.sources[circuit]
        own = [
            self.layout.being(device_variable(d), "held off") for d in source.through if self.plan.can_hold(d)
        ]
        fed = self.layout.both(*(self.held_off(f) for f in source.fed_by)) if source.fed_by else NEVER
        held = self.layout.both(
            self.layout.being(f"found {circuit}", "as held"), self.layout.either(*own, fed)
        )
        return self.layout.either(held, self.absent(circuit))

    def harmless(self, name: str, place: str) -> Condition:
        """What is uncovered at a place cannot shock there."""
        source = self.plan.model.sources[name]
        match source.kind:
            case "circuit" if source.limited is not None:
                return ALWAYS
            case "circuit":
                read = self.gate_held(f"{READ_DEAD}({name}, {place})")
                return self.layout.either(self.layout.both(self.held_off(name), read), self.absent(name))
            case "stored":
                return self.layout.being(f"stored {name}", "discharged")
            case _:
                return ALWAYS

    def worked_when(self, passing: Passing) -> Condition:
        """Where a step with a condition is worked: as decided at the opening, or as it stands on arrival."""
        if passing.variable:
            return self.layout.being(passing.variable, "yes")
        words, name = passing.phrase
        match words:
            case "is held off":
                return self.held_off(name)
            case "is discharged":
                return self.layout.being(f"stored {name}", "discharged")
            case "has tripped":
                return self.layout.being(debt_variable(name), "unanswered", "answered")
            case "is in place":
                return self.layout.being(temporary_variable(name), "in place")
            case _:
                return self.layout.being(temporary_variable(name), "not there")

    def covered(self, place: str) -> Condition:
        cover = self.plan.model.places[place].cover
        return NEVER if cover is None else self.layout.being(temporary_variable(cover), "not there")

    def bare_low(self, place: str) -> Condition:
        """Nothing within reach can shock, the cover being off or reached behind."""
        return self.layout.both(*(self.harmless(s, place) for s in self.plan.model.places[place].holds))

    def tier_low(self, place: str) -> Condition:
        """Covered, or nothing within reach can shock."""
        return self.layout.either(self.covered(place), self.bare_low(place))

    def need(self, key: str, reaches: str = "") -> Condition:
        """A gate is held; shock protection is not needed where the tier is low.

        `reaches`: the place into which hands or probes go; a cover does not count there.
        """
        place = self.plan.gates[key].env.get("here", "") if key in self.plan.gates else ""
        if key.startswith(f"{SHOCK}(") and place:
            low = self.bare_low(place) if place == reaches else self.tier_low(place)
            return self.layout.either(self.gate_held(key), low)
        env = self.plan.gates[key].env.values() if key in self.plan.gates else ()
        return self.layout.either(self.gate_held(key), *(self.absent(name) for name in env))

    def debts_clear(self, device: str) -> Condition:
        """No unanswered trip in series with a device or upstream. Source: 29 CFR 1910.334(b)(2)."""
        return self.layout.both(
            *(
                self.layout.being(debt_variable(d), "none", "answered")
                for d in (*self.plan.in_series(device), UPSTREAM)
            )
        )

    def lost_with(self, effects: Iterable[Effect]) -> tuple[str, ...]:
        """The gates that effects lose by their `lost_by`, without what rests on them."""
        done = tuple(effects)
        return tuple(
            key
            for key, gate in self.plan.gates.items()
            if any(self._hits(e, ev.verb, ev.object, gate.env) for e in done for ev in gate.lost_by)
        )

    def kept_lost_with(self, effects: Iterable[Effect]) -> tuple[str, ...]:
        done = tuple(effects)
        return tuple(
            f"{gate.key}.{step}"
            for gate in self.plan.gates.values()
            for step, events in gate.keeps.items()
            if any(self._hits(e, ev.verb, ev.object, gate.env) for e in done for ev in events)
        )

    def _hits(self, effect: Effect, verb: str | None, word: str, env: object) -> bool:
        if verb != effect.verb:
            return False
        if word == "any":
            return True
        names = env if isinstance(env, dict) else {}
        target = str(names.get(word, word))
        if target == effect.object:
            return True
        if effect.acts_on == "device" and target in self.plan.model.sources:
            return self._feeds(effect.object, target)
        if effect.acts_on == "circuit" and target in self.plan.model.sources:
            return target in self._downstream(effect.object)
        if effect.acts_on == "temporary" and target in self.plan.model.places:
            return self.plan.model.temporary[effect.object].at == target
        return False

    def _feeds(self, device: str, source: str) -> bool:
        model = self.plan.model.sources[source]
        circuit = source if model.kind == "circuit" else (model.charged_by or model.driven_by or "")
        return bool(circuit) and device in self.plan.path(circuit)

    def _downstream(self, circuit: str) -> set[str]:
        """A circuit and all that it feeds, charges or drives."""
        found = {circuit}
        grew = True
        while grew:
            more = {
                name
                for name, s in self.plan.model.sources.items()
                if set(s.fed_by) & found or s.charged_by in found or s.driven_by in found
            }
            grew = not more <= found
            found |= more
        return found

    def own_losses(self, step: StepPlan) -> frozenset[str]:
        """The gates that a step's own raising effects lose, with what rests on them: no lapse, its own doing."""
        raised = [e for e in step.effects if e.counts.value == "begun"]
        lost = set(self.lost_with(raised))
        for effect in raised:
            if effect.verb in {"close", "release"}:
                lost |= {
                    k for k, g in self.plan.gates.items() if self._unheld_by(effect.object, g.makes_held_off)
                }
        while True:
            more = {k for k, g in self.plan.gates.items() if set(g.rests_on) & lost} - lost
            if not more:
                return frozenset(lost)
            lost |= more

    def _unheld_by(self, device: str, circuit: str) -> bool:
        return bool(circuit) and device in self.plan.path(circuit)
