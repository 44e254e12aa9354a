"""Steps as written to steps as planned: kind, exposure, outcomes, limits. Every fault with its place."""

from abc import ABC, abstractmethod
from collections.abc import Mapping
from dataclasses import replace

from ohmward.chart.plan import CANNOT, ELSE, NOT_DECIDED, Leads, Outcome, StepPlan
from ohmward.chart.resolve_names import Names, Where
from ohmward.language.effects import Counts
from ohmward.language.evaluate import TRUTH
from ohmward.language.fields import dimension
from ohmward.language.library import Library, Source
from ohmward.language.models import Band, Model, Procedure, Step, Way
from ohmward.language.suggest import remedy_for
from ohmward.language.vocabulary import SLOTS

STEP_KINDS = ("action", "confirm", "reading", "choice", "gear", "person")
_GOOD = {"action": "done", "confirm": "confirmed", "gear": "suits", "person": "named"}
_ROUTINE_TARGETS = ("held", "repeat", "fail")


class Steps(Names, ABC):
    """Plans steps; gates are planned by the resolver that is built on this."""

    def __init__(self, library: Library, model: Procedure) -> None:
        super().__init__(model)
        self.library = library
        self.used: dict[str, Source[Model]] = {}

    @abstractmethod
    def gate(self, where: Where, call: str) -> str:
        """The key of a gate that a call names, planned with all that it asks for."""

    def steps(self, where: Where, steps: Mapping[str, Step], prefix: str = "") -> tuple[StepPlan, ...]:
        """Every step, groups put in."""
        made: list[StepPlan] = []
        siblings = tuple(n for name, step in steps.items() for n in self._targets_of(name, step))
        for name, step in steps.items():
            here = replace(where.at(name), siblings=siblings)
            kinds = [k for k in (*STEP_KINDS, "group") if getattr(step, k) is not None]
            if len(kinds) != 1:
                remedy = f"give it exactly one of {', '.join((*STEP_KINDS, 'group'))}"
                here.fault("not-one-kind", f"step '{name}' has {len(kinds)} kinds", remedy, key=True)
            elif kinds[0] == "group":
                made += self._group(here, step, prefix + name)
            else:
                made.append(self._step(here, kinds[0], step, prefix + name))
        return tuple(made)

    def _targets_of(self, name: str, step: Step) -> tuple[str, ...]:
        """The names by which a step can be a target: its own, and a group's steps."""
        group = self.library.groups.get(step.group or "")
        return (name, *(f"{name}.{inner}" for inner in group.model.steps)) if group else (name,)

    def _group(self, where: Where, step: Step, name: str) -> tuple[StepPlan, ...]:
        group = self.library.groups.get(str(step.group))
        if group is None:
            remedy = remedy_for(str(step.group), self.library.groups, what="groups")
            where.at("group").fault("unknown-group", f"there is no group '{step.group}'", remedy)
            return ()
        if any(s.group for s in group.model.steps.values()):
            group.fault(
                ("steps",), "nested-group", "a group cannot hold a group", "write the steps out", key=True
            )
            return ()
        self.used[group.short] = group
        inner = self.steps(replace(where, file=group, path=("steps",)), group.model.steps, f"{name}.")
        if not inner or step.evidence is None:
            return inner
        return (*inner[:-1], replace(inner[-1], evidence=step.evidence))

    def _step(self, where: Where, kind: str, step: Step, name: str) -> StepPlan:
        place = self.name(where.at("at"), step.at, "place") if step.at else ""
        hands = self.names(where.at("hands"), step.hands, "source")
        probes = self.names(where.at("probes"), step.probes, "source")
        self._exposure(where, step, name, place)
        if where.owner and step.needs:
            where.at("needs").fault(
                "needs-in-routine",
                "a routine's step has no needs of its own",
                "put them into the gate's asks:",
                key=True,
            )
        needs = (
            () if where.owner else tuple(self.gate(where.at("needs", i), c) for i, c in enumerate(step.needs))
        )
        self._texts(where, kind, step)
        self._touching(where, step, hands, probes)
        effects = self.effects(where.at("changes"), step.changes)
        for effect in effects if kind not in {"action", "confirm"} else ():
            if effect.counts is not Counts.BEGUN:
                where.at("changes").fault(
                    "unconfirmed",
                    f"a {kind} does not confirm '{effect}'",
                    "give it an action or confirm of its own, or the option that says so",
                    key=True,
                )
        return StepPlan(
            name=f"{where.owner}.{name}" if where.owner else name,
            kind=kind,
            model=step,
            file=where.file.short,
            line=where.file.line(where.path),
            owner=where.owner,
            env=dict(where.env),
            place=place,
            hands=hands,
            probes=probes,
            near=self.names(where.at("near"), step.near, "moving"),
            needs=tuple(n for n in needs if n),
            effects=effects,
            outcomes=self._outcomes(where, kind, step),
            evidence=step.evidence or "",
        )

    def _exposure(self, where: Where, step: Step, name: str, place: str) -> None:
        for word in ("hands", "probes") if place else ():
            if getattr(step, word) is None:
                where.fault(
                    f"no-{word}",
                    f"step '{name}' is at a place and does not say {word}:",
                    f"write `{word}: none` or the sources",
                    key=True,
                )
        if (step.hands or step.probes) and not place:
            where.fault(
                "no-place",
                f"step '{name}' has hands or probes somewhere and does not say at:",
                "add `at:` with the place",
                key=True,
            )

    def _touching(self, where: Where, step: Step, hands: tuple[str, ...], probes: tuple[str, ...]) -> None:
        """Putting in, taking out and discharging are done with hands or probes: the step must say so."""
        ways = (*step.bands, *step.options)
        texts = (*step.changes, *(c for w in ways for c in w.changes))
        for effect in self.effects(where.at("changes"), texts):
            known = self.model.temporary.get(effect.object)
            if effect.verb in {"fit", "take down"} and known is not None:
                place = self._means(step.at, where.env) if step.at else None
                if place != known.at or not set(known.on) <= set(hands):
                    remedy = f"add `at: {known.at}` and `hands: [{', '.join(known.on)}]`"
                    where.fault(
                        "no-hands-on", f"'{effect}' does not say that hands are there", remedy, key=True
                    )
            if effect.verb == "discharge" and effect.object not in {*hands, *probes}:
                where.fault(
                    "no-hands-on",
                    f"'{effect}' does not say what touches it",
                    f"name {effect.object} in hands: or probes:",
                    key=True,
                )
        if step.wait is not None and not (
            hands
            or probes
            or any(e.counts is Counts.BEGUN for e in self.effects(where.at("changes"), step.changes))
        ):
            where.at("wait").fault(
                "wait-unbegun",
                "a step that is not begun cannot be waited for",
                "remove wait:, or give the step what its hands do",
            )

    # -- outcomes ---------------------------------------------------------------------------------------

    def _outcomes(self, where: Where, kind: str, step: Step) -> tuple[Outcome, ...]:
        for word in ("then", "not_decided", "if_interrupted"):
            self._target(where.at(word), getattr(step, word))
        then, finding = step.then or "", step.finding or ""
        unsure = Outcome(
            name=NOT_DECIDED, leads=Leads.AGAIN, then=step.not_decided or ("fail" if where.owner else "")
        )
        match kind:
            case "action" | "confirm":
                good = Outcome(name=_GOOD[kind], leads=Leads.ON, then=then, finding=finding)
                return (good, Outcome(name=CANNOT, leads=Leads.HELD))
            case "gear" | "person":
                return (Outcome(name=_GOOD[kind], leads=Leads.ON, then=then), unsure)
            case "reading":
                return (*self._ways(where, step, "bands", step.bands), unsure)
            case _:
                return (
                    *self._ways(where, step, "options", step.options),
                    Outcome(name=ELSE, leads=Leads.HELD),
                )

    def _ways(self, where: Where, step: Step, word: str, ways: tuple[Way, ...]) -> tuple[Outcome, ...]:
        if not ways:
            where.fault(f"no-{word}", f"this step has no {word}", f"add {word}:", key=True)
        taken = {NOT_DECIDED, CANNOT, ELSE}
        made: list[Outcome] = []
        for index, way in enumerate(ways):
            at = where.at(word, index)
            self._target(at.at("then"), way.then)
            if way.name in taken:
                at.at("name").fault(
                    "duplicate-name", f"'{way.name}' is taken", "give each outcome its own name"
                )
            taken.add(way.name)
            effects = self.effects(at.at("changes"), way.changes)
            for effect in effects:
                if effect.counts is Counts.BEGUN:
                    at.at("changes").fault(
                        "raises-too-late",
                        f"'{effect}' moves the hand before the answer",
                        "put it into the step's own changes:",
                    )
            made.append(
                Outcome(
                    name=way.name,
                    leads=Leads.ON,
                    then=way.then or step.then or "",
                    effects=effects,
                    finding=way.finding or step.finding or "",
                    counts=way.counts is not None or (way.then is None and not way.changes),
                )
            )
        return tuple(made)

    def _target(self, where: Where, target: str | None) -> None:
        known = set(where.siblings) | (set(_ROUTINE_TARGETS) if where.owner else set(self.model.ends))
        if target is not None and target not in known:
            where.fault(
                "unknown-target",
                f"'{target}' is not a place to go from here",
                remedy_for(target, known, what="targets"),
            )

    # -- limits -----------------------------------------------------------------------------------------

    def _texts(self, where: Where, kind: str, step: Step) -> None:
        for index, require in enumerate(step.suits):
            self.expression(where.at("suits", index, "require"), require.require, TRUTH)
        if kind in {"gear", "reading"} and step.slot is None:
            where.fault("no-slot", f"this {kind} does not say which gear", "add `slot:`", key=True)
        slot = where.env.get(step.slot or "", step.slot or "")
        if slot and slot not in SLOTS:
            where.at("slot").fault(
                "unknown-slot", f"'{slot}' is not a gear slot", remedy_for(slot, SLOTS, what="slots")
            )
        if kind == "reading":
            self._reading(where, step)

    def _reading(self, where: Where, step: Step) -> None:
        for word in ("unit", "function", "between"):
            if getattr(step, word) is None:
                where.fault(f"no-{word}", f"this reading does not say its {word}", f"add `{word}:`", key=True)
        for index, band in enumerate(step.bands):
            self._band(where.at("bands", index), step, band, last=index == len(step.bands) - 1)
        if step.function in {"ohms", "insulation"} and not (step.bands and step.bands[-1].over_range):
            remedy = "add `over_range: here` to the last band"
            where.at("bands").fault("no-over-range", "ohms do not say where OL belongs", remedy)

    def _band(self, where: Where, step: Step, band: Band, *, last: bool) -> None:
        limits = [w for w in ("below", "up_to", "over_range") if getattr(band, w) is not None]
        fits = limits in ([], ["over_range"]) if last else len(limits) == 1 and limits != ["over_range"]
        if not fits:
            wanted = "no limit, or over_range" if last else "exactly one of below and up_to"
            where.fault(
                "band-limits",
                f"band '{band.name}' needs {wanted}",
                "bands ascend; only the last is open above",
            )
        for word in limits:
            if word != "over_range":
                self.expression(where.at(word), str(getattr(band, word)), dimension(step.unit))
