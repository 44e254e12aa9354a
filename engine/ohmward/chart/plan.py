"""What the compiler works on: steps with their names resolved, gates as instances with their keys."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from ohmward.language.effects import Counts, Effect, Event
from ohmward.language.lists import MEANS
from ohmward.language.models import Gate, Procedure
from ohmward.language.steps import Step

HOLDING = frozenset(MEANS)
OTHERS = "others"
READ_DEAD = "verified-dead"
SHOCK = "shock-protection"
NOT_DECIDED, CANNOT, ELSE = "not decided", "cannot", "something else"


class Leads(StrEnum):
    """What an outcome does besides its effects."""

    ON = "on"  # the step is done: go on
    AGAIN = "again"  # nothing usable: asked again, bounded
    HELD = "held for a qualified person"


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """One way a step can come out."""

    name: str
    leads: Leads
    then: str = ""
    effects: tuple[Effect, ...] = ()
    finding: str = ""
    work: str = ""  # what becomes of the work, where the answer says so
    counts: bool = True  # whether it is what the step's evidence says
    repeats: int = 0
    exhausted: str = ""
    usual: bool = False  # how the step comes out when all goes its usual way


@dataclass(frozen=True, slots=True, kw_only=True)
class Passing:
    """Where a step is passed over: a condition that must be so, and how many steps are passed otherwise."""

    variable: str = ""  # a data condition's variable, decided once a run
    phrase: tuple[str, str] = ("", "")  # (how it stands, name), decided on arrival
    steps: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Data:
    """A condition on the job, decided when the run is opened: a limit, or how many items a list has."""

    limit: str = ""
    fact: str = ""
    at_least: int = 0
    supplies: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class StepPlan:
    """A step of the procedure or of a gate's routine, all names resolved to declared ids."""

    name: str
    kind: str
    model: Step
    file: str
    line: int
    owner: str = ""
    env: Mapping[str, str] = field(default_factory=dict)
    place: str = ""
    hands: tuple[str, ...] = ()
    probes: tuple[str, ...] = ()
    near: tuple[str, ...] = ()
    needs: tuple[str, ...] = ()
    effects: tuple[Effect, ...] = ()
    outcomes: tuple[Outcome, ...] = ()
    evidence: str = ""
    kept: bool = False
    then: str = ""
    not_decided: str = ""
    if_interrupted: str = ""
    if_absent: str = ""
    operates: str = ""
    uses: tuple[str, ...] = ()
    passing: tuple[Passing, ...] = ()
    each: tuple[str, int] = ("", 0)  # the list and the item's place in it, from 0

    @property
    def reaches(self) -> str:
        """The place into which hands or probes go: there a cover that counts as on protects nobody; '' for none."""
        return self.place if self.hands or self.probes else ""

    def of(self, counts: Counts) -> tuple[Effect, ...]:
        return tuple(e for e in self.effects if e.counts is counts)

    @property
    def heavy(self) -> bool:
        """Whether the hand moves before the answer: then it is begun first."""
        return bool(self.hands or self.probes or self.near or self.of(Counts.BEGUN))

    @property
    def only_opens(self) -> bool:
        """Whether all that the step does is open or hold off devices: then it may be taken in any condition."""
        verbs = {e.verb for e in self.touches}
        return not self.heavy and bool(verbs) and verbs <= {"open", "hold off"}

    @property
    def touches(self) -> tuple[Effect, ...]:
        """Every effect of the step and of any of its outcomes, once, in order."""
        every = self.effects + tuple(e for outcome in self.outcomes for e in outcome.effects)
        return tuple(dict.fromkeys(every))


@dataclass(frozen=True, slots=True, kw_only=True)
class GatePlan:
    """A gate with its key."""

    key: str
    model: Gate
    file: str
    env: Mapping[str, str]
    asks: tuple[str, ...]
    rests_on: tuple[str, ...]
    lost_by: tuple[Event, ...]
    steps: tuple[StepPlan, ...]
    keeps: Mapping[str, tuple[Event, ...]]

    @property
    def reaches(self) -> str:
        """The place into which the routine's hands or probes go; '' for none."""
        return next((s.reaches for s in self.steps if s.reaches), "")

    @property
    def makes_held_off(self) -> str:
        """The circuit that this gate's routine holds off, or ''."""
        holds = any(e.verb == "hold off" for s in self.steps for e in s.touches)
        return self.env.get("it", "") if holds else ""

    @property
    def makes_discharged(self) -> str:
        """The store that this gate's routine discharges, or ''."""
        return next((e.object for s in self.steps for e in s.touches if e.verb == "discharge"), "")


@dataclass(frozen=True, slots=True, kw_only=True)
class ChartPlan:
    """A whole procedure, ready to be compiled."""

    model: Procedure
    file: str
    steps: tuple[StepPlan, ...]
    gates: Mapping[str, GatePlan]
    digests: Mapping[str, str]
    landings: Mapping[str, str] = field(default_factory=dict)
    conditions: Mapping[str, Data] = field(default_factory=dict)
    lists: Mapping[str, int] = field(default_factory=dict)

    def every_step(self) -> tuple[StepPlan, ...]:
        return self.steps + tuple(s for g in self.gates.values() for s in g.steps)

    def way_on(self, gate: str) -> str:
        """Where a gate's failing leads, as written: its own line, else that of the others; '' for none."""
        written = self.model.when_not_held
        return written.get(gate, written.get(OTHERS, ""))

    def counted(self, name: str) -> str:
        """The circuit whose supplies the job sheet lists, for a circuit or a device; '' for any other."""
        source = self.model.sources.get(name)
        if source is not None:
            return name if source.count is not None else ""
        known = self.model.devices.get(name)
        if known is None or known.count is None:
            return ""
        return next(
            (n for n, s in self.model.sources.items() if s.count is not None and name in s.through), ""
        )

    def closes(self, device: str) -> bool:
        """Whether any step closes a device."""
        return any(e == Effect("close", device) for s in self.every_step() for e in s.effects)

    def brought_in(self, keys: tuple[str, ...]) -> tuple[str, ...]:
        """Gates and all that they ask for, once each."""
        found: dict[str, None] = {}
        waiting = list(keys)
        while waiting:
            key = waiting.pop(0)
            if key not in found:
                found[key] = None
                waiting += self.gates[key].asks
        return tuple(found)

    def can_hold(self, device: str) -> bool:
        """Whether a device can be locked: a fuse or a motor's own protector opens, and holds nothing off."""
        return self.model.devices[device].kind in HOLDING

    def path(self, circuit: str) -> tuple[str, ...]:
        """The devices in series with a circuit, its own first, then its feeders'."""
        source = self.model.sources[circuit]
        found = dict.fromkeys(source.through)
        for feeder in source.fed_by:
            found.update(dict.fromkeys(self.path(feeder)))
        return tuple(found)

    def in_series(self, device: str) -> tuple[str, ...]:
        """A device and every device with which it shares a circuit upstream of it or beside it."""
        found = {device: None}
        for name, source in self.model.sources.items():
            if device in source.through:
                found.update(dict.fromkeys(self.path(name)))
        return tuple(found)
