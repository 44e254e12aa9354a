"""The rows of one step: approach, begin, answer, late answer, interruption, reconciling."""

from dataclasses import dataclass
from typing import assert_never

from ohmward.chart.changes import FRESH, put
from ohmward.chart.layout import ALWAYS
from ohmward.chart.meaning import ROUNDS, TRIES
from ohmward.chart.names import (
    count_variable,
    debt_variable,
    device_variable,
    gate_variable,
    kept_variable,
    temporary_variable,
)
from ohmward.chart.plan import GatePlan, Leads, Outcome, StepPlan
from ohmward.chart.rows import SAFE, Rows
from ohmward.chart.table import Assign, Node
from ohmward.language.effects import Counts, Effect


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """A node at which a step's answers are taken, and where they lead."""

    step: StepPlan
    at: str
    word: str
    following: str
    back: str

    @property
    def late(self) -> bool:
        return self.word == "answered-late"

    def trigger(self, outcome: Outcome) -> str:
        return f"{self.word}@{self.step.name}={outcome.name}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """One thing to look at while reconciling."""

    at: str
    ask: str
    after: str
    answer: str
    kind: str
    thing: str


class Moves(Rows):
    """The rows of steps, gates and ends."""

    def approach(self, step: StepPlan) -> None:
        """A procedure's step: gates are brought in, then conditions are compared with the assumed ones."""
        at = f"approach {step.name}"
        if step.passing:
            index = self.plan.steps.index(step)
            self.auto(f"arrive {step.name}")
            worked = self.passed_over(f"arrive {step.name}", self.plan.steps, index, SAFE)
            self.row(f"arrive {step.name}", "", at, when=worked)
        self.auto(at)
        self.bound_rows(
            at,
            step.name,
            tuple((k, self.needs_at_begin(step, k)) for k in step.needs),
            f"ask {step.name}",
            self.assumed.get(step.name, ALWAYS),
        )

    def enter(self, step: StepPlan, following: str) -> None:
        """A routine's step: passed over while its answer is kept, or where its condition is not so."""
        at = f"enter {step.name}"
        self.auto(at)
        assumed = self.assumed.get(step.name, ALWAYS)
        steps = self.plan.gates[step.owner].steps
        fresh = self.passed_over(at, steps, steps.index(step), f"held {step.owner}")
        if step.kept:
            kept = self.layout.being(kept_variable(step.name), "yes")
            marks = (step.evidence,) if step.evidence else ()
            self.row(at, "", following, when=self.layout.both(fresh, kept), marks=marks)
            fresh = self.layout.both(fresh, self.layout.opposite(kept))
        self.row(at, "", f"ask {step.name}", when=self.layout.both(fresh, assumed))
        self.row(at, "", SAFE, when=self.layout.both(fresh, self.layout.opposite(assumed)))

    def step(self, step: StepPlan, following: str) -> None:
        """Everything between asking and going on."""
        name = step.name
        back = "back" if step.owner else f"approach {name}"
        check = f"check {name}" if step.owner else back
        self.nodes.append(Node(name=f"ask {name}", kind="ask", step=name, check=check))
        if step.owner:
            self.auto(check)
            ready = self.all_at_begin(step)
            self.row(check, "", f"ask {name}", when=ready)
            self.row(check, "", "back", when=self.layout.opposite(ready))
        self.row(f"ask {name}", "found", f"hold {name}", assigns=(put(*FRESH),))
        if step.heavy:
            self._heavy(step, following, back)
        else:
            self._answers(Asked(step=step, at=f"ask {name}", word="answered", following=following, back=back))
        self._hold(step)
        self._reconcile(step, back)

    def _heavy(self, step: StepPlan, following: str, back: str) -> None:
        name = step.name
        self.nodes.append(Node(name=f"doing {name}", kind="doing", step=name, check=f"watch {name}"))
        self.nodes.append(Node(name=f"late {name}", kind="late", step=name))
        self.auto(f"watch {name}")
        raised = step.of(Counts.BEGUN)
        assigns = self.effects(raised, hands_in=bool(step.hands))
        self.row(f"ask {name}", f"begin@{name}", f"doing {name}", assigns=assigns, marks=map(str, raised))
        holding = self.all_at_answer(step)
        self.row(f"watch {name}", "", f"doing {name}", when=holding)
        self.row(f"watch {name}", "", f"late {name}", when=self.layout.opposite(holding))
        self._answers(Asked(step=step, at=f"doing {name}", word="answered", following=following, back=back))
        self._answers(
            Asked(step=step, at=f"late {name}", word="answered-late", following=following, back=back)
        )
        widened = self.widen(step)
        for at in (f"doing {name}", f"late {name}"):
            for trigger, to in (
                ("pause", f"gone {name}"),
                ("interrupted", f"gone {name}"),
                ("found", f"hold {name}"),
                ("unsafe", SAFE),
                ("emergency", SAFE),
            ):
                self.row(at, trigger, to, assigns=widened)

    def _answers(self, asked: Asked) -> None:
        for outcome in asked.step.outcomes:
            match outcome.leads:
                case Leads.HELD:
                    to = f"hold {asked.step.name}"
                    self.row(asked.at, asked.trigger(outcome), to, assigns=self.widen(asked.step))
                case Leads.AGAIN if asked.late:
                    self.row(asked.at, asked.trigger(outcome), asked.back, assigns=(put(*FRESH),))
                case Leads.AGAIN:
                    self._again(asked, outcome)
                case Leads.ON:
                    self._on(asked, outcome)
                case _:
                    assert_never(outcome.leads)

    def _on(self, asked: Asked, outcome: Outcome) -> None:
        """The answer's effects always apply; what it is worth depends on the gates having held."""
        step = asked.step
        effects = tuple(e for e in step.effects if e.counts is not Counts.BEGUN) + outcome.effects
        assigns = [*self.effects(effects), put(("tries", "0"))]
        marks = [str(e) for e in effects]
        if asked.late and (step.owner or not step.touches):
            self.row(asked.at, asked.trigger(outcome), asked.back, assigns=assigns, marks=marks)
            return
        if not asked.late and outcome.counts:
            marks += [step.evidence] if step.evidence else []
            assigns += [put((kept_variable(step.name), "yes"))] if step.kept else []
        if outcome.then == "repeat":
            self._repeat(asked, outcome, assigns, marks)
            return
        to = self.target(step, outcome.then) if outcome.then else asked.following
        if outcome.repeats:
            self._counted(asked, outcome, assigns, marks)
            return
        self.row(asked.at, asked.trigger(outcome), to, assigns=assigns, marks=marks)

    def _counted(self, asked: Asked, outcome: Outcome, assigns: list[Assign], marks: list[str]) -> None:
        """An outcome that leads back a few times, then elsewhere."""
        name = count_variable(asked.step.name, outcome.name)
        for number in range(outcome.repeats + 1):
            here = self.layout.being(name, str(number))
            last = number == outcome.repeats
            more = (*assigns, put((name, "0" if last else str(number + 1))))
            to = self.target(asked.step, outcome.exhausted if last else outcome.then)
            self.row(asked.at, asked.trigger(outcome), to, when=here, assigns=more, marks=marks)

    def _repeat(self, asked: Asked, outcome: Outcome, assigns: list[Assign], marks: list[str]) -> None:
        owner = asked.step.owner
        first = f"enter {self.plan.gates[owner].steps[0].name}"
        for number in range(ROUNDS - 1):
            here = self.layout.being("rounds", str(number))
            more = (*assigns, put(("rounds", str(number + 1))))
            self.row(asked.at, asked.trigger(outcome), first, when=here, assigns=more, marks=marks)
        last = self.layout.being("rounds", str(ROUNDS - 1))
        fresh = (*assigns, put(*FRESH))
        self.row(asked.at, asked.trigger(outcome), f"fail {owner}", when=last, assigns=fresh, marks=marks)

    def _again(self, asked: Asked, outcome: Outcome) -> None:
        step, trigger = asked.step, asked.trigger(outcome)
        retry = f"enter {step.name}" if step.owner else f"approach {step.name}"
        allowed = min(step.model.again, TRIES - 1)
        for number in range(allowed):
            here = self.layout.being("tries", str(number))
            self.row(asked.at, trigger, retry, when=here, assigns=(put(("tries", str(number + 1))),))
        rest = self.layout.being("tries", *(str(n) for n in range(allowed, TRIES)))
        if outcome.then:
            self.row(asked.at, trigger, self.target(step, outcome.then), when=rest, assigns=(put(*FRESH),))
        else:
            self.row(asked.at, trigger, f"hold {step.name}", when=rest, assigns=self.widen(step))

    def target(self, step: StepPlan, then: str) -> str:
        """The node for a target; `then` is a planned step's name, an end, or held or fail in a routine."""
        if not step.owner:
            return self.toward(then)
        return f"{then} {step.owner}" if then in {"held", "fail"} else f"enter {step.owner}.{then}"

    def _hold(self, step: StepPlan) -> None:
        """The run waits for a qualified person: go on here, or make safe."""
        name = step.name
        self.nodes.append(Node(name=f"hold {name}", kind="hold", step=name))
        self.row(f"hold {name}", f"go-on@{name}", f"gone {name}")
        self.row(f"hold {name}", "make-safe", SAFE)
        if step.if_absent:
            self.row(f"hold {name}", f"leave-out@{name}", self.target(step, step.if_absent))

    def _reconcile(self, step: StepPlan, back: str) -> None:
        """One question for each thing touched, then on: how does the handle stand? look."""
        name = step.name
        again = f"approach {step.if_interrupted}" if step.if_interrupted and not step.owner else back
        things = touched_things(step)
        at = f"gone {name}"
        for number, (kind, thing) in enumerate(things):
            self.auto(at)
            question = Question(
                at=at,
                ask=f"reconcile {name} {kind} {thing}",
                after=f"gone {name} {number + 1}",
                answer=f"answered@reconcile.{name}.{kind}.{thing}=",
                kind=kind,
                thing=thing,
            )
            self.nodes.append(Node(name=question.ask, kind="reconcile", step=name))
            self._question(question)
            at = question.after
        self.auto(at)
        made = tuple((f"made trip {d}", "no") for k, d in things if k == "trip")
        self.row(at, "", again, assigns=(put(*made, *FRESH),))

    def _question(self, q: Question) -> None:
        match q.kind:
            case "device":
                self.row(q.at, "", q.ask)
                for word, value in (("closed", "closed"), ("opened", "opened"), ("cannot tell", "unknown")):
                    self.row(q.ask, q.answer + word, q.after, assigns=self.found_standing(q.thing, value))
                held = (
                    put((device_variable(q.thing), "held off")),
                    *self.effects_lost(Effect("hold off", q.thing)),
                )
                marks = (f"stands held off {q.thing}",)
                self.row(q.ask, q.answer + "held off by me", q.after, assigns=held, marks=marks)
            case "trip":
                made = self.layout.being(f"made trip {q.thing}", "yes")
                self.row(q.at, "", q.ask, when=made)
                self.row(q.at, "", q.after, when=self.layout.opposite(made))
                self.row(q.ask, q.answer + "no", q.after, assigns=(put((debt_variable(q.thing), "none")),))
                self.row(q.ask, q.answer + "yes", q.after)
            case _:
                self.row(q.at, "", q.ask)
                gone = put((temporary_variable(q.thing), "not there"))
                self.row(q.ask, q.answer + "not there", q.after, assigns=(gone,))
                self.row(q.ask, q.answer + "in place", q.after)

    # -- gates, ends ------------------------------------------------------------------------------------

    def gate(self, gate: GatePlan) -> None:
        """The routine's own nodes: held, failed."""
        key = gate.key
        self.auto(f"held {key}")
        ready = self.layout.both(*(self.meaning.need(k, gate.reaches) for k in gate.asks))
        held = put((gate_variable(key), "held"), *FRESH)
        self.row(f"held {key}", "", "back", when=ready, assigns=(held,), marks=(f"held {key}",))
        self.row(f"held {key}", "", "back", when=self.layout.opposite(ready), assigns=(put(*FRESH),))
        self.auto(f"fail {key}")
        target = self.plan.way_on(gate.model.gate)
        landing = self.plan.landings.get(target, target)
        self.row(f"fail {key}", "", self.toward(landing), assigns=(put(*FRESH),))
        for number, step in enumerate(gate.steps):
            following = self.following(gate.steps, number + 1, f"held {key}")
            if step.then and step.then != "repeat":
                following = self.target(step, step.then)
            self.enter(step, following)
            self.step(step, following)

    def back(self, bounds: tuple[str, ...]) -> None:
        self.auto("back")
        for bound in bounds:
            self.row("back", "", f"approach {bound}", when=self.layout.being("bound", bound))
        self.row("back", "", SAFE, when=self.layout.being("bound", "(nothing)"))

    def end(self, name: str, needs: tuple[str, ...]) -> None:
        at = f"approach {name}"
        self.auto(at)
        if needs:
            keys = tuple((k, self.meaning.need(k)) for k in needs)
            self.bound_rows(at, name, keys, f"end {name}", ALWAYS)
        else:
            self.row(at, "", f"end {name}", assigns=(put(("bound", "(nothing)")),))
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
