"""Rules turned into checks on one table: what must hold at which node, at which move, in which order."""

import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

from ohmward.chart.layout import NEVER, Condition
from ohmward.chart.table import Table
from ohmward.errors import FaultyFileError
from ohmward.language.library import Source
from ohmward.language.models import Rule
from ohmward.language.suggest import remedy_for
from ohmward.proof.deeds import FUNCTIONS, Deed, Deeds
from ohmward.proof.demands import (
    EVERY,
    NOTHING_WRONG,
    OUTSIDE,
    OWN,
    RELEASED,
    TWO_READ,
    UNCOVERED,
    UNSAID,
    WORK_BEGINS,
    On,
    TableData,
)
from ohmward.proof.on_the_way import GATE
from ohmward.proof.rule_fields import silent_fields
from ohmward.proof.scope_rules import BEFORE_WORK

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


def obligations(table: Table, rules: Mapping[str, Source[Rule]], gates: frozenset[str]) -> Obligations:
    """The checks of every rule on a table. Raises FaultyFileError for a rule whose words are not known."""
    made = _Maker(TableData(table, gates))
    for source in rules.values():
        silent_fields(source)
        made.ways(source)
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
        self.t, self.deeds = data, Deeds(data)
        self.checks: list[Check] = []
        self.usual: list[Check] = []
        self.orders: dict[tuple[str, str, str], Order] = {}
        self.released: list[Released] = []
        self.where: dict[str, Callable[[Source[Rule]], None]] = {
            "hands on circuit": lambda s: self._touching(s, self.deeds.hands("circuit")),
            "hands on stored": lambda s: self._touching(s, self.deeds.hands("stored")),
            "probes on circuit": lambda s: self._touching(s, self.deeds.steps("probes", "circuit")),
            "near moving": lambda s: self._touching(s, self.deeds.steps("near", "moving")),
            "place": self._place,
            "close device": lambda s: self._moving(s, "close"),
            "release device": lambda s: self._moving(s, "release"),
            "turn moving": lambda s: self._moving(s, "turn"),
            "fit lead": lambda s: self._touching(s, self.deeds.temporaries("begun", "fit", "lead")),
            "take down lead": lambda s: self._touching(
                s, self.deeds.temporaries("confirmed", "take down", "lead")
            ),
            "uncover guard": lambda s: self._touching(s, self.deeds.uncovered()),
            "fit bypass": lambda s: self._touching(s, self.deeds.temporaries("begun", "fit", "bypass")),
            "end": lambda s: self._end(s, lambda _: True),
            "end in service": lambda s: self._end(s, lambda left: "live" in left),
            "end out of service": lambda s: self._end(s, lambda left: left != {"live"}),
            WORK_BEGINS: self._before_work,
            OWN: lambda _: None,  # `routines` reads steps as they are written
            EVERY: lambda _: None,
            **{f"reading {f}": lambda s, f=f: self._touching(s, self.deeds.reading(f)) for f in FUNCTIONS},  # type: ignore[misc]
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

    # -- what is demanded -------------------------------------------------------------------------------

    def _touching(self, source: Source[Rule], deeds: Iterator[Deed]) -> None:
        for deed in deeds:
            if source.model.where == "it drives a part" and not self.t.drives(deed.subject):
                continue
            self._at(source, deed)
            self._ordered(source, deed.begins, device="", before=source.model.whenever)

    def _at(self, source: Source[Rule], deed: Deed) -> None:
        """Every `must` at one node; `unless: tier low` excuses where nothing within reach can shock."""
        tier = "bare low" if deed.reaches else "tier low"
        low = self.t.words(tier, deed.place) if source.model.unless and deed.place else NEVER
        if deed.subject in self.t.data["absent"]:
            low = self.t.table.layout.either(low, self.t.words("absent", deed.subject))
        stored = self.t.sources.get(deed.subject, {}).get("kind") == "stored"
        for index, text in enumerate(source.model.must):
            parts = [p for p in text.split(" or ") if not (stored and "source" in p)]
            phrase = " or ".join(parts).replace("instrument", deed.slot).replace("(store", f"({deed.subject}")
            opens = phrase == UNCOVERED and deed.begins.startswith("begin@safe.")  # whoever takes it down there opens the box for it
            if not phrase or opens or (not stored and phrase.startswith("store ")):
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
                deed = self.deeds.deed(name, step["place"])
                self._at(source, deed if step["heavy"] else replace(deed, node=f"ask {name}"))

    def _moving(self, source: Source[Rule], verb: str) -> None:
        for name, step in self.t.steps.items():
            for effect in step["begun"]:
                device = effect.removeprefix(f"{verb} ")
                if effect == device or not self._spoken(source.model.where, step, device):
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

    def _spoken(self, where: str | None, step: Mapping[str, Any], device: str) -> bool:
        """Whether a rule speaks of this device in this step."""
        if where is None:
            return True
        if where == UNSAID:
            return any(f"turn {part}" not in step["begun"] for part in self.t.started_by(device))
        starts = any(e.startswith("turn ") for e in step["begun"])
        return starts and self.t.devices.get(device, {}).get("kind") in HANDLES

    @staticmethod
    def _before_work(source: Source[Rule]) -> None:
        """Only the words are read: `scope_rules` reads the scope, and no table shows when it was inspected."""
        for index, phrase in enumerate(source.model.must):
            if not any(re.fullmatch(known, phrase) for known in BEFORE_WORK):
                said = f"'{phrase}' is not something that can be asked before work begins"
                remedy = "write `inspected within N months by another person`, N from 1 to 12; `its scope ends at N V to ground`; or `its scope ends before N closings in 24 h, where it closes`"
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

    def ways(self, source: Source[Rule]) -> None:
        """The gates that `on_the_way` and `needs` name: one that is not there would be a rule that never speaks."""
        for tag, gates in source.model.needs.items():
            for number, gate in enumerate(gates):
                self._known(source, gate, "needs", tag, number)
        for index, way in enumerate(source.model.on_the_way):
            for number, to in enumerate(way.to):
                if to.startswith(GATE):
                    self._known(source, to.removeprefix(GATE), "on_the_way", index, "to", number)

    def _known(self, source: Source[Rule], gate: str, *at: str | int) -> None:
        if gate not in self.t.known:
            said, near = f"there is no gate '{gate}'", remedy_for(gate, self.t.known, what="gates")
            source.fault(at or ("whenever",), "unknown-gate", said, near)

    def _gate(self, source: Source[Rule], gate: str) -> None:
        """`must` over a gate: at every deed of its routine; `in_order`: before every answer to it."""
        if gate != TWO_READ:
            self._known(source, gate)
        for name, step in self.t.steps.items():
            owner = self.t.gates.get(step["owner"])
            if owner is None or owner["gate"] != gate:
                continue
            for outcome in step["outcomes"]:
                self._ordered(
                    source, f"answered@{name}={outcome['name']}", device="", before=source.model.whenever
                )
            if step["heavy"] and source.model.must:
                subject = owner["env"].get("it", "")
                subject = self.t.sources.get(subject, {}).get("charged_by", subject)
                self._at(source, self.deeds.deed(name, subject))
