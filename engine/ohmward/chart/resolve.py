"""From loaded files to a plan: every name resolved, every fault of every file reported with its place."""

import hashlib
import re
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import replace

from ohmward.chart.names import any_variable
from ohmward.chart.plan import OTHERS, ChartPlan, Data, GatePlan
from ohmward.chart.resolve_names import Where, removal_needs
from ohmward.chart.resolve_steps import Steps
from ohmward.errors import FaultyFileError
from ohmward.language.effects import Event
from ohmward.language.library import Library, Source
from ohmward.language.lists import RESERVED
from ohmward.language.models import Gate, Group, Procedure, Temporary
from ohmward.language.models import Source as Energy
from ohmward.language.suggest import remedy_for

_CALL = re.compile(r"([a-z0-9-]+)(?:\((.*)\))?")


def make_plan(library: Library, name: str) -> ChartPlan:
    """The plan of one procedure. Raises FaultyFileError with every fault of every file that it uses."""
    plan = _Resolver(library, library.procedures[name]).run()
    found = library.faults()
    if found:
        raise FaultyFileError(found)
    return plan


def check_plan(library: Library, source: Source[Procedure]) -> frozenset[str]:
    """Adds every fault that planning finds to the files; returns `gate ID` and `group ID` of what was used."""
    resolver = _Resolver(library, source)
    with suppress(FaultyFileError):
        resolver.run()
    gates = {f"gate {g.model.gate}" for g in resolver.gates.values()}
    return frozenset(
        gates | {f"group {s.model.group}" for s in resolver.used.values() if isinstance(s.model, Group)}
    )


