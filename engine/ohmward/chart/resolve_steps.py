"""Steps as written to steps as planned: kind, groups, lists, exposure. Every fault with its place."""

import re
from abc import ABC, abstractmethod
from collections.abc import Mapping
from dataclasses import replace

from ohmward.chart.plan import Data, GatePlan, Leads, Passing, StepPlan
from ohmward.chart.resolve_limits import steps_before
from ohmward.chart.resolve_names import Where, stands_there
from ohmward.chart.resolve_ways import Ways, not_read_empty
from ohmward.language.effects import Counts, Effect
from ohmward.language.library import Library, Source
from ohmward.language.models import Group, Procedure
from ohmward.language.steps import VOLTS, Model, Step, taken_with
from ohmward.language.suggest import remedy_for

ON_CONDUCTORS = VOLTS | {"ohms", "microfarads", "insulation", "clamp amps"}
_OF_ITS_OWN = re.compile(r"(\d{1,2}(\.\d{1,4})? \* )?known-source\.own-voltage")
STEP_KINDS = ("action", "confirm", "reading", "choice", "fact", "gear", "person", "sign", "photo")


class Steps(Ways, ABC):
    """Plans steps; gates are planned by the resolver that is built on this."""

    def __init__(self, library: Library, model: Procedure) -> None:
        super().__init__(model)
        self.library = library
        self.used: dict[str, Source[Model]] = {}
        self.conditions: dict[str, Data] = {}
        self.lists: dict[str, int] = {}
        self.gates: dict[str, GatePlan] = {}

    @abstractmethod
    def gate(self, where: Where, call: str) -> str:
        """The key of a gate that a call names, planned with all that it asks for."""

    def steps(self, where: Where, steps: Mapping[str, Step], prefix: str = "") -> tuple[StepPlan, ...]:
        """Every step, groups put in, lists written out."""
        made: list[StepPlan] = []
        inside = replace(where, siblings=self._siblings(steps, prefix), outside=where.outside)
        for name, step in steps.items():
            made += self._written(inside.at(name), step, prefix + name)
        return tuple(made)

    def _siblings(self, steps: Mapping[str, Step], prefix: str) -> dict[str, str]:
        """Every word that can be a target here, and the step that it means: a group's name means its first."""
        found: dict[str, str] = {}
        for name, step in steps.items():
            full = f"{prefix}{name}-1" if step.for_each else prefix + name
            group = self.library.groups.get(step.group or "")
            inner = list(group.model.steps) if group else []
            found[name] = f"{full}.{inner[0]}" if inner else full
            found |= {f"{name}.{i}": f"{full}.{i}" for i in inner}
        return found

    def _written(self, where: Where, step: Step, name: str) -> tuple[StepPlan, ...]:
        kinds = [k for k in (*STEP_KINDS, "group") if getattr(step, k) is not None]
        if len(kinds) != 1:
            remedy = f"give it exactly one of {', '.join((*STEP_KINDS, 'group'))}"
            where.fault("not-one-kind", f"step '{name}' has {len(kinds)} kinds", remedy, key=True)
            return ()
        if not self.is_there(where, step):
            return ()
        if step.for_each is None:
            made = self._planned(where, kinds[0], step, name)
            return _passed(made, self.passing(where, step, len(made)))
        fact, most = self.items(where, step)
        copies: list[tuple[StepPlan, ...]] = []
        for number in range(most):
            copy = self._planned(where, kinds[0], step, f"{name}-{number + 1}")
            copies.append(tuple(replace(s, each=(fact, number)) for s in copy))
        length = sum(len(c) for c in copies)
        made = copies[0] if copies else ()
        for number, copy in enumerate(copies[1:], 2):
            variable = f"data {fact} has {number} or more"
            self.conditions[variable] = Data(fact=fact, at_least=number)
            rest = length - len(copies[0]) * (number - 1)
            made += _passed(copy, (Passing(variable=variable, steps=rest),))
        return _passed(made, self.passing(where, step, length))

    def _planned(self, where: Where, kind: str, step: Step, name: str) -> tuple[StepPlan, ...]:
        return self._group(where, step, name) if kind == "group" else (self._step(where, kind, step, name),)

    # -- groups -----------------------------------------------------------------------------------------

    def _group(self, where: Where, step: Step, name: str) -> tuple[StepPlan, ...]:
        group = self.library.groups.get(str(step.group))
        if group is None and f"group {step.group}" in self.library.broken:
            return ()
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
        self._only_group_fields(where, step)
        env, outside = self._given(where, step, group)
        at = replace(where, file=group, path=("steps",), env={**where.env, **env}, outside=outside)
        inner = self.steps(at, group.model.steps, f"{name}.")
        if not inner:
            return inner
        last = inner[-1]
        then = self.target(where.at("then"), step.then) or last.then
        ways = tuple(replace(o, then=o.then or then) if o.leads is Leads.ON else o for o in last.outcomes)
        return (*inner[:-1], replace(last, evidence=step.evidence or last.evidence, then=then, outcomes=ways))

    @staticmethod
    def _only_group_fields(where: Where, step: Step) -> None:
        allowed = {"group", "with_", "when", "for_each", "most", "evidence", "then", "title"}
        for word in sorted(step.model_fields_set - allowed):
            where.at(word).fault(
                "not-for-a-group",
                f"'{word}' has no meaning where a group is put in",
                f"only {', '.join(sorted(w.rstrip('_') for w in allowed))} go with `group:`",
                key=True,
            )

    def _given(self, where: Where, step: Step, group: Source[Group]) -> tuple[dict[str, str], dict[str, str]]:
        """What the use of a group gives for its names: declared things, and targets."""
        env: dict[str, str] = {}
        outside: dict[str, str] = {}
        wanted = {variable: kind for kind, variable in group.model.of.items()}
        for variable, kind in wanted.items():
            at = where.at("with", variable)
            word = step.with_.get(variable)
            if word is None:
                where.at("group").fault(
                    "group-needs",
                    f"the group '{step.group}' needs `{variable}` ({kind})",
                    f"add `with: {{{variable}: …}}`",
                )
            elif kind == "step":
                outside[variable] = self.target(at, word)
            else:
                env[variable] = self.name(at, word, kind)
        for variable in step.with_:
            if variable not in wanted:
                where.at("with", variable).fault(
                    "unknown-field",
                    f"'{variable}' is not a name of the group '{step.group}'",
                    remedy_for(variable, wanted, what="names"),
                    key=True,
                )
        return env, outside

    # -- one step ---------------------------------------------------------------------------------------

    def _step(self, where: Where, kind: str, step: Step, name: str) -> StepPlan:
        place = self.name(where.at("at"), step.at, "place") if step.at else ""
        hands = self.names(where.at("hands"), step.hands, "source")
        probes = self.names(where.at("probes"), step.probes, "source")
        self._exposure(where, step, name, place)
        stands_there(self.model, where, place, {"hands": hands, "probes": probes})
        _read_somewhere(where, step)
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
        self.texts(where, kind, step)
        self._group_words(where, step)
        self._touching(where, step, hands, probes)
        if step.second_within is not None and not self._second_is_named(where, step, needs):
            where.at("second_within").fault(
                "no-second",
                "nobody is named here who reads it a second time",
                "put a `person:` step with `role: second` before it, in the same routine or in a gate that it needs",
                key=True,
            )
        effects = self.effects(where.at("changes"), step.changes)
        self._confirmed(where, kind, effects)
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
            outcomes=self.outcomes(where, kind, step),
            evidence=step.evidence or "",
            then=self.target(where.at("then"), step.then),
            if_interrupted=self.target(where.at("if_interrupted"), step.if_interrupted),
            if_absent=self.target(where.at("if_absent"), step.if_absent),
            operates=self._operates(where, step, effects),
            uses=tuple(where.siblings[n] for n in step.uses if n in where.siblings),
        )

    def _second_is_named(self, where: Where, step: Step, needs: tuple[str, ...]) -> bool:
        """Whether a step before this one in its file, or of a gate that it needs, names the second person."""
        before = steps_before(where, step).values()
        gates = [s.model for key in needs if key in self.gates for s in self.gates[key].steps]
        return any(s.person is not None and s.role == "second" for s in (*before, *gates))

    @staticmethod
    def _group_words(where: Where, step: Step) -> None:
        if step.with_:
            where.at("with").fault("no-group", "`with:` goes with `group:` only", "remove it", key=True)
        if step.most is not None and step.for_each is None:
            where.at("most").fault("no-list", "`most:` goes with `for_each:` only", "remove it", key=True)
        if where.owner and step.if_absent:
            where.at("if_absent").fault(
                "absent-in-routine", "a gate's step cannot be left out", "let the gate fail", key=True
            )

    @staticmethod
    def _confirmed(where: Where, kind: str, effects: tuple[Effect, ...]) -> None:
        for effect in effects:
            if effect.verb == "discharge":
                not_read_empty(where.at("changes"), effect)
        for effect in effects if kind not in {"action", "confirm"} else ():
            if effect.counts is not Counts.BEGUN:
                where.at("changes").fault(
                    "unconfirmed",
                    f"a {kind} does not confirm '{effect}'",
                    "give it an action or confirm of its own, or the option that says so",
                    key=True,
                )

    def _operates(self, where: Where, step: Step, effects: tuple[Effect, ...]) -> str:
        """The device whose handle is moved; what the step changes of devices must be this one."""
        if step.operates is None:
            return ""
        device = self.name(where.at("operates"), step.operates, "device")
        for effect in effects:
            if effect.acts_on == "device" and effect.object != device:
                where.at("operates").fault(
                    "another-handle",
                    f"'{effect}' is not about '{device}'",
                    "give each handle a step of its own",
                )
        return device

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
        every = self.effects(where.at("changes"), texts)
        for effect in every:
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
        raised = self.effects(where.at("changes"), step.changes)
        if step.wait is not None and not (hands or probes or any(e.counts is Counts.BEGUN for e in raised)):
            where.at("wait").fault(
                "wait-unbegun",
                "a step that is not begun cannot be waited for",
                "remove wait:, or give the step what its hands do",
            )


