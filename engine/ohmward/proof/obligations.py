"""Rules turned into checks on one table: what must hold at which node, at which move, in which order."""

import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace

from ohmward.chart.layout import NEVER, Condition
from ohmward.chart.table import Table
from ohmward.errors import FaultyFileError
from ohmward.language.library import Source
from ohmward.language.models import Rule
from ohmward.language.steps import VOLTS, taken_with
from ohmward.language.suggest import remedy_for
from ohmward.proof.demands import (
    EVERY,
    INSPECTED,
    NOTHING_WRONG,
    OUTSIDE,
    OWN,
    RELEASED,
    TWO_READ,
    WORK_BEGINS,
    On,
    TableData,
)
from ohmward.proof.rule_fields import silent_fields

FUNCTIONS = {
    "ohms": frozenset({"ohms"}),
    "microfarads": frozenset({"microfarads"}),
    "insulation": frozenset({"insulation"}),
    "voltage": VOLTS,
}
HANDLES = frozenset({"disconnect", "plug"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """One thing that must hold: at a node, or before a move when `trigger` is given."""

    rule: str
    node: str
    trigger: str
    must: Condition
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Order:
    """Marks that must have come in this order, before some moves; `reset`: the mark from which they count, or ''."""

    rule: str
    device: str
    marks: tuple[str, ...]
    reset: str
    before: str
    moves: frozenset[str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Released:
    """A device that must not be left released at the given end nodes."""

    rule: str
    device: str
    nodes: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Obligations:
    """Everything that the rules ask of one table. `usual`: checks for when nothing goes wrong, and only then."""

    checks: tuple[Check, ...]
    orders: tuple[Order, ...]
    released: tuple[Released, ...]
    usual: tuple[Check, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class _Deed:
    """Something that a rule watches: where, on what, and the move with which it begins."""

    subject: str
    place: str
    node: str
    begins: str
    slot: str = "voltmeter"
    reaches: bool = True


def obligations(table: Table, rules: Mapping[str, Source[Rule]], gates: frozenset[str]) -> Obligations:
    """The checks of every rule on a table. Raises FaultyFileError for a rule whose words are not known."""
    made = _Maker(TableData(table, gates))
    for source in rules.values():
        silent_fields(source)
        for situation in source.model.situations:
            made.add(source, situation)
    wrong = tuple(d for s in rules.values() for d in s.faults.found)
    if wrong:
        raise FaultyFileError(wrong)
    return Obligations(
        checks=tuple(made.checks),
        orders=tuple(made.orders.values()),
        released=tuple(dict.fromkeys(made.released)),
        usual=tuple(made.usual),
    )


class _Maker:
    def __init__(self, data: TableData) -> None:
        self.t = data
        self.checks: list[Check] = []
        self.usual: list[Check] = []
        self.orders: dict[tuple[str, str, str], Order] = {}
        self.released: list[Released] = []
        self.where: dict[str, Callable[[Source[Rule]], None]] = {
            "hands on circuit": lambda s: self._touching(s, self._hands("circuit")),
            "hands on stored": lambda s: self._touching(s, self._hands("stored")),
            "probes on circuit": lambda s: self._touching(s, self._steps("probes", "circuit")),
            "near moving": lambda s: self._touching(s, self._steps("near", "moving")),
            "place": self._place,
            "close device": lambda s: self._moving(s, "close"),
            "release device": lambda s: self._moving(s, "release"),
            "turn moving": lambda s: self._moving(s, "turn"),
            "fit lead": lambda s: self._touching(s, self._temporaries("begun", "fit", "lead")),
            "take down lead": lambda s: self._touching(
                s, self._temporaries("confirmed", "take down", "lead")
            ),
            "uncover guard": lambda s: self._touching(s, self._uncovered()),
            "fit bypass": lambda s: self._touching(s, self._temporaries("begun", "fit", "bypass")),
            "end": lambda s: self._end(s, lambda _: True),
            "end in service": lambda s: self._end(s, lambda left: "live" in left),
            "end out of service": lambda s: self._end(s, lambda left: left != {"live"}),
            WORK_BEGINS: self._before_work,
            OWN: lambda _: None,  # `routines` reads steps as they are written
            EVERY: lambda _: None,
            **{f"reading {f}": lambda s, f=f: self._touching(s, self._reading(f)) for f in FUNCTIONS},  # type: ignore[misc]
        }

    def add(self, source: Source[Rule], situation: str) -> None:
        gate, outside = situation.removeprefix("gate "), situation.removeprefix(OUTSIDE)
        if gate != situation:
            self._gate(source, gate)
        elif outside != situation:
            self._known(source, outside)
        elif situation in self.where:
            self.where[situation](source)
        else:
            known = (*self.where, "gate NAME", f"{OUTSIDE}NAME")
            said = f"'{situation}' is not something that a rule can watch"
            source.fault(
                ("whenever",), "unknown-words", said, remedy_for(situation, known, what="situations")
            )

    # -- what is watched --------------------------------------------------------------------------------

    def _steps(self, how: str, *kinds: str) -> Iterator[_Deed]:
        """Steps that touch sources of these kinds; hands touch all that is within reach, as do probes on what cannot shock."""
        for name, step in self.t.steps.items():
            touched = set(step[how])
            if how == "probes":  # what is on a store is on the circuit that charges it
                touched |= {c for s in touched if (c := self.t.sources[s].get("charged_by"))}
            beside = how == "hands" or not any(self.t.shocks(s, "circuit") for s in touched)
            if step[how] and step["place"] and beside:
                touched |= set(self.t.places[step["place"]]["holds"])
            for subject in sorted(touched):
                if any(self.t.shocks(subject, k) for k in kinds):
                    yield self._deed(name, subject)

    def _deed(self, step: str, subject: str, place: str = "") -> _Deed:
        data = self.t.steps[step]
        return _Deed(
            subject=subject,
            place=place or data["place"],
            node=f"doing {step}",
            begins=f"begin@{step}",
            slot=data.get("slot", "voltmeter"),
            reaches=bool(data["reaches"]),
        )

    def _hands(self, kind: str) -> Iterator[_Deed]:
        """Hands in a step, and hands while making safe."""
        yield from self._steps("hands", kind)
        for name, temporary in self.t.temporary.items():
            place = temporary.get("at", "")
            within = self.t.places[place]["holds"] if place and temporary["on"] else ()
            for subject in dict.fromkeys((*temporary["on"], *within)):
                if self.t.shocks(subject, kind):
                    begins = f"begin@safe.temporary.{name}"
                    yield _Deed(
                        subject=subject,
                        place=place,
                        node=f"safe-doing {name}",
                        begins=begins,
                        reaches=bool(place),
                    )

    def _temporaries(self, when: str, verb: str, kind: str) -> Iterator[_Deed]:
        """Steps that put on or take off a temporary of a kind, for each source that it touches."""
        for name, temporary in self.t.temporary.items():
            for step, data in self.t.steps.items():
                if temporary["kind"] == kind and f"{verb} {name}" in data[when]:
                    for subject in temporary["on"]:
                        yield self._deed(step, subject, temporary.get("at", ""))

    def _uncovered(self) -> Iterator[_Deed]:
        """Steps that bare what stands behind a cover, for each circuit there that can shock."""
        for name, temporary in self.t.temporary.items():
            place = temporary.get("at", "")
            for step, data in self.t.steps.items():
                if place and f"uncover {name}" in data["begun"]:
                    for subject in (c for c in self.t.places[place]["holds"] if self.t.shocks(c, "circuit")):
                        yield replace(self._deed(step, subject, place), reaches=True)

    def _reading(self, function: str) -> Iterator[_Deed]:
        """Readings with a function that needs what is read dead, or a meter that was proved."""
        for how in ("hands", "probes"):
            for deed in self._steps(how, "circuit", "stored"):
                step = self.t.steps[deed.node.removeprefix("doing ")]
                taken = taken_with(step.get("function"), step.get("functions", ()))
                if step["kind"] == "reading" and taken & FUNCTIONS[function]:
                    yield deed

    # -- what is demanded -------------------------------------------------------------------------------

    def _touching(self, source: Source[Rule], deeds: Iterator[_Deed]) -> None:
        for deed in deeds:
            if source.model.where == "it drives a part" and not self.t.drives(deed.subject):
                continue
            self._at(source, deed)
            self._ordered(source, deed.begins, device="", before=source.model.whenever)

    def _at(self, source: Source[Rule], deed: _Deed) -> None:
        """Every `must` at one node; `unless: tier low` excuses where nothing within reach can shock."""
        tier = "bare low" if deed.reaches else "tier low"
        low = self.t.words(tier, deed.place) if source.model.unless and deed.place else NEVER
        if deed.subject in self.t.data["absent"]:
            low = self.t.table.layout.either(low, self.t.words("absent", deed.subject))
        stored = self.t.sources.get(deed.subject, {}).get("kind") == "stored"
        for index, text in enumerate(source.model.must):
            parts = [p for p in text.split(" or ") if not (stored and "source" in p)]
            phrase = " or ".join(parts).replace("instrument", deed.slot).replace("(store", f"({deed.subject}")
            if not phrase or (not stored and phrase.startswith("store ")):
                continue  # what is said of circuits says nothing of a store, nor the other way round
            demanded = self.t.demand(source, index, phrase, On(deed.subject, deed.place))
            words = phrase.replace("source", deed.subject).replace("store ", f"{deed.subject} ")
            words = words.replace("(part", f"({deed.subject}")
            check = Check(
                rule=source.model.rule,
                node=deed.node,
                trigger="",
                must=self.t.table.layout.either(low, demanded),
                words=words.replace("here", deed.place),
            )
            self.checks.append(check)

    def _ordered(self, source: Source[Rule], move: str, *, device: str, before: str) -> None:
        """One order for a rule, a device, and what it must come before; it grows by moves."""
        rule = source.model
        if not rule.in_order:
            return
        device = device if rule.since == "held off" else ""
        key = (rule.rule, device, before)
        known = self.orders.get(key)
        self.orders[key] = Order(
            rule=rule.rule,
            device=device,
            marks=tuple(f"release {device}" if m == "released" else m for m in rule.in_order),
            reset=f"hold off {device}" if device else "",
            before=before,
            moves=(known.moves if known else frozenset()) | {move},
        )

    def _place(self, source: Source[Rule]) -> None:
        """Deeds at a place, and hands on what covers it: while a cover goes on, what it covers is still bare."""
        for name, step in self.t.steps.items():
            shuts = any(e.startswith(("cover ", "take down ")) for e in step["confirmed"])
            if step["place"] and (step["heavy"] or shuts):
                deed = self._deed(name, step["place"])
                self._at(source, deed if step["heavy"] else replace(deed, node=f"ask {name}"))

    def _moving(self, source: Source[Rule], verb: str) -> None:
        for name, step in self.t.steps.items():
            starts = any(e.startswith("turn ") for e in step["begun"])
            for effect in step["begun"]:
                device = effect.removeprefix(f"{verb} ")
                handle = self.t.devices.get(device, {}).get("kind") in HANDLES
                spoken = source.model.where is None or (starts and handle)
                if effect == device or not spoken:
                    continue
                for index, phrase in enumerate(source.model.must):
                    must = self.t.demand(source, index, phrase, On(device, step["place"]))
                    check = Check(
                        rule=source.model.rule,
                        node=f"ask {name}",
                        trigger=f"begin@{name}",
                        must=must,
                        words=phrase.replace("(part", f"({device}"),
                    )
                    self.checks.append(check)
                self._ordered(source, f"begin@{name}", device=device, before=effect)

    @staticmethod
    def _before_work(source: Source[Rule]) -> None:
        """No table shows when it was inspected: `approval` reads the time; here only the words are read."""
        for index, phrase in enumerate(source.model.must):
            if re.fullmatch(INSPECTED, phrase) is None:
                said = f"'{phrase}' is not something that can be asked before work begins"
                remedy = "write `inspected within N months by another person`, N from 1 to 12"
                source.fault(("must", index), "unknown-words", said, remedy)

    def _end(self, source: Source[Rule], spoken: Callable[[set[str]], bool]) -> None:
        """An end is in service as far as it leaves a circuit live, out of service as far as it does not."""
        for name, end in self.t.ends.items():
            if not spoken(set(end["leaves"].values())):
                continue
            live = {d for c, how in end["leaves"].items() if how == "live" for d in self.t.data["path"][c]}
            for index, phrase in enumerate(source.model.must):
                self._one_end(source, (index, phrase), f"end {name}", On(live=frozenset(live), end=end))

    def _one_end(self, source: Source[Rule], must: tuple[int, str], node: str, on: On) -> None:
        index, phrase = must
        rule = source.model.rule
        if phrase == RELEASED:
            still = [d for d in self.t.devices if d not in on.live]
            self.released += [Released(rule=rule, device=d, nodes=(node,)) for d in still]
            return
        condition = self.t.demand(source, index, phrase, on)
        checks = self.usual if phrase == NOTHING_WRONG else self.checks
        checks.append(Check(rule=rule, node=node, trigger="", must=condition, words=phrase))

    def _known(self, source: Source[Rule], gate: str) -> None:
        if gate not in self.t.known:
            said, near = f"there is no gate '{gate}'", remedy_for(gate, self.t.known, what="gates")
            source.fault(("whenever",), "unknown-gate", said, near)

    def _gate(self, source: Source[Rule], gate: str) -> None:
        """`must` over a gate: at every deed of its routine; `in_order`: before every answer to it."""
        if gate != TWO_READ:
            self._known(source, gate)
        for name, step in self.t.steps.items():
            owner = self.t.gates.get(step["owner"])
            if owner is None or owner["gate"] != gate:
                continue
            for outcome in step["outcomes"]:
                self._ordered(source, f"answered@{name}={outcome['name']}", device="", before=source.model.whenever)
            if step["heavy"] and source.model.must:
                subject = owner["env"].get("it", "")
                subject = self.t.sources.get(subject, {}).get("charged_by", subject)
                self._at(source, self._deed(name, subject))
