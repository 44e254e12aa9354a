"""The rows of one step: approach, begin, answer, late answer, interruption, reconciling."""

from collections.abc import Iterable, Mapping

from ohmward.chart.layout import ALWAYS, Condition, Layout
from ohmward.chart.meaning import (
    ROUNDS,
    TRIES,
    Meaning,
    debt_variable,
    device_variable,
    gate_variable,
    kept_variable,
    order_variable,
    temporary_variable,
)
from ohmward.chart.plan import ChartPlan, GatePlan, Leads, Outcome, StepPlan
from ohmward.chart.table import Assign, Node, Row
from ohmward.language.effects import UPSTREAM, Counts, Effect
from ohmward.language.models import seconds

SAFE = "safe"
_LONGEVITY = {"unlimited": 10**9, "shift": 10**6}
FRESH = (("tries", "0"), ("rounds", "0"))


def lifetime(gate: GatePlan) -> int:
    """How long a gate holds, for ordering: longest first."""
    word = gate.model.holds_for
    return _LONGEVITY.get(word) or seconds(word)


class Moves:
    """Collects nodes and rows for one plan."""

    def __init__(self, plan: ChartPlan, layout: Layout, assumed: Mapping[str, Condition]) -> None:
        self.plan, self.layout, self.assumed = plan, layout, assumed
        self.meaning = Meaning(plan, layout)
        self.mendable = tuple(
            sorted({v for s in plan.every_step() if s.owner for e in s.touches for a in self._effect(e) for v, _ in a.values})
        )
        self.nodes: list[Node] = []
        self.rows: list[Row] = []

    # -- small helpers ----------------------------------------------------------------------------------

    def auto(self, name: str) -> None:
        self.nodes.append(Node(name=name, kind="on its way", waits=False))

    def row(self, at: str, trigger: str, to: str, when: Condition = ALWAYS, assigns: Iterable[Assign] = (), marks: Iterable[str] = ()) -> None:
        if when:
            self.rows.append(Row(at=at, trigger=trigger, when=when, to=to, assigns=tuple(a for a in assigns if a.values and a.when), marks=tuple(marks)))

    def put(self, *values: tuple[str, str]) -> Assign:
        return Assign(ALWAYS, values)

    def drop_gates(self, keys: Iterable[str]) -> tuple[tuple[str, str], ...]:
        return tuple((gate_variable(k), "not held") for k in keys)

    # -- effects ----------------------------------------------------------------------------------------

    def effects(self, effects: tuple[Effect, ...], *, hands_in: bool = False) -> tuple[Assign, ...]:
        """What effects set, with the gates and kept answers that they lose."""
        made = [a for e in effects for a in self._effect(e)]
        lost = [*self.meaning.lost_with(effects)]
        if hands_in:
            lost += [k for k, g in self.plan.gates.items() if any(e.word == "hands in" for e in g.lost_by)]
        made.append(Assign(ALWAYS, self.drop_gates(lost)))
        made.append(Assign(ALWAYS, tuple((kept_variable(s), "no") for s in self.meaning.kept_lost_with(effects))))
        return tuple(made)

    def _effect(self, effect: Effect) -> tuple[Assign, ...]:
        name = effect.object
        device, being = device_variable(name), self.layout.being
        match effect.verb:
            case "close":
                series = (*self.plan.in_series(name), UPSTREAM)
                used = tuple(Assign(being(debt_variable(d), "answered"), ((debt_variable(d), "none"),)) for d in series)
                return (self.put((device, "closed")), *used)
            case "release":
                return (Assign(being(device, "held off"), ((device, "opened"),)),)
            case "open":
                return (Assign(being(device, "unknown", "closed"), ((device, "opened"),)),)
            case "hold off":
                again = ((order_variable(name), "kept"),) if self.plan.closes(name) else ()
                return (self.put((device, "held off"), *again),)
            case "trip" if name == UPSTREAM:
                return (self.put((debt_variable(name), "unanswered")),)
            case "trip":
                return (self.put((device, "unknown"), (debt_variable(name), "unanswered")),)
            case "answer":
                debt = debt_variable(name)
                return (Assign(being(debt, "unanswered"), ((debt, "answered"),)),)
            case "fit" | "uncover":
                return (self.put((temporary_variable(name), "in place")),)
            case "take down" | "cover":
                return (self.put((temporary_variable(name), "not there")),)
            case "found live":
                return (self.put((f"found {name}", "live")),)
            case "discharge" | "found charged":
                return (self.put((f"stored {name}", "discharged" if effect.verb == "discharge" else "charged")),)
            case _:
                return (self.put((f"moving {name}", "turning" if effect.verb == "turn" else "still")),)

    def begun_changes(self, step: StepPlan) -> dict[str, str]:
        """The variables as they will be once the step is begun, for judging needs and tier before it."""
        changes = {gate_variable(k): "not held" for k in self.meaning.own_losses(step)}
        for effect in step.of(Counts.BEGUN):
            match effect.verb:
                case "close" | "release":
                    changes[device_variable(effect.object)] = "closed" if effect.verb == "close" else "opened"
                    changes |= {
                        f"stored {n}": "charged"
                        for n, s in self.plan.model.sources.items()
                        if s.charged_by and effect.object in self.plan.path(s.charged_by)
                    }
                case "fit" | "uncover":
                    changes[temporary_variable(effect.object)] = "in place"
                case _:
                    changes[f"moving {effect.object}"] = "turning"
        return changes

    def widen(self, step: StepPlan) -> tuple[Assign, ...]:
        """After an interruption: whatever any outcome touches becomes the worst that it could be."""
        made: list[Assign] = []
        touched = step.touches
        for effect in touched:
            name = effect.object
            match effect.verb:
                case "close" | "release" | "open" | "hold off":
                    made.append(self.put((device_variable(name), "unknown")))
                    if self.plan.closes(name):
                        made.append(self.put((order_variable(name), "broken")))
                case "trip":
                    debt = debt_variable(name)
                    values = ((debt, "unanswered"), (f"made trip {name}", "yes"))
                    made.append(Assign(self.layout.being(debt, "none", "answered"), values))
                    if name != UPSTREAM:
                        made.append(self.put((device_variable(name), "unknown")))
                case "fit" | "uncover" | "take down" | "cover":
                    made.append(self.put((temporary_variable(name), "in place")))
                case "discharge" | "found charged":
                    made.append(self.put((f"stored {name}", "charged")))
                case "turn" | "still":
                    made.append(self.put((f"moving {name}", "turning")))
                case _:
                    pass
        lost = {*self.meaning.lost_with(touched), *self.meaning.own_losses(step)}
        made.append(Assign(ALWAYS, self.drop_gates(k for k in self.plan.gates if k in lost)))
        made.append(Assign(ALWAYS, tuple((kept_variable(s), "no") for s in self.meaning.kept_lost_with(touched))))
        made.append(Assign(ALWAYS, FRESH))
        return tuple(made)

    # -- needs ------------------------------------------------------------------------------------------

    def needs_of(self, step: StepPlan) -> tuple[str, ...]:
        return self.plan.gates[step.owner].asks if step.owner else step.needs

    def needs_at_begin(self, step: StepPlan, key: str) -> Condition:
        """A need, judged as the position will be after the step's raising effects."""
        condition = self.meaning.need(key)
        if key in self.meaning.own_losses(step):
            return condition
        return self.layout.after(condition, self.begun_changes(step))

    def all_at_begin(self, step: StepPlan) -> Condition:
        return self.layout.both(*(self.needs_at_begin(step, k) for k in self.needs_of(step)))

    def all_at_answer(self, step: StepPlan) -> Condition:
        own = self.meaning.own_losses(step)
        return self.layout.both(*(self.meaning.need(k) for k in self.needs_of(step) if k not in own))

    def bring_in(self, at: str, needs: tuple[tuple[str, Condition], ...], when: Condition, above: tuple[str, ...]) -> Condition:
        """Rows at `at` that enter the routine of the first gate missing; returns where none is missing."""
        order = sorted(needs, key=lambda n: -lifetime(self.plan.gates[n[0]]))
        for key, held in order:
            missing = self.layout.both(when, self.layout.opposite(held))
            if missing and key not in above:
                asks = tuple((k, self.meaning.need(k)) for k in self.plan.gates[key].asks)
                ready = self.bring_in(at, asks, missing, (*above, key))
                first = self.plan.gates[key].steps[0].name
                self.row(at, "", f"enter {first}", ready, (self.put(*FRESH),))
            when = self.layout.both(when, held)
        return when

    # -- one step ---------------------------------------------------------------------------------------

    def approach(self, step: StepPlan) -> None:
        """A procedure's step: gates are brought in, then conditions are compared with the assumed ones."""
        at = f"approach {step.name}"
        self.auto(at)
        self.bound_rows(at, step.name, tuple((k, self.needs_at_begin(step, k)) for k in step.needs), f"ask {step.name}", self.assumed.get(step.name, ALWAYS))

    def bound_rows(self, at: str, bound: str, needs: tuple[tuple[str, Condition], ...], to: str, assumed: Condition) -> None:
        """`at` binds, `at …` brings in. What no routine can mend is compared before anything is brought in."""
        self.auto(f"{at} …")
        hopeful = self.layout.without(assumed, self.mendable)
        self.row(at, "", f"{at} …", hopeful, (self.put(("bound", bound)),))
        self.row(at, "", SAFE, self.layout.opposite(hopeful))
        ready = self.bring_in(f"{at} …", needs, ALWAYS, ())
        self.row(f"{at} …", "", to, self.layout.both(ready, assumed))
        self.row(f"{at} …", "", SAFE, self.layout.both(ready, self.layout.opposite(assumed)))

    def enter(self, step: StepPlan, following: str) -> None:
        """A routine's step: passed over while its answer is kept."""
        at = f"enter {step.name}"
        self.auto(at)
        assumed = self.assumed.get(step.name, ALWAYS)
        fresh = ALWAYS
        if step.kept:
            kept = self.layout.being(kept_variable(step.name), "yes")
            fresh = self.layout.opposite(kept)
            self.row(at, "", following, kept, marks=(step.evidence,) if step.evidence else ())
        self.row(at, "", f"ask {step.name}", self.layout.both(fresh, assumed))
        self.row(at, "", SAFE, self.layout.both(fresh, self.layout.opposite(assumed)))

    def step(self, step: StepPlan, following: str) -> None:
        """Everything between asking and going on."""
        name = step.name
        back = "back" if step.owner else f"approach {name}"
        check = f"check {name}" if step.owner else back
        self.nodes.append(Node(name=f"ask {name}", kind="ask", step=name, check=check))
        if step.owner:
            self.auto(check)
            ready = self.all_at_begin(step)
            self.row(check, "", f"ask {name}", ready)
            self.row(check, "", "back", self.layout.opposite(ready))
        self.row(f"ask {name}", "found", f"hold {name}", ALWAYS, (self.put(*FRESH),))
        if step.heavy:
            self._heavy(step, following, back)
        else:
            self._answers(step, f"ask {name}", "answered", following, back)
        self._hold(step)
        self._reconcile(step, back)

    def _heavy(self, step: StepPlan, following: str, back: str) -> None:
        name = step.name
        self.nodes.append(Node(name=f"doing {name}", kind="doing", step=name, check=f"watch {name}"))
        self.nodes.append(Node(name=f"late {name}", kind="late", step=name))
        self.auto(f"watch {name}")
        raised = step.of(Counts.BEGUN)
        assigns = self.effects(raised, hands_in=bool(step.hands))
        self.row(f"ask {name}", f"begin@{name}", f"doing {name}", ALWAYS, assigns, map(str, raised))
        holding = self.all_at_answer(step)
        self.row(f"watch {name}", "", f"doing {name}", holding)
        self.row(f"watch {name}", "", f"late {name}", self.layout.opposite(holding))
        self._answers(step, f"doing {name}", "answered", following, back)
        self._answers(step, f"late {name}", "answered-late", following, back)
        widened = self.widen(step)
        for at in (f"doing {name}", f"late {name}"):
            for trigger, to in (("pause", f"gone {name}"), ("interrupted", f"gone {name}"), ("found", f"hold {name}"), ("unsafe", SAFE), ("emergency", SAFE)):
                self.row(at, trigger, to, ALWAYS, widened)

    def _answers(self, step: StepPlan, at: str, word: str, following: str, back: str) -> None:
        late = word == "answered-late"
        for outcome in step.outcomes:
            trigger = f"{word}@{step.name}={outcome.name}"
            match outcome.leads:
                case Leads.HELD:
                    self.row(at, trigger, f"hold {step.name}", ALWAYS, self.widen(step))
                case Leads.AGAIN if late:
                    self.row(at, trigger, back, ALWAYS, (self.put(*FRESH),))
                case Leads.AGAIN:
                    self._again(step, at, trigger, outcome)
                case Leads.ON:
                    self._on(step, at, trigger, outcome, following, back, late=late)

    def _on(self, step: StepPlan, at: str, trigger: str, outcome: Outcome, following: str, back: str, *, late: bool) -> None:
        effects = tuple(e for e in step.effects if e.counts is not Counts.BEGUN) + outcome.effects
        assigns = [*self.effects(effects), self.put(("tries", "0"))]
        marks = [str(e) for e in effects]
        to = self.target(step, outcome.then) if outcome.then not in {"", "repeat"} else following
        if late and (step.owner or not step.touches):
            to = back
        elif not late:
            marks += [step.evidence] if step.evidence and outcome.then not in {"repeat", "fail"} else []
            if step.kept:
                assigns.append(self.put((kept_variable(step.name), "yes")))
        if outcome.then == "repeat" and to != back:
            self._repeat(step, at, trigger, assigns, marks)
        else:
            self.row(at, trigger, to, ALWAYS, assigns, marks)

    def _repeat(self, step: StepPlan, at: str, trigger: str, assigns: list[Assign], marks: list[str]) -> None:
        first = f"enter {self.plan.gates[step.owner].steps[0].name}"
        for number in range(ROUNDS - 1):
            here = self.layout.being("rounds", str(number))
            self.row(at, trigger, first, here, (*assigns, self.put(("rounds", str(number + 1)))), marks)
        last = self.layout.being("rounds", str(ROUNDS - 1))
        self.row(at, trigger, f"fail {step.owner}", last, (*assigns, self.put(*FRESH)), marks)

    def _again(self, step: StepPlan, at: str, trigger: str, outcome: Outcome) -> None:
        retry = f"enter {step.name}" if step.owner else f"approach {step.name}"
        allowed = min(step.model.again, TRIES - 1)
        for number in range(allowed):
            self.row(at, trigger, retry, self.layout.being("tries", str(number)), (self.put(("tries", str(number + 1))),))
        rest = self.layout.being("tries", *(str(n) for n in range(allowed, TRIES)))
        if outcome.then:
            self.row(at, trigger, self.target(step, outcome.then), rest, (self.put(*FRESH),))
        else:
            self.row(at, trigger, f"hold {step.name}", rest, self.widen(step))

    def target(self, step: StepPlan, then: str) -> str:
        """The node for a written target."""
        if not step.owner:
            group = step.name.rpartition(".")[0]
            return f"approach {self.landing(f'{group}.{then}' if group else then, then)}"
        if then in {"held", "fail"}:
            return f"{then} {step.owner}"
        prefix = step.name[len(step.owner) + 1 :].rpartition(".")[0]
        inner = f"{step.owner}.{prefix}.{then}" if prefix else f"{step.owner}.{then}"
        known = [s.name for s in self.plan.gates[step.owner].steps]
        return f"enter {next(n for n in known if n == inner or n.startswith(f'{inner}.'))}"

    def landing(self, *wanted: str) -> str:
        """The step or end that the first fitting name means: a group's name means its first step."""
        names = [s.name for s in self.plan.steps] + list(self.plan.model.ends)
        return next((n for w in wanted for n in names if n == w or n.startswith(f"{w}.")), wanted[-1])

    def _hold(self, step: StepPlan) -> None:
        """The run waits for a qualified person: go on here, or make safe."""
        name = step.name
        self.nodes.append(Node(name=f"hold {name}", kind="hold", step=name))
        self.row(f"hold {name}", f"go-on@{name}", f"gone {name}")
        self.row(f"hold {name}", "make-safe", SAFE)

    def _reconcile(self, step: StepPlan, back: str) -> None:
        """One question for each thing touched, then on: how does the handle stand? look."""
        name = step.name
        again = f"approach {self.landing(step.model.if_interrupted)}" if step.model.if_interrupted and not step.owner else back
        things = touched_things(step)
        at = f"gone {name}"
        for number, (kind, thing) in enumerate(things):
            self.auto(at)
            ask, after = f"reconcile {name} {kind} {thing}", f"gone {name} {number + 1}"
            self.nodes.append(Node(name=ask, kind="reconcile", step=name))
            answer = f"answered@reconcile.{name}.{kind}.{thing}="
            self._question(at, ask, after, answer, kind, thing)
            at = after
        self.auto(at)
        made = tuple((f"made trip {d}", "no") for k, d in things if k == "trip")
        self.row(at, "", again, ALWAYS, (self.put(*made, *FRESH),))

    def _question(self, at: str, ask: str, after: str, answer: str, kind: str, thing: str) -> None:
        match kind:
            case "device":
                self.row(at, "", ask)
                for word, value in (("closed", "closed"), ("opened", "opened"), ("cannot tell", "unknown")):
                    broken = ((order_variable(thing), "broken"),) if self.plan.closes(thing) else ()
                    self.row(ask, answer + word, after, ALWAYS, (self.put((device_variable(thing), value), *broken),))
                held = Effect("hold off", thing)
                self.row(ask, answer + "held off by me", after, ALWAYS, self.effects((held,)), (f"stands held off {thing}",))
            case "trip":
                made = self.layout.being(f"made trip {thing}", "yes")
                self.row(at, "", ask, made)
                self.row(at, "", after, self.layout.opposite(made))
                self.row(ask, answer + "no", after, ALWAYS, (self.put((debt_variable(thing), "none")),))
                self.row(ask, answer + "yes", after)
            case _:
                self.row(at, "", ask)
                self.row(ask, answer + "not there", after, ALWAYS, (self.put((temporary_variable(thing), "not there")),))
                self.row(ask, answer + "in place", after)

    # -- gates, ends ------------------------------------------------------------------------------------

    def gate(self, gate: GatePlan) -> None:
        """The routine's own nodes: held, failed."""
        key = gate.key
        self.auto(f"held {key}")
        ready = self.layout.both(*(self.meaning.need(k) for k in gate.asks))
        held = self.put((gate_variable(key), "held"), *FRESH)
        self.row(f"held {key}", "", "back", ready, (held,), (f"held {key}",))
        self.row(f"held {key}", "", "back", self.layout.opposite(ready), (self.put(*FRESH),))
        self.auto(f"fail {key}")
        target = self.plan.model.when_not_held.get(gate.model.gate, "")
        self.row(f"fail {key}", "", f"approach {self.landing(target)}", ALWAYS, (self.put(*FRESH),))
        for number, step in enumerate(gate.steps):
            more = gate.steps[number + 1 :]
            following = f"enter {more[0].name}" if more else f"held {key}"
            if step.model.then and step.kind in {"action", "confirm", "gear", "person"}:
                following = self.target(step, step.model.then)
            self.enter(step, following)
            self.step(step, following)

    def back(self, bounds: tuple[str, ...]) -> None:
        self.auto("back")
        for bound in bounds:
            self.row("back", "", f"approach {bound}", self.layout.being("bound", bound))
        self.row("back", "", SAFE, self.layout.being("bound", "nothing"))

    def end(self, name: str, needs: tuple[str, ...]) -> None:
        at = f"approach {name}"
        self.auto(at)
        if needs:
            keys = tuple((k, self.meaning.need(k)) for k in needs)
            self.bound_rows(at, name, keys, f"end {name}", ALWAYS)
        else:
            self.row(at, "", f"end {name}", ALWAYS, (self.put(("bound", "nothing")),))
        self.nodes.append(Node(name=f"end {name}", kind="end", step=name))


def touched_things(step: StepPlan) -> tuple[tuple[str, str], ...]:
    """(kind, name) of what an interruption of the step leaves to be looked at, each once."""
    found: dict[tuple[str, str], None] = {}
    for effect in step.touches:
        if effect.acts_on == "device" and effect.verb not in {"trip", "answer"}:
            found[("device", effect.object)] = None
        if effect.verb == "trip":
            found[("trip", effect.object)] = None
        if effect.acts_on == "temporary":
            found[("temporary", effect.object)] = None
    return tuple(found)


