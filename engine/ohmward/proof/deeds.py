"""What rules watch: who touches, bares, fits or reads what, where, and with which move it begins."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

from ohmward.language.steps import VOLTS, taken_with
from ohmward.proof.demands import TableData
from ohmward.proof.machine import behind

FUNCTIONS = {
    "ohms": frozenset({"ohms"}),
    "microfarads": frozenset({"microfarads"}),
    "insulation": frozenset({"insulation"}),
    "voltage": VOLTS,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Deed:
    """Something that a rule watches: where, on what, and the move with which it begins."""

    subject: str
    place: str
    node: str
    begins: str
    slot: str = "voltmeter"
    reaches: bool = True


class Deeds:
    """The deeds of one table's steps, and those of making safe."""

    def __init__(self, data: TableData) -> None:
        self.data = data

    def steps(self, how: str, *kinds: str) -> Iterator[Deed]:
        """Steps that touch sources of these kinds; hands touch all that is within reach, as do probes on what cannot shock."""
        for name, step in self.data.steps.items():
            touched = set(step[how])
            if how == "probes":  # what is on a store is on the circuit that charges it
                touched |= {c for s in touched if (c := self.data.sources[s].get("charged_by"))}
            beside = how == "hands" or not any(self.data.shocks(s, "circuit") for s in touched)
            if step[how] and step["place"] and beside:
                touched |= set(self.data.places[step["place"]]["holds"])
            for subject in sorted(touched):
                if any(self.data.shocks(subject, k) for k in kinds):
                    yield self.deed(name, subject)

    def deed(self, step: str, subject: str, place: str = "") -> Deed:
        data = self.data.steps[step]
        return Deed(
            subject=subject,
            place=place or data["place"],
            node=f"doing {step}",
            begins=f"begin@{step}",
            slot=data.get("slot", "voltmeter"),
            reaches=bool(data["reaches"]),
        )

    def hands(self, kind: str) -> Iterator[Deed]:
        """Hands in a step, and hands while making safe."""
        yield from self.steps("hands", kind)
        for name, temporary in self.data.temporary.items():
            place = temporary.get("at", "")
            within = self.data.places[place]["holds"] if place and temporary["on"] else ()
            for subject in dict.fromkeys((*temporary["on"], *within)):
                if self.data.shocks(subject, kind):
                    begins = f"begin@safe.temporary.{name}"
                    yield Deed(
                        subject=subject,
                        place=place,
                        node=f"safe-doing {name}",
                        begins=begins,
                        reaches=bool(place),
                    )

    def temporaries(self, when: str, verb: str, kind: str) -> Iterator[Deed]:
        """Steps that put on or take off a temporary of a kind, for each source that it touches.

        A bypass of what can shock feeds it like a lead, and is one here too.
        """
        for name, temporary in self.data.temporary.items():
            kinds = {temporary["kind"], *(("lead",) if self.data.feeds(temporary) else ())}
            for step, data in self.data.steps.items():
                if kind in kinds and f"{verb} {name}" in data[when]:
                    for subject in temporary["on"]:
                        yield self.deed(step, subject, temporary.get("at", ""))

    def uncovered(self) -> Iterator[Deed]:
        """Steps that bare what stands behind a cover, or what a guard is on, for each circuit there that can shock."""
        for name, temporary in self.data.temporary.items():
            place = temporary.get("at", "")
            for step, data in self.data.steps.items():
                if f"uncover {name}" in data["begun"]:
                    for subject in sorted(behind(self.data.data, temporary)):
                        yield replace(self.deed(step, subject, place), reaches=bool(place))

    def reading(self, function: str) -> Iterator[Deed]:
        """Readings with a function that needs what is read dead, or a meter that was proved."""
        for how in ("hands", "probes"):
            for deed in self.steps(how, "circuit", "stored"):
                step = self.data.steps[deed.node.removeprefix("doing ")]
                taken = taken_with(step.get("function"), step.get("functions", ()))
                if step["kind"] == "reading" and taken & FUNCTIONS[function]:
                    yield deed