def _read_somewhere(where: Where, step: Step) -> None:
    """A meter's reading touches something, or says that it does not: what is not said to be touched nobody guards.

    Volts are read with probes, what is dead with hands too. At a place, whatever is read there is held to something.
    """
    every = taken_with(step.function, step.functions) - {""}
    taken = every if step.at is not None else every & ON_CONDUCTORS
    if step.touches is not None:
        _read_loose(where, step, taken)
        return
    touched = bool(step.probes) or (bool(step.hands) and not taken & VOLTS)
    if taken and not touched and not step.uses:
        what = "probes" if taken & VOLTS else "hands or probes"
        where.fault(
            "reading-untouched",
            f"{', '.join(sorted(taken))} read, and no {what} on anything",
            f"say `at:` and what is touched in `probes:`{'' if taken & VOLTS else ' or `hands:`'}, or `touches: nothing` "
            "where it is of a known source, lies loose in the hand, or is read from outside"
            if taken & ON_CONDUCTORS
            else "say what is touched there in `hands:` or `probes:`, or remove `at:` where it is read away from the place",
            key=True,
        )


def _read_loose(where: Where, step: Step, taken: set[str]) -> None:
    """`touches: nothing` beside what says otherwise. Volts are nowhere loose but at a known source, each limit a part of its own."""
    limits = [text for band in step.bands if (text := band.below or band.up_to)]
    wrong = [
        "is no reading with a meter" if not taken or step.uses else "",
        "is at a place" if step.at is not None else "",
        "names points of a circuit or of a list" if isinstance(step.between, str) else "",
        "reads volts, and not every limit is of the known source"
        if taken & VOLTS and not (limits and all(_OF_ITS_OWN.fullmatch(text) for text in limits))
        else "",
    ]
    for words in filter(None, wrong):
        where.at("touches").fault(
            "touches-something",
            f"this step {words}: it is not said to touch nothing",
            "remove `touches:` and say `at:` and what is touched in `probes:` or `hands:`",
            key=True,
        )


def _passed(steps: tuple[StepPlan, ...], passing: tuple[Passing, ...]) -> tuple[StepPlan, ...]:
    """The condition stands on the first step."""
    if not steps or not passing:
        return steps
    return (replace(steps[0], passing=(*passing, *steps[0].passing)), *steps[1:])