class _Resolver(Steps):
    def __init__(self, library: Library, source: Source[Procedure]) -> None:
        super().__init__(library, source.model)
        self.source = source
        self.top = Where(file=source)
        self.used[source.short] = source

    def run(self) -> ChartPlan:
        model = self.model
        self._declarations()
        steps = self.steps(self.top.at("steps"), model.steps)
        landings = {**self._siblings(model.steps, ""), **{e: e for e in model.ends}}
        for name, end in model.ends.items():
            for index, call in enumerate(end.needs):
                self.gate(self.top.at("ends", name, "needs", index), call)
        for name, temporary in model.temporary.items():
            for call in removal_needs(model, temporary.at, temporary.on):
                if call.split("(")[0] in self.library.gates:
                    self.gate(self.top.at("temporary", name), call)
        self._ways_on(landings)
        digests = {
            file: hashlib.sha256("\n".join(s.faults.lines).encode()).hexdigest()
            for file, s in self.used.items()
        }
        return ChartPlan(
            model=model,
            file=self.source.short,
            steps=steps,
            gates=self.gates,
            digests=digests,
            landings=landings,
            conditions=dict(sorted(self.conditions.items())),
            lists=dict(self.lists),
        )

    def _ways_on(self, landings: Mapping[str, str]) -> None:
        """`when_not_held:` names gates that there are, and steps or ends to go to."""
        for gate, target in self.model.when_not_held.items():
            if gate != OTHERS and gate not in self.library.gates:
                self.top.at("when_not_held", gate).fault(
                    "unknown-gate",
                    f"there is no gate '{gate}'",
                    remedy_for(gate, (*self.library.gates, OTHERS), what="gates"),
                    key=True,
                )
            if target not in landings:
                self.top.at("when_not_held", gate).fault(
                    "unknown-target",
                    f"'{target}' is neither a step nor an end",
                    remedy_for(target, landings, what="steps and ends"),
                )

    # -- what is declared -------------------------------------------------------------------------------

    def _declarations(self) -> None:
        model, top = self.model, self.top
        for name, source in model.sources.items():
            self._source(top.at("sources", name), name, source)
            self._counted(top.at("sources", name), name, source)
        for name, place in model.places.items():
            self.names(top.at("places", name, "holds"), place.holds, "source")
            self._cover(top.at("places", name, "cover"), name, place.cover)
        for name, temporary in model.temporary.items():
            self._temporary(top.at("temporary", name), name, temporary)
        for name, end in model.ends.items():
            for circuit in end.leaves:
                self.name(top.at("ends", name, "leaves", circuit), circuit, "circuit")
        if self.source.faults.found:
            raise FaultyFileError(self.library.faults())
        for index, require in enumerate(model.scope):
            self.demanded(top.at("scope", index), require)

    def _temporary(self, where: Where, name: str, temporary: Temporary) -> None:
        self._one(where.at("at"), temporary.at, "place")
        self.names(where.at("on"), temporary.on, "source")
        if temporary.kind != "guard" and not (temporary.at and temporary.on):
            remedy = "add `at:` with its place and `on:` with the sources that it touches"
            where.fault(
                "touches-nothing",
                f"'{name}' does not say where it stands and what it touches",
                remedy,
                key=True,
            )

    def _source(self, where: Where, name: str, source: Energy) -> None:
        if name in RESERVED:
            remedy = "give it another id: limits read this one as something else"
            where.fault("reserved-name", f"'{name}' is a word of the language", remedy, key=True)
        self.names(where.at("through"), source.through, "device")
        self.names(where.at("fed_by"), source.fed_by, "circuit")
        self._one(where.at("charged_by"), source.charged_by, "circuit")
        self._one(where.at("driven_by"), source.driven_by, "circuit")
        fed = {"stored": source.charged_by, "moving": source.driven_by}.get(source.kind, "given")
        if fed is None:
            where.fault(
                "no-feeder", f"nothing is said to feed '{name}'", "add charged_by: or driven_by:", key=True
            )
        if source.kind == "circuit" and self._loops(name, ()):
            where.fault("feeds-itself", f"'{name}' feeds itself", "remove the loop in fed_by:", key=True)
            raise FaultyFileError(tuple(self.source.faults.found))

    def _counted(self, where: Where, name: str, source: Energy) -> None:
        """A counted circuit goes through counted devices of its own, and those through nothing else."""
        own = [d for d in source.through if d in self.model.devices]
        shared = {d for n, s in self.model.sources.items() if n != name for d in s.through}
        counts = {self.model.devices[d].count is not None for d in own}
        fits = counts == {True} and not set(own) & shared and source.kind == "circuit" and not source.fed_by
        if source.count is not None and fits:
            self.conditions[any_variable(name)] = Data(supplies=name)
        elif source.count is not None or True in counts:
            where.fault(
                "half-counted",
                f"'{name}' and its devices are not counted alike",
                "give `count: from job` to a circuit without fed_by: and to devices that only it goes through",
                key=True,
            )

    def _cover(self, where: Where, place: str, cover: str | None) -> None:
        """A cover is a guard that stands at its place: a place with its cover on counts as low."""
        self._one(where, cover, "temporary")
        known = self.model.temporary.get(cover or "")
        if known is not None and (known.kind != "guard" or known.at != place):
            where.fault(
                "no-cover",
                f"'{cover}' is not a guard at '{place}'",
                f"name a temporary with `kind: guard` and `at: {place}`",
            )

    def _one(self, where: Where, word: str | None, what: str) -> None:
        if word is not None:
            self.name(where, word, what)

    def _loops(self, name: str, above: tuple[str, ...]) -> bool:
        source = self.model.sources.get(name)
        return name in above or (
            source is not None and any(self._loops(f, (*above, name)) for f in source.fed_by)
        )

    # -- gates ------------------------------------------------------------------------------------------

    def gate(self, where: Where, call: str) -> str:
        """The key of a gate, planned with all that it asks for; '' when there is a fault."""
        match = _CALL.fullmatch(call)
        name = match.group(1) if match else call
        source = self.library.gates.get(name)
        if source is None and f"gate {name}" in self.library.broken:
            return ""
        if match is None or source is None:
            where.fault(
                "unknown-gate",
                f"there is no gate '{name}'",
                remedy_for(name, self.library.gates, what="gates"),
            )
            return ""
        words = [w.strip() for w in (match.group(2) or "").split(",") if w.strip()]
        if len(words) != len(source.model.of):
            wanted = ", ".join(source.model.of)
            where.fault(
                "gate-key",
                f"'{name}' has the key ({wanted}); here it has {len(words)} parts",
                f"write {name}({wanted}) on a line of its own",
            )
            return ""
        args: dict[str, str] = {}
        for (kind, variable), word in zip(source.model.of.items(), words, strict=True):
            args[variable] = self.name(where, word, kind)
            if args[variable] not in self.known(kind):
                return ""
        key = f"{name}({', '.join(args.values())})" if args else name
        if key not in self.gates:
            self._plan_gate(key, source, args)
        return key

    def _plan_gate(self, key: str, source: Source[Gate], env: Mapping[str, str]) -> None:
        """Plans a gate after those that it asks for; the empty plan stands in while they are planned."""
        self.used[source.short] = source
        model = source.model
        where = Where(file=source, env=env, owner=key)
        empty = GatePlan(
            key=key,
            model=model,
            file=source.file,
            env=env,
            asks=(),
            rests_on=(),
            lost_by=(),
            steps=(),
            keeps={},
        )
        self.gates[key] = empty
        asks = tuple(self.gate(where.at("asks", i), c) for i, c in enumerate(model.asks))
        rests = tuple(self.gate(where.at("rests_on", i), c) for i, c in enumerate(model.rests_on))
        keeps = self._keeps(where, model)
        steps = self.steps(where.at("steps"), model.steps)
        del self.gates[key]
        self.gates[key] = replace(
            empty,
            asks=tuple(a for a in asks if a),
            rests_on=tuple(r for r in rests if r),
            lost_by=self.events(where.at("lost_by"), model.lost_by),
            steps=tuple(replace(s, kept=s.name.removeprefix(f"{key}.") in keeps) for s in steps),
            keeps=keeps,
        )

    def _keeps(self, where: Where, model: Gate) -> dict[str, tuple[Event, ...]]:
        for name in model.keeps:
            if name not in model.steps:
                where.at("keeps", name).fault(
                    "unknown-step",
                    f"'{name}' is not a step of this routine",
                    remedy_for(name, model.steps, what="steps"),
                    key=True,
                )
        return {name: self.events(where.at("keeps", name), texts) for name, texts in model.keeps.items()}
