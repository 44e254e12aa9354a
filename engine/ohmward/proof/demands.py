"""What a rule's `must` may say, turned into a condition on one table."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from ohmward.chart.layout import ALWAYS, NEVER, Condition
from ohmward.chart.table import Table
from ohmward.language.effects import UPSTREAM
from ohmward.language.library import Source
from ohmward.language.models import Rule
from ohmward.language.suggest import remedy_for
from ohmward.proof.machine import behind, within

NOTHING_WRONG = "no trip unanswered when nothing goes wrong"
STARTS = "what it can start is held off elsewhere"
UNCOVERED = "what covers it is off"
QUALIFIED_HERE = "qualified for a circuit (here)"
OF_PLACE = (QUALIFIED_HERE, UNCOVERED)
SAID = "it says what it leaves"
OF_DEVICE = (
    "no answered trip in series",
    "qualified for what it feeds",
    "nothing that it feeds is bare",
    "protected where it is bare",
    STARTS,
)
KNOWN = (
    "source is held off",
    "store is discharged",
    *OF_PLACE,
    "no unanswered trip in series",
    "no temporary in place",
    "no lock of ours on",
    "no trip unanswered",
    NOTHING_WRONG,
    "nothing of it is closed here",
    "no temporary in place on what is not held off",
    "what it leaves held off is held off",
    "take-down-what-was-left is next",
    "what was released is held off again",
    SAID,
    "inspected within 12 months by another person",
    "GATE(source, here) held",
    *OF_DEVICE,
)
_NAMED = re.compile(r"(?<![\w-])(source|here)(?![\w-])")  # as words of their own: ids may hold them
WORK_BEGINS = "work begins"
UNSAID = "it can start a part unsaid"  # `where`, of a device that is closed
OWN = "its own steps"  # of the procedure, not of a gate's routine
EVERY = "every step"  # of the procedure and of every gate's routine
OUTSIDE = "steps outside "  # before a gate's name: every step but those of its routine
TWO_READ = "in which two read"  # after `gate`: any gate with such a reading
RELEASED = "what was released is held off again"


@dataclass(frozen=True, slots=True)
class On:
    """What a demand speaks of: a source or a device, the place; at an end the devices left closed, and the end."""

    subject: str = ""
    place: str = ""
    live: frozenset[str] = frozenset()
    end: Mapping[str, Any] | None = None


class TableData:
    """The table's data, read for rules."""

    def __init__(self, table: Table, gates: frozenset[str]) -> None:
        self.table, self.known = table, gates
        data: Any = table.data
        self.sources: Mapping[str, Any] = data["sources"]
        self.steps: Mapping[str, Any] = data["steps"]
        self.places: Mapping[str, Any] = data["places"]
        self.ends: Mapping[str, Any] = data["ends"]
        self.devices: Mapping[str, Any] = data["devices"]
        self.temporary: Mapping[str, Any] = data["temporary"]
        self.gates: Mapping[str, Any] = data["gates"]
        self.data = data

    def words(self, group: str, name: str) -> Condition:
        """A condition that the table keeps under a name."""
        return self.table.layout.from_words(self.data[group][name])

    def held(self, key: str) -> Condition:
        """A gate is held; never where this table does not have it."""
        name = f"gate {key}"
        return self.table.layout.being(name, "held") if name in self.table.layout.values else NEVER

    def drives(self, name: str) -> bool:
        """Whether a part moves by a circuit, or by the circuit that charges a store."""
        circuit = self.sources[name].get("charged_by", name)
        return any(s.get("driven_by") == circuit for s in self.sources.values())

    def shocks(self, name: str, kind: str) -> bool:
        """Whether a source is of this kind and not limited."""
        return self.sources[name]["kind"] == kind and "limited" not in self.sources[name]

    def demand(self, source: Source[Rule], index: int, phrase: str, on: On) -> Condition:
        """One line of `must`: any of its parts."""
        parts = (self._one(source, index, p, on) for p in phrase.split(" or "))
        return self.table.layout.either(*parts)

    def _one(self, source: Source[Rule], index: int, phrase: str, on: On) -> Condition:
        layout = self.table.layout
        if on.end is not None and (told := self._at_end(phrase, on, on.end)) is not None:
            return told
        match phrase:
            case "source is held off":
                return self.words("held off", on.subject)
            case "store is discharged":
                return layout.being(f"stored {on.subject}", "discharged")
            case _ if phrase in OF_PLACE:
                return (self._qualified if phrase == QUALIFIED_HERE else self._uncovered)(on.place)
            case "no unanswered trip in series":
                return self.words("debts clear", on.subject)
            case _ if phrase in OF_DEVICE and on.subject in self.devices:
                return self._of_device(phrase, on.subject)
            case _ if phrase.endswith(" held") and phrase[:-5].partition("(")[0] in self.known:
                words = _NAMED.sub(lambda m: on.subject if m[0] == "source" else on.place, phrase[:-5])
                return self.held(words.replace("(part", f"({on.subject}"))
            case _:
                source.fault(
                    ("must", index),
                    "unknown-words",
                    f"'{phrase}' is not something that a rule can demand",
                    self._near(phrase),
                )
                return ALWAYS

    def _at_end(self, phrase: str, on: On, end: Mapping[str, Any]) -> Condition | None:
        """What only an end is asked; None for other words."""
        layout = self.table.layout
        match phrase:
            case "no temporary in place":
                return layout.both(*(self._gone(name) for name in self.temporary))
            case "no temporary in place on what is not held off":
                return layout.both(*(self._shut(name) for name in self.temporary))
            case "no trip unanswered" | "no trip unanswered when nothing goes wrong":
                debts = [v.name for v in layout.variables if v.name.startswith("trip ")]
                return layout.both(*(layout.being(d, "none", "answered") for d in debts))
            case "nothing of it is closed here":
                done = {e for s in self.steps.values() for e in (*s["begun"], *s["confirmed"])}
                return NEVER if done & {f"close {d}" for d in on.live} else ALWAYS
            case "no lock of ours on":
                locked = (layout.being(f"device {d}", "held off") for d in self.devices if d in on.live)
                return layout.both(*(layout.opposite(c) for c in locked))
            case "what it leaves held off is held off":
                off = [c for c, how in end["leaves"].items() if how == "held off"]
                return layout.both(*(self._locked(c) for c in off))
        return self._written(phrase, end)

    @staticmethod
    def _written(phrase: str, end: Mapping[str, Any]) -> Condition | None:
        """What an end says or does not say, whatever is so when it is reached."""
        said = bool(end["leaves"]) if phrase == SAID else phrase.removesuffix(" is next") in end["next"]
        return (ALWAYS if said else NEVER) if phrase == SAID or phrase.endswith(" is next") else None

    def feeds(self, temporary: Mapping[str, Any]) -> bool:
        """Whether it is a lead, or bridges what can shock."""
        return temporary["kind"] == "lead" or (temporary["kind"] == "bypass" and bool(behind(self.data, {**temporary, "at": ""})))

    def _gone(self, name: str) -> Condition:
        return self.table.layout.being(f"temporary {name}", "not there")

    def _bare(self, fed: Mapping[str, Any]) -> list[tuple[Condition, str]]:
        """(when nothing stands open, where) for each temporary that bares or bridges what is fed; without a cover it always does."""
        bare = [(self._gone(n), t.get("at", "")) for n, t in self.temporary.items() if fed.keys() & behind(self.data, t)]
        open_places = (p for p, place in self.places.items() if "cover" not in place)
        return bare + [(NEVER, p) for p in open_places if fed.keys() & behind(self.data, {"on": (), "at": p})]

    def _of_device(self, phrase: str, device: str) -> Condition:
        """What is asked of a device that is closed: trips in series with it, what it feeds and what stands open there."""
        layout = self.table.layout
        fed = {c: path for c, path in self.data["path"].items() if device in path}
        if phrase == "qualified for what it feeds":
            return layout.either(*(self.held(f"qualified({c})") for c in fed if self.shocks(c, "circuit")))
        if phrase == STARTS:
            driven = (self.sources[part]["driven_by"] for part in self.started_by(device))
            return layout.both(*(self._locked(c, but=device) for c in driven))
        if phrase == "nothing that it feeds is bare":
            return layout.both(*(gone for gone, _ in self._bare(fed)))
        if phrase == "protected where it is bare":
            return layout.both(
                *(layout.either(gone, self.held(f"shock-protection({place})")) for gone, place in self._bare(fed))
            )
        debts = [f"trip {d}" for d in dict.fromkeys((device, *(d for path in fed.values() for d in path), UPSTREAM))]
        return layout.both(*(layout.being(d, "none", "unanswered") for d in debts if d in layout.values))

    def _qualified(self, place: str) -> Condition:
        """For one of the circuits that can shock there: of two behind one cover, one person's skill is the same."""
        circuits = [s for s in self.places[place]["holds"] if self.shocks(s, "circuit")] if place else []
        return self.table.layout.either(*(self.held(f"qualified({c})") for c in circuits)) if circuits else ALWAYS

    def started_by(self, device: str) -> list[str]:
        """The parts that can move once a device is closed."""
        driven = ((name, s.get("driven_by")) for name, s in self.sources.items())
        return [name for name, circuit in driven if circuit is not None and device in self.data["path"][circuit]]

    def _uncovered(self, place: str) -> Condition:
        """The cover of a place was taken off, or found off; where there is none, always."""
        cover = self.places[place].get("cover") if place else None
        return self.table.layout.opposite(self._gone(cover)) if cover is not None else ALWAYS

    def _locked(self, circuit: str, *, but: str = "") -> Condition:
        """Held off by a device of its own, or by every feeder, other than `but`; that it was found live all the same is told elsewhere."""
        layout, source = self.table.layout, self.sources[circuit]
        holding = [d for d in source["through"] if d != but and "held off" in layout.values[f"device {d}"]]
        own = (layout.being(f"device {d}", "held off") for d in holding)
        fed = layout.both(*(self._locked(c, but=but) for c in source["fed_by"])) if source["fed_by"] else NEVER
        return layout.either(*own, fed)

    def _shut(self, name: str) -> Condition:
        """A temporary is not there, or whatever it bares, bridges or feeds is held off."""
        temporary = self.temporary[name]
        there = (*temporary["on"], *within(self.data, temporary))
        feeding = {s: self.sources[s].get("charged_by") or self.sources[s].get("driven_by") or s for s in there}
        circuits = [s for s in feeding.values() if "limited" not in self.sources[s]]
        off = self.table.layout.both(*(self.words("held off", c) for c in dict.fromkeys(circuits)))
        return self.table.layout.either(self._gone(name), off)

    def _near(self, phrase: str) -> str:
        if phrase in KNOWN:
            return f"it is asked {'of a device that is closed or released' if phrase in OF_DEVICE else 'at an end, or in another situation'}: write a rule of its own for that"
        wanted = phrase if phrase.endswith(" held") else f"{phrase} held"
        gates = {f"{g} held" for g in self.known}
        near = remedy_for(wanted.replace(" is held", " held"), gates, what="gates")
        return near if near.startswith("did you mean") else remedy_for(phrase, KNOWN, what="demands")
