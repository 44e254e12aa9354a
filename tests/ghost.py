"""A world with a truth of its own beside the table: handles, locks, charge, faults, and a person who acts.

The person acts and *then* answers, stops, crashes or is late. Others may close whatever is not locked. With
`lies` the person gives that many false answers, or works the wrong handle and says done.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

from ohmward.chart.table import NODE_BITS, Move, Position, Table, advance

STOPS = ("pause", "interrupted", "unsafe", "emergency")


@dataclass(frozen=True)
class Truth:
    """How things are, whatever is believed."""

    closed: frozenset[str]
    locked: frozenset[str]
    present: frozenset[str]  # temporaries that are really there
    charged: frozenset[str]
    fault: bool  # closing trips something
    tripped: bool  # something tripped, and its cause is still there
    backfed: frozenset[str]


class Being(NamedTuple):
    """A state of the two worlds together."""

    position: Position
    truth: Truth
    acted: bool
    lies: int
    lie: str  # the false answer that was given


class Ghost:
    """The person and the machine of one table."""

    def __init__(self, table: Table, *, wrong_handle: bool = True) -> None:
        self.table = table
        data: Any = table.data
        self.data = data
        self.steps = data["steps"]
        self.sources = data["sources"]
        self.circuits = [c for c, s in self.sources.items() if s["kind"] == "circuit"]
        self.stores = [s for s, k in self.sources.items() if k["kind"] == "stored"]
        self.wrong_handle = wrong_handle

    def born(self, position: Position, *, fault: bool = False, backfed: tuple[str, ...] = (), lies: int = 0) -> Being:
        present = [t for t in self.data["temporary"] if table_value(self.table, position, f"temporary {t}") == "in place"]
        truth = Truth(frozenset(self.data["devices"]), frozenset(), frozenset(present), frozenset(self.stores), fault, False, frozenset(backfed))
        return Being(position, truth, False, lies, "")

    # -- truth ------------------------------------------------------------------------------------------

    def can_live(self, truth: Truth, circuit: str) -> bool:
        """Live, or made live by somebody who closes what no lock holds."""
        if circuit in truth.backfed:
            return True
        source = self.sources[circuit]
        if any(d in truth.locked and d not in truth.closed for d in source["through"]):
            return False
        return not source["fed_by"] or any(self.can_live(truth, f) for f in source["fed_by"])

    def live(self, truth: Truth, circuit: str) -> bool:
        if circuit in truth.backfed:
            return True
        source = self.sources[circuit]
        on = all(d in truth.closed for d in source["through"])
        return on and (not source["fed_by"] or any(self.live(truth, f) for f in source["fed_by"]))

    def done(self, truth: Truth, effects: list[str]) -> Truth:
        """The truth after effects were really brought about."""
        for effect in effects:
            verb = next(v for v in ("hold off", "take down", "found live", "found charged", effect.split(" ")[0]) if effect.startswith(v + " "))
            name = effect[len(verb) + 1 :]
            match verb:
                case "open" if name not in truth.locked:
                    truth = replace(truth, closed=truth.closed - {name})
                case "hold off":
                    truth = replace(truth, locked=truth.locked | {name})
                case "release":
                    truth = replace(truth, locked=truth.locked - {name})
                case "close" if name not in truth.locked:
                    truth = replace(truth, closed=truth.closed | {name})
                case "fit" | "uncover":
                    truth = replace(truth, present=truth.present | {name})
                case "take down" | "cover":
                    truth = replace(truth, present=truth.present - {name})
                case "discharge":
                    truth = replace(truth, charged=truth.charged - {name})
                case "answer":
                    truth = replace(truth, fault=False, tripped=False)
        again = [s for s in self.stores if self.live(truth, self.sources[s]["charged_by"])]
        return replace(truth, charged=truth.charged | set(again))

    # -- hurt -------------------------------------------------------------------------------------------

    def hurt_by(self, being: Being, step: Any) -> str:
        """What happens to the person who does this step now; '' when nothing does."""
        truth = being.truth
        if step["hands"]:
            reach = {*step["hands"], *self.data["places"][step["place"]]["holds"]}
            for name in sorted(reach):
                known = self.sources[name]
                if known["kind"] == "circuit" and "limited" not in known and self.can_live(truth, name):
                    return f"hands on {name}, which is live or can be made so"
                if known["kind"] == "stored" and name in truth.charged:
                    return f"hands on {name}, which is charged"
        if any(e.startswith("close ") for e in step["begun"]) and truth.tripped:
            return "closed onto a fault that had tripped before"
        return ""

    def hurt_at_end(self, being: Being) -> str:
        node = self.table.node(being.position).name
        end = self.data["ends"].get(node.removeprefix("end "), {"leaves": {}})
        if "live" in end["leaves"].values() and (being.truth.present or being.truth.locked or being.truth.tripped):
            return f"in service with {sorted(being.truth.present)} left, locks {sorted(being.truth.locked)}, tripped {being.truth.tripped}"
        return ""

    # -- what can happen --------------------------------------------------------------------------------

    def moves(self, being: Being) -> Iterator[tuple[str, Being, str]]:
        """(what happened, the state after, who was hurt)."""
        node = self.table.node(being.position)
        for trigger in self.table.offered(being.position):
            word = trigger.partition("@")[0]
            if word not in {"answered", "answered-late", "begin"}:
                yield from self._press(being, trigger, being.truth, acted=False)
        if node.kind == "ask":
            yield from self._at_ask(being, self.steps[node.step])
        elif node.kind in {"doing", "late"}:
            yield from self._at_deed(being, self.steps[node.step], node.kind)
        elif node.kind in {"reconcile", "safe", "safe-hands", "safe-doing"}:
            yield from self._looking(being, node.kind)

    def _press(self, being: Being, trigger: str, truth: Truth, *, acted: bool, lie: str = "") -> Iterator[tuple[str, Being, str]]:
        move = advance(self.table, being.position, trigger)
        assert isinstance(move, Move), (trigger, self.table.node(being.position).name)
        after = being._replace(position=move.position, truth=truth, acted=acted, lies=being.lies - bool(lie), lie=being.lie or lie)
        kind = self.table.node(after.position).kind
        if kind in {"doing", "late"} and self.table.node(being.position).kind in {"doing", "late"}:
            after = after._replace(acted=being.acted)
        yield trigger, after, self.hurt_at_end(after) if kind == "end" else ""

    def _at_ask(self, being: Being, step: Any) -> Iterator[tuple[str, Being, str]]:
        if step["heavy"]:
            yield from self._press(being, f"begin@{self._name(being)}", being.truth, acted=False)
            return
        changed = self.done(being.truth, step["confirmed"])
        yield from self._answers(being, step, changed, "answered")
        if changed != being.truth:  # done, and then the telephone rings
            for stop in STOPS:
                yield from self._press(being, stop, changed, acted=False)
            if being.lies and self.wrong_handle:
                good = step["outcomes"][0]["name"]
                yield from self._press(being, f"answered@{self._name(being)}={good}", being.truth, acted=False, lie=f"{self._name(being)}: {good}")

    def _at_deed(self, being: Being, step: Any, kind: str) -> Iterator[tuple[str, Being, str]]:
        word = "answered" if kind == "doing" else "answered-late"
        if not being.acted:
            if kind == "doing":
                truth = self.done(being.truth, step["begun"])
                if truth.fault and any(e.startswith("close ") for e in step["begun"]):
                    truth = replace(truth, tripped=True)
                yield "(acts)", being._replace(truth=truth, acted=True), self.hurt_by(being, step)
            for outcome in step["outcomes"]:
                if outcome["leads"] != "on":
                    yield from self._press(being, f"{word}@{self._name(being)}={outcome['name']}", being.truth, acted=False)
            return
        yield from self._answers(being, step, self.done(being.truth, step["confirmed"]), word)
        changed = self.done(being.truth, step["confirmed"])
        if changed != being.truth:
            for stop in STOPS:
                yield from self._press(being, stop, changed, acted=True)

    def _name(self, being: Being) -> str:
        return self.table.node(being.position).step

    def _answers(self, being: Being, step: Any, truth: Truth, word: str) -> Iterator[tuple[str, Being, str]]:
        true = set(self._true(being, step, truth))
        for outcome in step["outcomes"]:
            trigger = f"{word}@{self._name(being)}={outcome['name']}"
            if outcome["name"] in true:
                yield from self._press(being, trigger, self.done(truth, outcome["effects"]), acted=False)
            elif being.lies and outcome["leads"] == "on":
                yield from self._press(being, trigger, truth, acted=False, lie=f"{self._name(being)}: {outcome['name']}")

    def _true(self, being: Being, step: Any, truth: Truth) -> Iterator[str]:
        """The outcomes that an honest person can give."""
        on = [o for o in step["outcomes"] if o["leads"] == "on"]
        yield from (o["name"] for o in step["outcomes"] if o["leads"] != "on")
        finds = [o for o in on if any(e.startswith(("found live", "found charged")) for e in o["effects"])]
        trips = [o for o in on if any(e.startswith("trip ") for e in o["effects"])]
        rest = [o for o in on if o not in finds and o not in trips]
        if finds:
            yield from (o["name"] for o in (finds if self._bad(truth, finds, rest) else rest))
        elif trips:
            yield from (o["name"] for o in (trips if truth.tripped else rest))
        else:
            yield from (o["name"] for o in rest)

    def _bad(self, truth: Truth, finds: list[Any], rest: list[Any]) -> bool:
        """Whether what these outcomes would find is so."""
        effect = next(e for o in finds for e in o["effects"] if e.startswith("found "))
        name = effect.rpartition(" ")[2]
        if effect.startswith("found live"):
            return self.live(truth, name)
        if any("discharge" in e for o in rest for e in o["effects"]):
            return self.live(truth, self.sources[name]["charged_by"])  # the resistor did its work if nothing feeds it
        return name in truth.charged

    def _looking(self, being: Being, kind: str) -> Iterator[tuple[str, Being, str]]:
        """Reconciling and making safe: what is so is looked at."""
        for trigger in self.table.offered(being.position):
            word, _, rest = trigger.partition("@")
            if word == "begin":
                temporary = self.table.node(being.position).step
                place = self.data["temporary"][temporary]
                step = {"hands": place.get("on", []), "place": place.get("at", ""), "begun": []}
                hurt = self.hurt_by(being, step)
                for name, after, _ in self._press(being, trigger, being.truth, acted=False):
                    yield name, after, hurt
            if word != "answered":
                continue
            name, _, answer = rest.partition("=")
            thing = name.rpartition(".")[2]
            so, truth = self._looked(being.truth, kind, name, thing, answer)
            if so:
                yield from self._press(being, trigger, truth, acted=False)
            elif being.lies:
                yield from self._press(being, trigger, being.truth, acted=False, lie=rest)

    def _looked(self, truth: Truth, kind: str, name: str, thing: str, answer: str) -> tuple[bool, Truth]:
        if kind == "reconcile":
            if ".device." in name:
                state = "held off by me" if thing in truth.locked else "closed" if thing in truth.closed else "opened"
                return answer in {state, "cannot tell"}, truth
            if ".trip." in name:
                return (answer == "yes") == truth.tripped, truth
            return (answer == "in place") == (thing in truth.present), truth
        if answer == "cannot" or thing in {"left", "guard"}:
            return True, truth
        if ".device." in name:
            return True, self.done(truth, [f"open {thing}", f"hold off {thing}"])
        return True, self.done(truth, [f"take down {thing}"])


def table_value(table: Table, position: Position, name: str) -> str:
    return table.layout.value(position >> NODE_BITS, name)
