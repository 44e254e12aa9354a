"""Rows and what stands before a step: helpers, needs, bringing missing gates in."""

from collections.abc import Iterable, Mapping

from ohmward.chart.changes import FRESH, Changes, put
from ohmward.chart.layout import ALWAYS, Condition, Layout
from ohmward.chart.names import order_variable
from ohmward.chart.plan import ChartPlan, GatePlan, StepPlan
from ohmward.chart.table import Assign, Node, Row
from ohmward.language.fields import seconds

SAFE = "safe"
UNLIMITED, SHIFT = 10**9, 10**6  # stand for lifetimes longer than any in seconds
_LONGEVITY = {"unlimited": UNLIMITED, "shift": SHIFT}


def lifetime(gate: GatePlan) -> int:
    """How long a gate holds, for ordering: longest first."""
    word = gate.model.holds_for
    return _LONGEVITY.get(word) or seconds(word)


class Rows(Changes):
    """Collects nodes and rows for one plan."""

    def __init__(self, plan: ChartPlan, layout: Layout, assumed: Mapping[str, Condition]) -> None:
        super().__init__(plan, layout)
        self.assumed = assumed
        self.procedure_steps = {s.name: s for s in plan.steps}
        self.nodes: list[Node] = []
        self.rows: list[Row] = []

    def auto(self, name: str) -> None:
        """A node that does not wait."""
        self.nodes.append(Node(name=name, kind="on its way", waits=False))

    def toward(self, name: str) -> str:
        """The node through which the flow reaches a step or an end of the procedure."""
        step = self.procedure_steps.get(name)
        return f"arrive {name}" if step is not None and step.passing else f"approach {name}"

    def following(self, steps: tuple[StepPlan, ...], index: int, on: str) -> str:
        """The node after `index`; `on` where no step follows."""
        if index >= len(steps):
            return on
        return f"enter {steps[index].name}" if steps[index].owner else self.toward(steps[index].name)

    def passed_over(self, at: str, steps: tuple[StepPlan, ...], index: int, on: str) -> Condition:
        """Rows at `at` that pass over a step whose conditions are not so; returns where it is worked."""
        worked = ALWAYS
        for passing in steps[index].passing:
            so = self.meaning.worked_when(passing)
            other = self.layout.both(worked, self.layout.opposite(so))
            self.row(at, "", self.following(steps, index + passing.steps, on), when=other)
            worked = self.layout.both(worked, so)
        return worked

    def row(
        self,
        at: str,
        trigger: str,
        to: str,
        *,
        when: Condition = ALWAYS,
        assigns: Iterable[Assign] = (),
        marks: Iterable[str] = (),
    ) -> None:
        """One row; none when its condition can never hold."""
        if when:
            told = tuple(a for a in assigns if a.values and a.when)
            self.rows.append(Row(at=at, trigger=trigger, when=when, to=to, assigns=told, marks=tuple(marks)))

    # -- needs ------------------------------------------------------------------------------------------

    def needs_of(self, step: StepPlan) -> tuple[str, ...]:
        return self.plan.gates[step.owner].asks if step.owner else step.needs

    def needs_at_begin(self, step: StepPlan, key: str) -> Condition:
        """A need, judged as the position will be after the step's raising effects."""
        condition = self.meaning.need(key, self._reached(step))
        if key in self.meaning.own_losses(step):
            return condition
        return self.layout.after(condition, self.begun_changes(step))

    def all_at_begin(self, step: StepPlan) -> Condition:
        return self.layout.both(*(self.needs_at_begin(step, k) for k in self.needs_of(step)))

    def all_at_answer(self, step: StepPlan) -> Condition:
        own = self.meaning.own_losses(step)
        reached = self._reached(step)
        return self.layout.both(*(self.meaning.need(k, reached) for k in self.needs_of(step) if k not in own))

    def _reached(self, step: StepPlan) -> str:
        """Where hands or probes go: of the step, or of the whole routine that it belongs to."""
        return self.plan.gates[step.owner].reaches if step.owner else step.reaches

    def bring_in(
        self, at: str, needs: tuple[tuple[str, Condition], ...], when: Condition, above: tuple[str, ...]
    ) -> Condition:
        """Rows at `at` that enter the routine of the first gate missing; returns where none is missing."""
        order = sorted(needs, key=lambda n: -lifetime(self.plan.gates[n[0]]))
        for key, held in order:
            missing = self.layout.both(when, self.layout.opposite(held))
            if missing and key not in above:
                gate = self.plan.gates[key]
                asks = tuple((k, self.meaning.need(k, gate.reaches)) for k in gate.asks)
                ready = self.bring_in(at, asks, missing, (*above, key))
                first = self.plan.gates[key].steps[0].name
                self.row(at, "", f"enter {first}", when=ready, assigns=(put(*FRESH),))
            when = self.layout.both(when, held)
        return when

    # -- one step ---------------------------------------------------------------------------------------

    def uncorrected(self, device: str) -> Condition:
        """No answer was corrected since this device was touched; holding it off again makes good."""
        if not self.plan.closes(device):
            return ALWAYS
        return self.layout.being(order_variable(device), "kept", "interrupted")

    def mendable(self, needs: tuple[str, ...]) -> tuple[str, ...]:
        """The variables that the routines of these gates may set."""
        keys = self.plan.brought_in(needs)
        return self.sets(e for k in keys for s in self.plan.gates[k].steps for e in s.touches)

    def bound_rows(
        self, at: str, bound: str, needs: tuple[tuple[str, Condition], ...], to: str, assumed: Condition
    ) -> None:
        """`at` binds, `at …` brings in. What no routine can mend is compared before anything is brought in."""
        self.auto(f"{at} …")
        hopeful = self.layout.without(assumed, self.mendable(tuple(k for k, _ in needs)))
        if assumed != ALWAYS:
            hopeful = self.layout.both(hopeful, *(self.uncorrected(d) for d in self.plan.model.devices))
        self.row(at, "", f"{at} …", when=hopeful, assigns=(put(("bound", bound)),))
        self.row(at, "", SAFE, when=self.layout.opposite(hopeful))
        ready = self.bring_in(f"{at} …", needs, ALWAYS, ())
        self.row(f"{at} …", "", to, when=self.layout.both(ready, assumed))
        self.row(f"{at} …", "", SAFE, when=self.layout.both(ready, self.layout.opposite(assumed)))
