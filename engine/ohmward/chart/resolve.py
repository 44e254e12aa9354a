"""From loaded files to a plan: every name resolved, every fault of every file reported with its place."""

import hashlib
import re
from collections.abc import Mapping

from pydantic import BaseModel

from ohmward.chart.plan import (
    CANNOT,
    ELSE,
    NOT_DECIDED,
    ChartPlan,
    GatePlan,
    Leads,
    Outcome,
    StepPlan,
)
from ohmward.errors import FaultyFileError
from ohmward.language.effects import UPSTREAM, Counts, Effect, EffectError, Event, parse_effect, parse_event
from ohmward.language.evaluate import TRUTH, kind_of
from ohmward.language.expression import ExpressionError, parse_expression
from ohmward.language.library import Library, Source
from ohmward.language.models import Gate, Group, Procedure, Require, Step, Way, dimension
from ohmward.language.suggest import remedy_for
from ohmward.language.typed import Path
from ohmward.language.vocabulary import SLOTS, kinds_for

STEP_KINDS = ("action", "confirm", "reading", "choice", "gear", "person")
_ROUTINE_TARGETS = ("held", "repeat", "fail")
_CALL = re.compile(r"([a-z0-9-]+)(?:\((.*)\))?")
File = Source[Procedure] | Source[Gate] | Source[Group]


def make_plan(library: Library, name: str) -> ChartPlan:
    """The plan of one procedure. Raises FaultyFileError with every fault of every file that it uses."""
    resolver = _Resolver(library, library.procedures[name])
    plan = resolver.run()
    found = library.faults()
    if found:
        raise FaultyFileError(found)
    return plan


