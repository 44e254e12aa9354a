"""Rules turned into checks on one table: what must hold at which node, at which move, in which order."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from ohmward.chart.layout import ALWAYS, NEVER, Condition
from ohmward.chart.table import Table
from ohmward.errors import BrokenError, FaultyFileError
from ohmward.language.library import Source
from ohmward.language.models import Rule
from ohmward.language.suggest import remedy_for

WHENEVER = (
    "hands on circuit",
    "hands on stored",
    "probes on circuit",
    "near moving",
    "place",
    "close device",
    "release device",
    "turn moving",
    "end in service",
    "end out of service",
)


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
    """Marks that must have come in this order since `reset`, before a move that leaves the mark `before`."""

    rule: str
    device: str
    marks: tuple[str, ...]
    reset: str
    before: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Released:
    """A device that must not be left released at the given end nodes."""

    rule: str
    device: str
    nodes: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Obligations:
    """Everything that the rules ask of one table."""

    checks: tuple[Check, ...]
    orders: tuple[Order, ...]
    released: tuple[Released, ...]


class _Table:
    """The table's data, read for rules."""

    def __init__(self, table: Table) -> None:
        self.table = table
        data: Any = table.data
        self.sources: Mapping[str, Any] = data["sources"]
        self.steps: Mapping[str, Any] = data["steps"]
        self.places: Mapping[str, Any] = data["places"]
        self.ends: Mapping[str, Any] = data["ends"]
        self.devices: Mapping[str, Any] = data["devices"]
        self.temporary: Mapping[str, Any] = data["temporary"]
        self.data = data

    def words(self, group: str, name: str) -> Condition:
        return self.table.layout.from_words(self.data[group][name])

    def held(self, key: str) -> Condition:
        name = f"gate {key}"
        return self.table.layout.being(name, "held") if name in self.table.layout.values else NEVER


def obligations(table: Table, rules: Mapping[str, Source[Rule]], gates: frozenset[str]) -> Obligations:
    """The checks of every rule on a table. Raises FaultyFileError for a rule whose words are not known."""
    made = _Maker(_Table(table), gates)
    for source in rules.values():
        made.add(source)
    wrong = tuple(d for s in rules.values() for d in s.faults.found)
    if wrong:
        raise FaultyFileError(wrong)
    return Obligations(checks=tuple(made.checks), orders=tuple(made.orders), released=tuple(made.released))