class _Resolver:
    def __init__(self, library: Library, source: Source[Procedure]) -> None:
        self.library, self.source = library, source
        self.model = source.model
        self.gates: dict[str, GatePlan] = {}
        self.used: dict[str, File] = {source.file: source}

    def run(self) -> ChartPlan:
        self._declarations()
        steps = self._steps(self.source, ("steps",), self.model.steps, {}, "")
        for name, end in self.model.ends.items():
            for index, call in enumerate(end.needs):
                self._gate(call, {}, self.source, ("ends", name, "needs", index))
        for name, temporary in self.model.temporary.items():
            self._removal_gates(name, temporary.at, temporary.on)
        names = {s.name for s in steps} | set(self.model.ends)
        for gate, target in self.model.when_not_held.items():
            if target not in names:
                self.source.fault(("when_not_held", gate), "unknown-target", f"'{target}' is neither a step nor an end", remedy_for(target, names, what="steps and ends"))
        digests = {file: hashlib.sha256("\n".join(s.faults.lines).encode()).hexdigest() for file, s in self.used.items()}
        return ChartPlan(model=self.model, file=self.source.file, steps=steps, gates=self.gates, digests=digests)

    # -- what is declared -------------------------------------------------------------------------------

    def _declarations(self) -> None:
        model, known = self.model, self._known
        for name, source in model.sources.items():
            self._refer(known("device"), source.through, ("sources", name, "through"), "devices")
            self._refer(known("circuit"), source.fed_by, ("sources", name, "fed_by"), "circuits")
            for word in ("charged_by", "driven_by"):
                self._refer(known("circuit"), (getattr(source, word),), ("sources", name, word), "circuits")
            wanted = {"stored": source.charged_by, "moving": source.driven_by}.get(source.kind, "given")
            if wanted is None:
                self.source.fault(("sources", name), "no-feeder", f"nothing is said to feed '{name}'", "add charged_by: or driven_by:")
            if source.kind == "circuit" and self._loops(name, ()):
                self.source.fault(("sources", name), "feeds-itself", f"'{name}' feeds itself", "remove the loop in fed_by:")
                raise FaultyFileError(tuple(self.source.faults.found))
        for name, place in model.places.items():
            self._refer(set(model.sources), place.holds, ("places", name, "holds"), "sources")
            self._refer(set(model.temporary), (place.cover,), ("places", name, "cover"), "temporaries")
        for name, temporary in model.temporary.items():
            self._refer(set(model.places), (temporary.at,), ("temporary", name, "at"), "places")
            self._refer(set(model.sources), temporary.on, ("temporary", name, "on"), "sources")
        for index, require in enumerate(model.scope):
            self._condition(self.source, ("scope", index), require, {})

    def _known(self, what: str) -> set[str]:
        match what:
            case "device":
                return set(self.model.devices) | {UPSTREAM}
            case "temporary":
                return set(self.model.temporary)
            case _:
                return {n for n, s in self.model.sources.items() if s.kind == what}

    def _loops(self, name: str, above: tuple[str, ...]) -> bool:
        source = self.model.sources.get(name)
        return name in above or (source is not None and any(self._loops(f, (*above, name)) for f in source.fed_by))

    def _refer(self, known: set[str], names: tuple[str | None, ...], path: Path, what: str) -> None:
        for index, name in enumerate(names):
            if name is not None and name not in known:
                at = (*path, index) if len(names) > 1 or path[-1] in {"through", "fed_by", "holds", "on"} else path
                self.source.fault(at, "unknown-name", f"'{name}' is not declared", remedy_for(name, known, what=what))

    def _removal_gates(self, name: str, place: str | None, on: tuple[str, ...]) -> None:
        """Taking a temporary down asks for what hands on its sources ask for; those gates must exist."""
        for call in removal_needs(self.model, place, on):
            if _CALL.fullmatch(call) and call.split("(")[0] in self.library.gates:
                self._gate(call, {}, self.source, ("temporary", name))

    # -- steps ------------------------------------------------------------------------------------------

    def _steps(self, file: File, path: Path, steps: Mapping[str, Step], env: Mapping[str, str], owner: str, prefix: str = "") -> tuple[StepPlan, ...]:
        made: list[StepPlan] = []
        siblings = tuple(n for name, step in steps.items() for n in self._names(name, step))
        for name, step in steps.items():
            here = (*path, name)
            kinds = [k for k in (*STEP_KINDS, "group") if getattr(step, k) is not None]
            if len(kinds) != 1:
                file.fault(here, "not-one-kind", f"step '{name}' has {len(kinds)} kinds", f"give it exactly one of {', '.join((*STEP_KINDS, 'group'))}", key=True)
            elif kinds[0] == "group":
                made += self._group(file, here, step, env, owner, prefix + name)
            else:
                made.append(self._step(file, here, kinds[0], step, env, owner, prefix + name, siblings))
        return tuple(made)

    def _names(self, name: str, step: Step) -> tuple[str, ...]:
        """The names by which a step can be a target: its own, and a group's steps."""
        group = self.library.groups.get(step.group or "")
        return (name, *(f"{name}.{inner}" for inner in group.model.steps)) if group else (name,)

    def _group(self, file: File, path: Path, step: Step, env: Mapping[str, str], owner: str, name: str) -> tuple[StepPlan, ...]:
        group = self.library.groups.get(str(step.group))
        if group is None:
            file.fault((*path, "group"), "unknown-group", f"there is no group '{step.group}'", remedy_for(str(step.group), self.library.groups, what="groups"))
            return ()
        self.used[group.file] = group
        inner = self._steps(group, ("steps",), group.model.steps, env, owner, f"{name}.")
        if not inner or step.evidence is None:
            return inner
        last = inner[-1]
        return (*inner[:-1], _with_evidence(last, step.evidence))

    def _step(self, file: File, path: Path, kind: str, step: Step, env: Mapping[str, str], owner: str, name: str, siblings: tuple[str, ...]) -> StepPlan:
        place = self._name(file, (*path, "at"), step.at, env, set(self.model.places), "places") if step.at else ""
        for word in ("hands", "probes") if place else ():
            if getattr(step, word) is None:
                file.fault(path, f"no-{word}", f"step '{name}' is at a place and does not say {word}:", f"write `{word}: none` or the sources", key=True)
        sources = set(self.model.sources)
        hands = tuple(self._name(file, (*path, "hands", i), h, env, sources, "sources") for i, h in enumerate(step.hands or ()))
        probes = tuple(self._name(file, (*path, "probes", i), p, env, sources, "sources") for i, p in enumerate(step.probes or ()))
        near = tuple(self._name(file, (*path, "near", i), n, env, self._known("moving"), "moving parts") for i, n in enumerate(step.near))
        if (hands or probes) and not place:
            file.fault(path, "no-place", f"step '{name}' has hands or probes somewhere and does not say at:", "add `at:` with the place", key=True)
        if owner and step.needs:
            file.fault((*path, "needs"), "needs-in-routine", "a routine's step has no needs of its own", "put them into the gate's asks:", key=True)
        needs = tuple(self._gate(c, env, file, (*path, "needs", i)) for i, c in enumerate(step.needs)) if not owner else ()
        self._texts(file, path, kind, step, env)
        effects = tuple(e for i, c in enumerate(step.changes) for e in self._effect(file, (*path, "changes", i), c, env))
        for effect in effects if kind not in {"action", "confirm"} else ():
            if effect.counts is not Counts.BEGUN:
                file.fault((*path, "changes"), "unconfirmed", f"a {kind} does not confirm '{effect}'", "give it an action or confirm of its own, or the option that says so", key=True)
        return StepPlan(
            name=f"{owner}.{name}" if owner else name,
            kind=kind,
            model=step,
            file=file.file,
            line=file.line(path),
            owner=owner,
            env=dict(env),
            place=place,
            hands=hands,
            probes=probes,
            near=near,
            needs=tuple(n for n in needs if n),
            effects=effects,
            outcomes=self._outcomes(file, path, kind, step, env, owner, siblings),
            evidence=step.evidence or "",
        )

    def _outcomes(self, file: File, path: Path, kind: str, step: Step, env: Mapping[str, str], owner: str, siblings: tuple[str, ...]) -> tuple[Outcome, ...]:
        targets = set(siblings) | (set(_ROUTINE_TARGETS) if owner else set(self.model.ends))
        for word in ("then", "not_decided", "if_interrupted"):
            self._target(file, (*path, word), getattr(step, word), targets)
        unsure = Outcome(name=NOT_DECIDED, leads=Leads.AGAIN, then=step.not_decided or ("fail" if owner else ""))
        good = {"action": "done", "confirm": "confirmed", "gear": "suits", "person": "named"}
        if kind in {"action", "confirm"}:
            return (
                Outcome(name=good[kind], leads=Leads.ON, then=step.then or "", finding=step.finding or ""),
                Outcome(name=CANNOT, leads=Leads.HELD),
            )
        if kind in {"gear", "person"}:
            return (Outcome(name=good[kind], leads=Leads.ON, then=step.then or ""), unsure)
        named: tuple[Way, ...] = step.bands if kind == "reading" else step.options
        word = "bands" if kind == "reading" else "options"
        if not named:
            file.fault(path, f"no-{word}", f"this {kind} has no {word}", f"add {word}:", key=True)
        made: list[Outcome] = []
        for index, item in enumerate(named):
            at = (*path, word, index)
            self._target(file, (*at, "then"), item.then, targets)
            if item.name in {o.name for o in made} | {NOT_DECIDED, CANNOT, ELSE}:
                file.fault((*at, "name"), "duplicate-name", f"'{item.name}' is taken", "give each outcome its own name")
            effects = tuple(e for i, c in enumerate(item.changes) for e in self._effect(file, (*at, "changes", i), c, env))
            for effect in effects:
                if effect.counts is Counts.BEGUN:
                    file.fault((*at, "changes"), "raises-too-late", f"'{effect}' moves the hand before the answer", "put it into the step's own changes:")
            made.append(Outcome(name=item.name, leads=Leads.ON, then=item.then or step.then or "", effects=effects, finding=item.finding or step.finding or ""))
        made.append(unsure if kind == "reading" else Outcome(name=ELSE, leads=Leads.HELD))
        return tuple(made)

    def _target(self, file: File, path: Path, target: str | None, known: set[str]) -> None:
        if target is not None and target not in known:
            file.fault(path, "unknown-target", f"'{target}' is not a place to go from here", remedy_for(target, known, what="targets"))

    def _texts(self, file: File, path: Path, kind: str, step: Step, env: Mapping[str, str]) -> None:
        for index, require in enumerate(step.suits):
            self._condition(file, (*path, "suits", index), require, env)
        if kind in {"gear", "reading"} and step.slot is None:
            file.fault(path, "no-slot", f"this {kind} does not say which gear", "add `slot:`", key=True)
        slot = env.get(step.slot or "", step.slot or "")
        if slot and slot not in SLOTS:
            file.fault((*path, "slot"), "unknown-slot", f"'{slot}' is not a gear slot", remedy_for(slot, SLOTS, what="slots"))
        if kind != "reading":
            return
        for word in ("unit", "function", "between"):
            if getattr(step, word) is None:
                file.fault(path, f"no-{word}", f"this reading does not say its {word}", f"add `{word}:`", key=True)
        self._bands(file, path, step, env)

    def _bands(self, file: File, path: Path, step: Step, env: Mapping[str, str]) -> None:
        last = len(step.bands) - 1
        for index, band in enumerate(step.bands):
            at = (*path, "bands", index)
            limits = [w for w in ("below", "up_to", "over_range") if getattr(band, w) is not None]
            if len(limits) != (0 if index == last else 1) and not (index == last and limits == ["over_range"]):
                file.fault(at, "band-limits", f"band '{band.name}' needs {'no limit or over_range' if index == last else 'exactly one limit'}", "bands ascend; only the last is open above")
            for word in limits:
                if word != "over_range":
                    self._expression(file, (*at, word), str(getattr(band, word)), dimension(step.unit), env)
                elif index != last:
                    file.fault((*at, word), "band-limits", "over range must be the last band", "move it down")
        if step.function in {"ohms", "insulation"} and (last < 0 or step.bands[last].over_range is None):
            file.fault((*path, "bands"), "no-over-range", "ohms do not say where OL belongs", "add `over_range: here` to the last band")

    def _condition(self, file: Source[BaseModel], path: Path, require: Require, env: Mapping[str, str]) -> None:
        self._expression(file, (*path, "require"), require.require, TRUTH, env)

    def _expression(self, file: Source[BaseModel], path: Path, text: str, wanted: str, env: Mapping[str, str]) -> None:
        try:
            kind = kind_of(parse_expression(text), kinds_for(self.model, env))
        except ExpressionError as error:
            file.fault(path, "limit", error.problem, error.remedy, within=(error.column, error.width))
            return
        if kind != wanted:
            file.fault(path, "limit", f"'{text}' is of the kind {kind}; here {wanted} is needed", f"give {wanted}", within=(0, len(text)))

    # -- names, effects, gates --------------------------------------------------------------------------

    def _name(self, file: File, path: Path, word: str, env: Mapping[str, str], known: set[str], what: str) -> str:
        name = self._means(word, env)
        if name not in known:
            file.fault(path, "unknown-name", f"'{word}' is not declared" if name == word else f"'{word}' is '{name}', which does not fit here", remedy_for(name, known | set(env), what=what))
        return name

    def _means(self, word: str, env: Mapping[str, str]) -> str:
        base, _, more = word.partition(".")
        name = env.get(base, base)
        source = self.model.sources.get(name)
        if not more or source is None:
            return name if not more else word
        match more:
            case "means":
                return source.through[-1] if source.through else word
            case "charged-by":
                return source.charged_by or word
            case "driven-by":
                return source.driven_by or word
            case _:
                return word

    def _effect(self, file: File, path: Path, text: str, env: Mapping[str, str]) -> tuple[Effect, ...]:
        try:
            effect = parse_effect(text)
        except EffectError as error:
            file.fault(path, "unknown-effect", error.problem, error.remedy)
            return ()
        known = self._known(effect.acts_on)
        name = self._name(file, path, effect.object, env, known, f"{effect.acts_on}s")
        if name == UPSTREAM and effect.verb != "trip":
            file.fault(path, "upstream", f"nothing but `trip upstream` can be said of {UPSTREAM}", "name a declared device")
        return (Effect(effect.verb, name),) if name in known else ()

    def _gate(self, call: str, env: Mapping[str, str], file: File, path: Path) -> str:
        """The key of a gate, planned with all that it asks for; '' when there is a fault."""
        match = _CALL.fullmatch(call)
        name = match.group(1) if match else call
        source = self.library.gates.get(name)
        if match is None or source is None:
            file.fault(path, "unknown-gate", f"there is no gate '{name}'", remedy_for(name, self.library.gates, what="gates"))
            return ""
        words = [w.strip() for w in (match.group(2) or "").split(",") if w.strip()]
        if len(words) != len(source.model.of):
            wanted = ", ".join(source.model.of)
            file.fault(path, "gate-key", f"'{name}' has the key ({wanted}); here it has {len(words)} parts", f"write {name}({wanted}) on a line of its own")
            return ""
        args: dict[str, str] = {}
        for (kind, variable), word in zip(source.model.of.items(), words, strict=True):
            known = set(SLOTS) if kind == "slot" else set(self.model.places) if kind == "place" else self._known(kind)
            args[variable] = self._name(file, path, word, env, known, f"{kind}s")
            if args[variable] not in known:
                return ""
        key = f"{name}({', '.join(args.values())})" if args else name
        if key not in self.gates:
            self._plan_gate(key, source, args)
        return key

    def _plan_gate(self, key: str, source: Source[Gate], env: Mapping[str, str]) -> None:
        self.used[source.file] = source
        model = source.model
        waiting = GatePlan(key=key, model=model, file=source.file, env=env, asks=(), rests_on=(), lost_by=(), steps=(), keeps={})
        self.gates[key] = waiting
        asks = tuple(self._gate(c, env, source, ("asks", i)) for i, c in enumerate(model.asks))
        rests = tuple(self._gate(c, env, source, ("rests_on", i)) for i, c in enumerate(model.rests_on))
        if key in asks or key in rests:
            source.fault(("gate",), "asks-itself", f"gate '{model.gate}' asks for itself", "remove it from asks: or rests_on:")
        steps = self._steps(source, ("steps",), model.steps, env, key)
        keeps = {}
        for name, texts in model.keeps.items():
            keeps[name] = tuple(e for i, t in enumerate(texts) for e in self._event(source, ("keeps", name, i), t, env))
            if name not in model.steps:
                source.fault(("keeps", name), "unknown-step", f"'{name}' is not a step of this routine", remedy_for(name, model.steps, what="steps"), key=True)
        del self.gates[key]
        self.gates[key] = GatePlan(
            key=key,
            model=model,
            file=source.file,
            env=env,
            asks=tuple(a for a in asks if a),
            rests_on=tuple(r for r in rests if r),
            lost_by=tuple(e for i, t in enumerate(model.lost_by) for e in self._event(source, ("lost_by", i), t, env)),
            steps=tuple(_kept(s, key, keeps) for s in steps),
            keeps=keeps,
        )

    def _event(self, file: Source[Gate], path: Path, text: str, env: Mapping[str, str]) -> tuple[Event, ...]:
        try:
            event = parse_event(text)
        except EffectError as error:
            file.fault(path, "unknown-event", error.problem, error.remedy)
            return ()
        if event.verb is None and event.object:
            slot = env.get(event.object, event.object)
            self._name(file, path, slot, {}, set(SLOTS), "slots")
            return (Event(event.word.replace(event.object, slot, 1), None, slot),)
        return (event,)


def _with_evidence(step: StepPlan, evidence: str) -> StepPlan:
    values = {name: getattr(step, name) for name in StepPlan.__slots__}
    return StepPlan(**{**values, "evidence": evidence})


def _kept(step: StepPlan, key: str, keeps: Mapping[str, object]) -> StepPlan:
    values = {name: getattr(step, name) for name in StepPlan.__slots__}
    return StepPlan(**{**values, "kept": step.name.removeprefix(f"{key}.") in keeps})


def removal_needs(model: Procedure, place: str | None, on: tuple[str, ...]) -> tuple[str, ...]:
    """What hands need to take a temporary down: its circuits read dead there, stores discharged, qualified."""
    needs: list[str] = []
    for name in on:
        source = model.sources.get(name)
        if source is None or source.limited is not None:
            continue
        if source.kind == "circuit" and place:
            needs += [f"qualified({name})", f"verified-dead({name}, {place})"]
        elif source.kind == "stored":
            needs.append(f"discharged({name}, {place})")
    return tuple(dict.fromkeys(needs))