class _Maker:
    def __init__(self, table: _Table, gates: frozenset[str]) -> None:
        self.t, self.gates = table, gates
        self.checks: list[Check] = []
        self.orders: list[Order] = []
        self.released: list[Released] = []

    def add(self, source: Source[Rule]) -> None:
        rule = source.model
        if rule.whenever.startswith("gate "):
            self._known_gate(source, rule.whenever.removeprefix("gate "))
            self._gate(source, rule.whenever.removeprefix("gate "))
            return
        where: dict[str, Callable[[Source[Rule]], None]] = {
            "hands on circuit": lambda s: self._touching(s, "hands", "circuit"),
            "hands on stored": lambda s: self._touching(s, "hands", "stored"),
            "probes on circuit": lambda s: self._touching(s, "probes", "circuit"),
            "near moving": lambda s: self._touching(s, "near", "moving"),
            "place": self._place,
            "close device": lambda s: self._moving(s, "close"),
            "release device": lambda s: self._moving(s, "release"),
            "turn moving": lambda s: self._moving(s, "turn"),
            "end in service": lambda s: self._end(s, in_service=True),
            "end out of service": lambda s: self._end(s, in_service=False),
        }
        if rule.whenever not in where:
            source.fault(
                ("whenever",),
                "unknown-words",
                f"'{rule.whenever}' is not something that a rule can watch",
                remedy_for(rule.whenever, (*WHENEVER, "gate NAME"), what="words"),
            )
            return
        where[rule.whenever](source)

    def _known_gate(self, source: Source[Rule], gate: str) -> None:
        if gate not in self.gates:
            source.fault(
                ("whenever",),
                "unknown-gate",
                f"there is no gate '{gate}'",
                remedy_for(gate, self.gates, what="gates"),
            )

    def _at_node(
        self, source: Source[Rule], node: str, subject: str, place: str, slot: str = "voltmeter"
    ) -> None:
        """Every `must` at one node; `unless: tier low` excuses where nothing within reach can shock."""
        step = self.t.steps.get(node.partition(" ")[2], {"reaches": place})
        tier = "bare low" if step["reaches"] else "tier low"
        low = self.t.words(tier, place) if source.model.unless and place else NEVER
        if subject in self.t.data["absent"]:
            low = self.t.table.layout.either(low, self.t.words("absent", subject))
        for index, phrase in enumerate(source.model.must):
            phrase = phrase.replace("instrument", slot)  # noqa: PLW2901
            must = self.t.table.layout.either(low, self._phrase(source, index, phrase, subject, place))
            words = phrase.replace("source", subject).replace("store ", f"{subject} ").replace("here", place)
            self.checks.append(Check(rule=source.model.rule, node=node, trigger="", must=must, words=words))

    def _touching(self, source: Source[Rule], how: str, kind: str) -> None:
        for name, step in self.t.steps.items():
            touched = set(step[how])
            if how == "hands" and step["hands"] and step["place"]:
                touched |= set(self.t.places[step["place"]]["holds"])
            for subject in sorted(touched):
                declared = self.t.sources[subject]
                if declared["kind"] == kind and "limited" not in declared:
                    slot = step.get("slot", "voltmeter")
                    self._at_node(source, f"doing {name}", subject, step["place"], slot)
        if how == "hands":
            self._removals(source, kind)

    def _removals(self, source: Source[Rule], kind: str) -> None:
        """Hands while making safe."""
        for name, temporary in self.t.temporary.items():
            place = temporary.get("at", "")
            within = self.t.places[place]["holds"] if place and temporary["on"] else ()
            for subject in dict.fromkeys((*temporary["on"], *within)):
                declared = self.t.sources[subject]
                if declared["kind"] == kind and "limited" not in declared:
                    self._at_node(source, f"safe-doing {name}", subject, temporary.get("at", ""))

    def _place(self, source: Source[Rule]) -> None:
        for name, step in self.t.steps.items():
            if step["place"] and step["heavy"]:
                self._at_node(source, f"doing {name}", step["place"], step["place"])

    def _moving(self, source: Source[Rule], verb: str) -> None:
        for name, step in self.t.steps.items():
            for effect in step["begun"]:
                if not effect.startswith(f"{verb} "):
                    continue
                device = effect.removeprefix(f"{verb} ")
                for index, phrase in enumerate(source.model.must):
                    must = self._phrase(source, index, phrase, device, step["place"])
                    self.checks.append(
                        Check(
                            rule=source.model.rule,
                            node=f"ask {name}",
                            trigger=f"begin@{name}",
                            must=must,
                            words=phrase,
                        )
                    )
                order = Order(
                    rule=source.model.rule,
                    device=device,
                    marks=tuple(self._mark(m, device) for m in source.model.in_order),
                    reset=f"hold off {device}",
                    before=effect,
                )
                if source.model.in_order and order not in self.orders:
                    self.orders.append(order)

    @staticmethod
    def _mark(word: str, device: str) -> str:
        return f"release {device}" if word == "released" else word

    def _end(self, source: Source[Rule], *, in_service: bool) -> None:
        """An end is in service as far as it leaves a circuit live, out of service as far as it does not."""
        for name, end in self.t.ends.items():
            left = set(end["leaves"].values())
            if ("live" not in left) if in_service else (left == {"live"}):
                continue
            live = {d for c, how in end["leaves"].items() if how == "live" for d in self.t.data["path"][c]}
            for index, phrase in enumerate(source.model.must):
                self._one_end(source, (index, phrase), f"end {name}", live)

    def _one_end(self, source: Source[Rule], must: tuple[int, str], node: str, live: set[str]) -> None:
        index, phrase = must
        rule = source.model.rule
        if phrase == "what was released is held off again":
            still = [d for d in self.t.devices if d not in live]
            self.released += [Released(rule=rule, device=d, nodes=(node,)) for d in still]
            return
        if phrase == "no lock of ours on":
            layout = self.t.table.layout
            locked = (layout.being(f"device {d}", "held off") for d in self.t.devices if d in live)
            condition = layout.both(*(layout.opposite(c) for c in locked))
        else:
            condition = self._phrase(source, index, phrase, "", "")
        self.checks.append(Check(rule=rule, node=node, trigger="", must=condition, words=phrase))

    def _gate(self, source: Source[Rule], gate: str) -> None:
        """`must` over a gate: at every deed of its routine."""
        for name, step in self.t.steps.items():
            owner = self.t.data["gates"].get(step["owner"])
            if owner is not None and owner["gate"] == gate and step["heavy"] and source.model.must:
                subject = owner["env"].get("it", "")
                subject = self.t.sources.get(subject, {}).get("charged_by", subject)
                self._at_node(source, f"doing {name}", subject, step["place"])

    # -- phrases ----------------------------------------------------------------------------------------

    def _phrase(self, source: Source[Rule], index: int, phrase: str, subject: str, place: str) -> Condition:
        layout = self.t.table.layout
        match phrase:
            case "source is held off":
                return self.t.words("held off", subject)
            case "store is discharged":
                return layout.being(f"stored {subject}", "discharged")
            case "no unanswered trip in series":
                return self.t.words("debts clear", subject)
            case "no temporary in place":
                return layout.both(*(layout.being(f"temporary {t}", "not there") for t in self.t.temporary))
            case "no trip unanswered":
                debts = [v.name for v in layout.variables if v.name.startswith("trip ")]
                return layout.both(*(layout.being(d, "none", "answered") for d in debts))
            case _ if (
                phrase.endswith(" held") and phrase.removesuffix(" held").partition("(")[0] in self.gates
            ):
                key = phrase.removesuffix(" held")
                words = key.replace("source", subject).replace("here", place).replace("(part", f"({subject}")
                return self.t.held(words)
            case _:
                known = (
                    "source is held off",
                    "store is discharged",
                    "no unanswered trip in series",
                    "no temporary in place",
                    "no lock of ours on",
                    "no trip unanswered",
                    "what was released is held off again",
                    "GATE(source, here) held",
                )
                gates = {f"{g} held" for g in self.gates}
                wanted = phrase if phrase.endswith(" held") else f"{phrase} held"
                near = remedy_for(wanted.replace(" is held", " held"), gates, what="gates")
                source.fault(
                    ("must", index),
                    "unknown-words",
                    f"'{phrase}' is not something that a rule can demand",
                    near if near.startswith("did you mean") else remedy_for(phrase, known, what="demands"),
                )
                return ALWAYS


def reads_by_node(table: Table, asked: Obligations) -> dict[int, int]:
    """The bits that checks read, by node: what the proof must not forget."""
    reads: dict[int, int] = {}
    for check in asked.checks:
        if check.node not in table.index:
            raise BrokenError(f"a rule watches the node '{check.node}', which this table does not have")
        number = table.index[check.node]
        for cube in check.must:
            spans = sum(span for span in table.layout.spans if cube & span)
            reads[number] = reads.get(number, 0) | spans
    return reads
