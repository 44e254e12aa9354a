"""A slow, obvious interpreter of the YAML models. It shares no code with compiler, chart or explorer.

State is a mapping of plain texts; `press` gives the state after a trigger, or None when the trigger means
nothing there. Gates are brought in by walking the needs again at every approach.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, fields, replace
from functools import cached_property
from typing import Any

VERBS = ("hold off", "take down", "found live", "found charged", "close", "release", "fit", "uncover", "turn", "open", "discharge", "still", "cover", "answer", "trip")
RAISE = {"close", "release", "fit", "uncover", "turn"}
STANDS = ("is held off", "is discharged", "is in place", "is not there", "has tripped")
PAST = {"closed": "close", "released": "release", "fitted": "fit", "uncovered": "uncover", "held off": "hold off", "found live": "found live", "found charged": "found charged", "opened": "open"}


@dataclass
class World:
    """Where a run stands and what is believed."""

    at: str = ""  # ask, doing, late, hold, reconcile, safe, safe-doing, end
    step: str = ""
    thing: tuple[str, str] = ("", "")
    bound: str = "(nothing)"
    device: dict[str, str] = field(default_factory=dict)
    debt: dict[str, str] = field(default_factory=dict)
    made: dict[str, bool] = field(default_factory=dict)
    order: dict[str, str] = field(default_factory=dict)
    temp: dict[str, bool] = field(default_factory=dict)
    found: dict[str, bool] = field(default_factory=dict)
    charged: dict[str, bool] = field(default_factory=dict)
    turning: dict[str, bool] = field(default_factory=dict)
    held: set[str] = field(default_factory=set)
    kept: set[str] = field(default_factory=set)
    tries: int = 0
    rounds: int = 0
    data: dict[str, bool] = field(default_factory=dict)
    count: dict[str, int] = field(default_factory=dict)

    def copy(self) -> World:
        """The same, and nothing of it shared that could be changed."""
        own = {n: v.copy() for n in PARTS if isinstance(v := getattr(self, n), dict | set)}
        return replace(self, **own)


PARTS = tuple(f.name for f in fields(World))


@dataclass
class Deed:
    """One step, flattened."""

    name: str
    model: Any
    kind: str
    owner: str
    env: dict[str, str]
    names: dict[str, str] = field(default_factory=dict)  # what a written target means
    passing: list[tuple[str, int]] = field(default_factory=list)  # worked only when; else so many steps on
    then: str = ""
    evidence: str = ""


class Oracle:
    """Interprets one procedure of a library."""

    def __init__(self, library: Any, name: str) -> None:
        self.lib = library
        self.p = library.procedures[name].model
        self.gates: dict[str, tuple[Any, dict[str, str]]] = {}
        self.deeds: dict[str, Deed] = {}
        self.order: list[str] = []
        self.routine: dict[str, list[str]] = {}
        self.counting: dict[str, set[str]] = {}
        self.data: list[str] = [f"data {n} is there" for n, s in self.p.sources.items() if s.count]
        self.top: dict[str, str] = {}
        for deed in self._flat(self.p.steps, "", {}, {}, ""):
            self.deeds[deed.name] = deed
            self.order.append(deed.name)
        self.top = self._names(self.p.steps, "")
        for step in self.order:
            for call in self.deeds[step].model.needs:
                self._learn(call, self.deeds[step].env)
        for end in self.p.ends.values():
            for call in end.needs:
                self._learn(call, {})
        self.removal = {}
        for t, temp in self.p.temporary.items():
            calls = []
            beside = self.p.places[temp.at].holds if temp.on and temp.at else ()  # hands reach all that stands there
            for s in dict.fromkeys((*temp.on, *beside)):
                src = self.p.sources[s]
                if src.limited or not temp.at:
                    continue
                if src.kind == "circuit":
                    calls += [f"qualified({s})", f"verified-dead({s}, {temp.at})"]
                elif src.kind == "stored":
                    calls += [f"discharged({s}, {temp.at})"]
            self.removal[t] = calls
            for call in calls:
                if call.split("(")[0] in self.lib.gates:
                    self._learn(call, {})
        self.assumed: dict[str, set[tuple[Any, ...]]] | None = None
        self.assumed = self._assume()

    # -- reading ---------------------------------------------------------------------------------------

    def _names(self, steps: Any, prefix: str) -> dict[str, str]:
        """Every word that can be a target among these steps."""
        made = {}
        for name, model in steps.items():
            first = f"{prefix}{name}-1" if model.for_each else prefix + name
            if model.group is None:
                made[name] = first
                continue
            inner = list(self.lib.groups[model.group].model.steps)
            made[name] = f"{first}.{inner[0]}"
            made |= {f"{name}.{i}": f"{first}.{i}" for i in inner}
        return made

    def _flat(self, steps: Any, prefix: str, env: dict[str, str], outside: dict[str, str], owner: str) -> list[Deed]:
        """Every step, groups put in, lists written out."""
        made: list[Deed] = []
        names = {**outside, **self._names(steps, prefix)}
        for name, model in steps.items():
            if model.when and model.when.endswith(" can return") and self.p.sources[self._word(model.when.split(" ")[0], env)].can_return is None:
                continue
            copies = [name] if not model.for_each else [f"{name}-{k + 1}" for k in range(model.most or 4)]
            parts = [self._part(model, prefix + copy, env, names, owner) for copy in copies]
            size = sum(len(p) for p in parts)
            for k, part in enumerate(parts):
                if k:
                    variable = f"data {model.for_each.removeprefix('fact.')} has {k + 1} or more"
                    self.data.append(variable)
                    part[0].passing.insert(0, (variable, size - len(part) * k))
                made += part
            if model.when and not model.when.endswith(" can return"):
                said = f"data {model.when}" if model.when.endswith(" is there") else model.when if any(model.when.endswith(x) for x in STANDS) else f"data {model.when}"
                if said.startswith("data ") and said not in self.data:
                    self.data.append(said)
                parts[0][0].passing.insert(0, (said, size))
        return made

    def _part(self, model: Any, name: str, env: dict[str, str], names: dict[str, str], owner: str) -> list[Deed]:
        if model.group is None:
            kind = next(k for k in ("action", "confirm", "reading", "choice", "fact", "gear", "person", "sign", "photo") if getattr(model, k) is not None)
            return [Deed(name, model, kind, owner, env, names, then=names.get(model.then or "", model.then or ""), evidence=model.evidence or "")]
        group = self.lib.groups[model.group].model
        inner, outside = dict(env), {}
        for kind, variable in group.of.items():
            word = model.with_[variable]
            if kind == "step":
                outside[variable] = names.get(word, word)
            else:
                inner[variable] = self._word(word, env)
        made = self._flat(group.steps, f"{name}.", inner, outside, owner)
        made[-1].evidence = model.evidence or made[-1].evidence
        made[-1].then = names.get(model.then or "", model.then or "") or made[-1].then
        return made

    def _learn(self, call: str, env: dict[str, str]) -> str:
        head, _, inner = call.partition("(")
        words = [w.strip() for w in inner.rstrip(")").split(",") if w.strip()]
        model = self.lib.gates[head].model
        values = [self._word(w, env) for w in words]
        key = f"{head}({', '.join(values)})" if values else head
        if key in self.gates:
            return key
        mine = dict(zip(model.of.values(), values, strict=True))
        self.gates[key] = (model, mine)
        for more in (*model.asks, *model.rests_on):
            self._learn(more, mine)
        self.routine[key] = []
        for deed in self._flat(model.steps, f"{key}.", mine, {}, key):
            self.deeds[deed.name] = deed
            self.routine[key].append(deed.name)
        return key

    def _word(self, word: str, env: dict[str, str]) -> str:
        base, _, more = word.partition(".")
        name = env.get(base, base)
        if more == "means":
            return [d for d in self.p.sources[name].through if self.locks(d)][-1]
        if more == "charged-by":
            return self.p.sources[name].charged_by
        return name

    def _calls(self, calls: Any, env: dict[str, str]) -> list[str]:
        return [self._learn(c, env) for c in calls]

    def _effects(self, texts: Any, env: dict[str, str]) -> list[tuple[str, str]]:
        made = []
        for text in texts:
            verb = next(v for v in VERBS if text.startswith(v + " "))
            made.append((verb, self._word(text[len(verb) + 1 :], env)))
        return made

    def effects(self, deed: Deed) -> list[tuple[str, str]]:
        return self._effects(deed.model.changes, deed.env)

    def ways(self, deed: Deed) -> list[tuple[str, str, list[tuple[str, str]], str]]:
        """(name, what it leads to: on/again/held, effects, then)."""
        m = deed.model
        then, unsure = deed.names.get(m.then or "", m.then or ""), deed.names.get(m.not_decided or "", m.not_decided or "")
        unsure = unsure or ("fail" if deed.owner else "")
        good = {"action": "done", "confirm": "confirmed", "photo": "taken", "gear": "suits", "person": "named", "fact": "known", "sign": "signed"}
        if deed.kind in {"action", "confirm", "photo"}:
            return [(good[deed.kind], "on", [], then), ("cannot", "held", [], "")]
        if deed.kind in good:
            return [(good[deed.kind], "on", [], then), ("not decided", "again", [], unsure)]
        listed = m.bands if deed.kind == "reading" else m.options
        made = [(w.name, "on", self._effects(w.changes, deed.env), deed.names.get(w.then or "", w.then or "") or then) for w in listed]
        self.counting[deed.name] = {w.name for w in listed if w.counts or (w.then is None and not w.changes)}
        return [*made, ("not decided", "again", [], unsure) if deed.kind == "reading" else ("something else", "held", [], "")]

    def touches(self, deed: Deed) -> list[tuple[str, str]]:
        made = list(self.effects(deed))
        for _, _, effects, _ in self.ways(deed):
            made += effects
        return list(dict.fromkeys(made))

    def heavy(self, deed: Deed) -> bool:
        m = deed.model
        return bool(m.hands or m.probes or m.near or any(v in RAISE for v, _ in self.effects(deed)))

    # -- meaning ---------------------------------------------------------------------------------------

    def path(self, circuit: str) -> list[str]:
        src = self.p.sources[circuit]
        made = list(src.through)
        for f in src.fed_by:
            made += [d for d in self.path(f) if d not in made]
        return made

    def locks(self, device: str) -> bool:
        return self.p.devices[device].kind not in {"fuse", "protector"}

    def absent(self, w: World, name: str) -> bool:
        """A counted circuit, or its device, of which there is none."""
        for n, s in self.p.sources.items():
            if s.count and (n == name or name in s.through):
                return not w.data[f"data {n} is there"]
        return False

    def held_off(self, w: World, circuit: str) -> bool:
        src = self.p.sources[circuit]
        if self.absent(w, circuit):
            return True
        if w.found[circuit]:
            return False
        if any(w.device[d] == "held off" and self.locks(d) for d in src.through):
            return True
        return bool(src.fed_by) and all(self.held_off(w, f) for f in src.fed_by)

    def low(self, w: World, place: str, reached: str = "") -> bool:
        known = self.p.places[place]
        if place != reached and known.cover is not None and not w.temp[known.cover]:
            return True
        for s in known.holds:
            src = self.p.sources[s]
            if src.kind == "circuit" and not src.limited and not self.absent(w, s) and not (self.held_off(w, s) and f"verified-dead({s}, {place})" in w.held):
                return False
            if src.kind == "stored" and w.charged[s]:
                return False
        return True

    def reach(self, deed: Deed | None, key: str = "") -> str:
        """Where hands or probes go: of a step, or of any step of a gate's routine."""
        key = deed.owner if deed is not None and deed.owner else key
        deeds = [self.deeds[s] for s in self.routine[key]] if key else [deed]
        return next((self._word(d.model.at, d.env) for d in deeds if d is not None and (d.model.hands or d.model.probes)), "")

    def need(self, w: World, key: str, reached: str = "") -> bool:
        _, env = self.gates[key]
        if key in w.held or any(self.absent(w, name) for name in env.values()):
            return True
        return key.startswith("shock-protection(") and self.low(w, env["here"], reached)

    def hits(self, effect: tuple[str, str], text: str, env: dict[str, str]) -> bool:
        past = next((k for k in PAST if text.startswith(k + " ")), None)
        if past is None or PAST[past] != effect[0]:
            return False
        word = text[len(past) + 1 :]
        if word == "any":
            return True
        target = self._word(word, env)
        if target == effect[1]:
            return True
        if effect[0] in {"close", "release", "open", "hold off", "trip"} and target in self.p.sources:
            src = self.p.sources[target]
            circuit = target if src.kind == "circuit" else (src.charged_by or src.driven_by)
            return effect[1] in self.path(circuit)
        if effect[0] == "found live" and target in self.p.sources:
            return target in self._below(effect[1])
        return False

    def _below(self, circuit: str) -> set[str]:
        made = {circuit}
        while True:
            more = {n for n, s in self.p.sources.items() if set(s.fed_by) & made or s.charged_by in made or s.driven_by in made}
            if more <= made:
                return made
            made |= more

    def losses(self, effects: list[tuple[str, str]]) -> set[str]:
        return {k for k, (m, env) in self.gates.items() if any(self.hits(e, t, env) for e in effects for t in m.lost_by)}

    def kept_losses(self, effects: list[tuple[str, str]]) -> set[str]:
        return {f"{k}.{s}" for k, (m, env) in self.gates.items() for s, texts in m.keeps.items() if any(self.hits(e, t, env) for e in effects for t in texts)}

    def own(self, deed: Deed) -> set[str]:
        raised = [e for e in self.effects(deed) if e[0] in RAISE]
        lost = self.losses(raised)
        for verb, name in raised:
            if verb in {"close", "release"}:
                lost |= {k for k in self.gates if self._holds(k) and name in self.path(self._holds(k))}
        while True:
            more = {k for k, (m, env) in self.gates.items() if set(self._calls(m.rests_on, env)) & lost}
            if more <= lost:
                return lost
            lost |= more

    def _holds(self, key: str) -> str:
        if any(e[0] == "hold off" for s in self.routine.get(key, ()) for e in self.touches(self.deeds[s])):
            return self.gates[key][1].get("it", "")
        return ""

    def _discharges(self, key: str) -> str:
        return next((o for s in self.routine.get(key, ()) for v, o in self.touches(self.deeds[s]) if v == "discharge"), "")

    def closable(self, device: str) -> bool:
        return any(("close", device) in self.effects(d) for d in self.deeds.values())

    def follow(self, w: World) -> None:
        """What follows by itself."""
        for n, s in self.p.sources.items():
            if s.kind == "stored" and not self.held_off(w, s.charged_by):
                w.charged[n] = True
            if s.kind == "moving" and not self.held_off(w, s.driven_by):
                w.turning[n] = True
        while True:
            fallen = set()
            for k in w.held:
                m, env = self.gates[k]
                if any(r not in w.held for r in self._calls(m.rests_on, env)):
                    fallen.add(k)
                if self._holds(k) and not self.held_off(w, self._holds(k)):
                    fallen.add(k)
                if self._discharges(k) and w.charged[self._discharges(k)]:
                    fallen.add(k)
            if not fallen:
                return
            w.held -= fallen

    def apply(self, w: World, effects: list[tuple[str, str]]) -> None:
        for verb, name in effects:
            match verb:
                case "close":
                    w.device[name] = "closed"
                    for d in [*self._series(name), "upstream"]:
                        if w.debt[d] == "answered":
                            w.debt[d] = "none"
                case "release" if w.device[name] == "held off":
                    w.device[name] = "opened"
                case "open" if w.device[name] != "held off":
                    w.device[name] = "opened"
                case "hold off":
                    w.device[name] = "held off"
                    if self.closable(name):
                        w.order[name] = "kept"
                case "trip":
                    w.debt[name] = "unanswered"
                    if name != "upstream":
                        w.device[name] = "unknown"
                case "answer" if w.debt[name] == "unanswered":
                    w.debt[name] = "answered"
                case "fit" | "uncover":
                    w.temp[name] = True
                case "take down" | "cover":
                    w.temp[name] = False
                case "found live":
                    w.found[name] = True
                case "discharge" | "found charged":
                    w.charged[name] = verb == "found charged"
                case "turn" | "still":
                    w.turning[name] = verb == "turn"
        w.held -= self.losses(effects)
        w.kept -= self.kept_losses(effects)
        self.follow(w)

    def _series(self, device: str) -> list[str]:
        made = [device]
        for n, s in self.p.sources.items():
            if device in s.through:
                made += [d for d in self.path(n) if d not in made]
        return made

    def widen(self, w: World, deed: Deed) -> None:
        effects = self.touches(deed)
        for verb, name in effects:
            if verb in {"close", "release", "open", "hold off"}:
                w.device[name] = "unknown"
                if self.closable(name) and w.order[name] == "kept":
                    w.order[name] = "interrupted"
            if verb == "trip":
                if w.debt[name] != "unanswered":
                    w.debt[name], w.made[name] = "unanswered", True
                if name != "upstream":
                    w.device[name] = "unknown"
            if verb in {"fit", "uncover", "take down", "cover"}:
                w.temp[name] = True
            if verb in {"discharge", "found charged"}:
                w.charged[name] = True
            if verb in {"turn", "still"}:
                w.turning[name] = True
        w.held -= self.losses(effects) | self.own(deed)
        w.kept -= self.kept_losses(effects)
        w.tries = w.rounds = 0
        self.follow(w)

    # -- moving ----------------------------------------------------------------------------------------

    def start(self, *, arrived: bool = True) -> World:
        p = self.p
        w = World(
            device=dict.fromkeys(p.devices, "unknown"),
            debt=dict.fromkeys([*p.devices, "upstream"], "none"),
            made=dict.fromkeys([*p.devices, "upstream"], False),
            order={d: "kept" for d in p.devices if self.closable(d)},
            temp=dict.fromkeys(p.temporary, False),
            found={n: False for n, s in p.sources.items() if s.kind == "circuit"},
            charged={n: True for n, s in p.sources.items() if s.kind == "stored"},
            turning={n: True for n, s in p.sources.items() if s.kind == "moving"},
            data=dict.fromkeys(self.data, False),
            count={f"{d.name}: {o.name}": 0 for d in self.deeds.values() for o in (*d.model.bands, *d.model.options) if o.repeats},
        )
        if arrived:
            self.arrive(w, self.order[0])
        return w

    def starts(self) -> Iterator[World]:
        """Every start: whatever the job decides, whatever earlier runs may have left."""
        trips = [*(d for d, x in self.p.devices.items() if x.kind in {"breaker", "fuse", "protector"}), "upstream"]
        temps = list(self.p.temporary) if "temporary" in self.p.accepts else []
        free = [("data", d) for d in self.data] + [("temp", t) for t in temps] + [("debt", t) for t in trips if "trip" in self.p.accepts]
        for number in range(2 ** len(free)):
            w = self.start(arrived=False)
            for bit, (what, name) in enumerate(free):
                if number >> bit & 1:
                    getattr(w, what)[name] = "unanswered" if what == "debt" else True
            self.follow(w)
            self.arrive(w, self.order[0])
            yield w

    def life(self, key: str) -> int:
        text = self.gates[key][0].holds_for
        if text in {"shift", "unlimited"}:
            return {"shift": 10**6, "unlimited": 10**9}[text]
        number, unit = text.split(" ")
        return int(number) * {"s": 1, "min": 60, "h": 3600}[unit]

    def so(self, w: World, condition: str) -> bool:
        """Whether a step with this condition is worked."""
        if condition.startswith("data "):
            return w.data[condition]
        words = next(x for x in STANDS if condition.endswith(x))
        name = condition.removesuffix(words).strip()
        match words:
            case "is held off":
                return self.held_off(w, name)
            case "is discharged":
                return not w.charged[name]
            case "has tripped":
                return w.debt[name] != "none"
            case _:
                return w.temp[name] == (words == "is in place")

    def arrive(self, w: World, name: str) -> None:
        """On to a step or an end, steps that are not for now passed over."""
        while name in self.deeds:
            over = next((n for c, n in self.deeds[name].passing if not self.so(w, c)), 0)
            if not over:
                break
            at = self.order.index(name) + over
            if at >= len(self.order):
                self.safe(w, 0)
                return
            name = self.order[at]
        self.approach(w, name)

    def approach(self, w: World, name: str) -> None:
        if name in self.p.ends:
            needs = self._calls(self.p.ends[name].needs, {})
            if not needs:
                w.at, w.step, w.bound = "end", name, "(nothing)"
                return
            w.bound = name
            missing = self.missing(w, [(k, self.need(w, k)) for k in needs])
            if missing:
                self.enter(w, missing)
            else:
                w.at, w.step = "end", name
            return
        deed = self.deeds[name]
        if not self.hopeful(w, deed):
            self.safe(w, 0)
            return
        w.bound = name
        missing = self.missing(w, self._judged(w, deed, self._calls(deed.model.needs, deed.env)))
        if missing:
            self.enter(w, missing)
        elif self.fits(w, deed):
            w.at, w.step = "ask", name
        else:
            self.safe(w, 0)

    def _judged(self, w: World, deed: Deed, keys: list[str]) -> list[tuple[str, bool]]:
        """Needs as they will be once the step's hand has moved; what it loses itself is judged before."""
        own = self.own(deed)
        later = self.begun(w, deed)
        reached = self.reach(deed)
        return [(k, self.need(w, k, reached) if k in own else self.need(later, k, reached)) for k in keys]

    def begun(self, w: World, deed: Deed) -> World:
        later = w.copy()
        later.held -= self.own(deed)
        for verb, name in self.effects(deed):
            if verb in {"close", "release"}:
                later.device[name] = {"close": "closed", "release": "opened"}[verb]
                for n, s in self.p.sources.items():
                    if s.charged_by and name in self.path(s.charged_by):
                        later.charged[n] = True
            if verb in {"fit", "uncover"}:
                later.temp[name] = True
        return later

    def missing(self, w: World, needs: list[tuple[str, bool]]) -> str:
        """The gate whose routine comes first."""
        for key, held in sorted(needs, key=lambda n: -self.life(n[0])):
            if not held:
                model, env = self.gates[key]
                below = self.missing(w, [(k, self.need(w, k, self.reach(None, key))) for k in self._calls(model.asks, env)])
                return below or key
        return ""

    def enter(self, w: World, key: str) -> None:
        w.tries = w.rounds = 0
        self.routine_step(w, self.routine[key][0])

    def routine_step(self, w: World, name: str) -> None:
        deed = self.deeds[name]
        steps = self.routine[deed.owner]
        over = next((n for c, n in deed.passing if not self.so(w, c)), 0)
        if over:
            at = steps.index(name) + over
            if at < len(steps):
                self.routine_step(w, steps[at])
            else:
                self.on(w, deed, "held")
            return
        if name in w.kept:
            self.on(w, deed, deed.then)
            return
        if self.fits(w, deed):
            w.at, w.step = "ask", name
        else:
            self.safe(w, 0)

    def back(self, w: World) -> None:
        if w.bound == "(nothing)":
            self.safe(w, 0)
        else:
            self.approach(w, w.bound)

    def on(self, w: World, deed: Deed, then: str) -> None:
        """Where an outcome leads when it is usable."""
        if not deed.owner:
            then = then or deed.then
            at = self.order.index(deed.name) + 1
            self.arrive(w, then or (self.order[at] if at < len(self.order) else deed.name))
            return
        steps = self.routine[deed.owner]
        then = then or deed.then
        if not then:
            at = steps.index(deed.name) + 1
            then = steps[at] if at < len(steps) else "held"
        match then:
            case "held":
                model, env = self.gates[deed.owner]
                if all(self.need(w, k, self.reach(deed)) for k in self._calls(model.asks, env)):
                    w.held.add(deed.owner)
                w.tries = w.rounds = 0
                self.follow(w)
                self.back(w)
            case "fail":
                w.tries = w.rounds = 0
                self._failed(w, deed)
            case "repeat":
                if w.rounds < 2:
                    w.rounds += 1
                    self.routine_step(w, steps[0])
                else:
                    w.tries = w.rounds = 0
                    self._failed(w, deed)
            case _:
                self.routine_step(w, then)

    def _failed(self, w: World, deed: Deed) -> None:
        written = self.p.when_not_held
        target = written.get(self.gates[deed.owner][0].gate) or written["others"]
        self.arrive(w, self.top.get(target, target))

    def needs_hold(self, w: World, deed: Deed) -> bool:
        """The needs of a deed under way, but for what it lost itself."""
        own = self.own(deed)
        return all(self.need(w, k, self.reach(deed)) for k in self._needs(deed) if k not in own)

    def _needs(self, deed: Deed) -> list[str]:
        if deed.owner:
            model, env = self.gates[deed.owner]
            return self._calls(model.asks, env)
        return self._calls(deed.model.needs, deed.env)

    # -- assumed conditions ----------------------------------------------------------------------------

    def _conditions(self, w: World) -> tuple[Any, ...]:
        closes = any(v == "close" for d in self.deeds.values() for v, _ in self.touches(d))
        return (tuple(w.device.items()), tuple(w.temp.items()), tuple(w.debt.items()) if closes else ())

    def _only_lowers(self, deed: Deed) -> bool:
        verbs = {v for v, _ in self.touches(deed)}
        return not self.heavy(deed) and bool(verbs) and verbs <= {"open", "hold off"}

    def fits(self, w: World, deed: Deed) -> bool:
        if self.assumed is None or self._free(deed):
            return True
        return set(w.order.values()) <= {"kept"} and any(self._same(deed, self._conditions(w), known) for known in self.assumed.get(deed.name, set()))

    def _free(self, deed: Deed) -> bool:
        """What only opens or holds off may always be done."""
        return self._only_lowers(deed)

    def _same(self, deed: Deed, a: tuple[Any, ...], b: tuple[Any, ...], devices: set[str] | None = None, temps: set[str] | None = None) -> bool:
        own = {o for v, o in self.effects(deed) if v in {"fit", "uncover", "take down", "cover"}}
        skip = (devices or set(), own | (temps or set()), set())
        return all(x == y for pa, pb, s in zip(a, b, skip, strict=True) for x, y in zip(pa, pb, strict=True) if x[0] not in s)

    def hopeful(self, w: World, deed: Deed) -> bool:
        """Whether what no routine can change is as assumed."""
        if self.assumed is None or self._free(deed):
            return True
        can = {(v, o) for k in self._closure(deed) for s in self.routine[k] for v, o in self.touches(self.deeds[s])}
        devices = {o for v, o in can if v in {"open", "hold off", "close", "release", "trip"}}
        temps = {o for v, o in can if v in {"fit", "uncover", "cover", "take down"}}
        held = {o for v, o in can if v == "hold off"}
        if any(o == "corrected" or (o == "interrupted" and d not in held) for d, o in w.order.items()):
            return False
        mine = self._conditions(w)
        return any(self._same(deed, mine, known, devices, temps) for known in self.assumed.get(deed.name, set()))

    def _assume(self) -> dict[str, set[tuple[Any, ...]]]:
        seen: dict[str, World] = {}
        waiting = list(self.starts())
        made: dict[str, set[tuple[Any, ...]]] = {}
        while waiting:
            w = waiting.pop()
            mark = repr(self.plain(w))
            if mark in seen:
                continue
            seen[mark] = w
            if w.at == "ask":
                made.setdefault(w.step, set()).add(self._conditions(w))
            for trigger in self.offered(w):
                if trigger.split("@")[0] in {"begin", "answered"} and trigger.partition("=")[2] not in {"cannot", "something else"} and w.at in {"ask", "doing"}:
                    after = self.press(w, trigger)
                    assert after is not None
                    waiting.append(after)
        for name in self.order:
            for key in self._closure(self.deeds[name]):
                for asked in self.routine[key]:
                    made.setdefault(asked, set()).update(made.get(name, set()))
        return made

    def _closure(self, deed: Deed) -> set[str]:
        keys: set[str] = set()
        more = self._calls(deed.model.needs, deed.env)
        while more:
            keys |= set(more)
            more = [a for k in more for a in self._calls(self.gates[k][0].asks, self.gates[k][1]) if a not in keys]
        return keys

    # -- making safe, reconciling ----------------------------------------------------------------------

    def safe_items(self) -> list[tuple[str, str]]:
        return [("left", ""), *(("device", d) for d in self.p.devices if self.locks(d)), *(("temporary", t) for t in sorted(self.p.temporary, key=self.covers)), ("guard", "")]

    def covers(self, t: str) -> bool:
        """Covers go on when what is in their boxes is out."""
        return self.p.temporary[t].kind == "guard"

    def may_remove(self, w: World, t: str) -> bool:
        temp = self.p.temporary[t]
        if temp.kind == "guard" and temp.at and not temp.on:
            for s in self.p.places[temp.at].holds:
                src = self.p.sources[s]
                if src.kind == "circuit" and not src.limited and not self.absent(w, s) and not (self.held_off(w, s) and f"verified-dead({s}, {temp.at})" in w.held):
                    return False
                if src.kind == "stored" and w.charged[s]:
                    return False
            return True
        return all(self.need(w, c) for c in self.removal[t] if c in self.gates) and all(c in self.gates for c in self.removal[t])

    def safe(self, w: World, number: int) -> None:
        for kind, name in self.safe_items()[number:]:
            wanted = {"device": lambda: w.device[name] != "held off" and not self.absent(w, name), "temporary": lambda: w.temp[name] and self.may_remove(w, name)}.get(kind, lambda: True)()
            if wanted:
                w.at, w.thing, w.step = "safe", (kind, name), ""
                return
        w.at, w.step = "end", "stopped"

    def things(self, deed: Deed) -> list[tuple[str, str]]:
        made: dict[tuple[str, str], None] = {}
        for verb, name in self.touches(deed):
            if verb in {"close", "release", "open", "hold off"}:
                made[("device", name)] = None
            if verb == "trip":
                made[("trip", name)] = None
            if verb in {"fit", "uncover", "take down", "cover"}:
                made[("temporary", name)] = None
        return list(made)

    def gone(self, w: World, deed: Deed, number: int) -> None:
        things = self.things(deed)
        for kind, name in things[number:]:
            if kind == "trip" and not w.made[name]:
                continue
            w.at, w.step, w.thing = "reconcile", deed.name, (kind, name)
            return
        for kind, name in things:
            if kind == "trip":
                w.made[name] = False
        w.tries = w.rounds = 0
        if deed.owner:
            self.back(w)
        else:
            again = deed.model.if_interrupted
            self.approach(w, deed.names.get(again, again) if again else deed.name)

    # -- triggers --------------------------------------------------------------------------------------

    @cached_property
    def events(self) -> dict[str, tuple[set[str], set[str]]]:
        words: dict[str, tuple[set[str], set[str]]] = {w: (set(), set()) for w in ("shift ended", "clock went back", "left site", "worker changed", "supervisor left")}
        for k, (m, env) in self.gates.items():
            for text in m.lost_by:
                if self._plain_event(text):
                    words.setdefault(self._event(text, env), (set(), set()))[0].add(k)
            for s, texts in m.keeps.items():
                for text in texts:
                    if self._plain_event(text):
                        words.setdefault(self._event(text, env), (set(), set()))[1].add(f"{k}.{s}")
            if self.life(k) < 10**9:
                words["shift ended"][0].add(k)
                words["clock went back"][0].add(k)
                words["clock went back"][1].update(f"{k}.{s}" for s in m.keeps)
            if self.life(k) < 10**6:
                words[f"lapsed@{k}"] = ({k}, set())
        return words

    @staticmethod
    def _plain_event(text: str) -> bool:
        return text in {"left site", "worker changed", "supervisor left", "second left", "shift ended"} or text.endswith((" changed", " found bad"))

    @staticmethod
    def _event(text: str, env: dict[str, str]) -> str:
        first, _, rest = text.partition(" ")
        return f"{env.get(first, first)} {rest}"

    def offered(self, w: World) -> list[str]:
        return list(dict.fromkeys(self._offered(w)))

    def _offered(self, w: World) -> Iterator[str]:
        if w.at == "end":
            return
        yield from self.events
        yield from ("pause", "interrupted", "unsafe", "emergency")
        deed = self.deeds.get(w.step)
        match w.at:
            case "ask" if deed is not None:
                yield from (f"correct@{d}" for d in self.deeds)
                yield "found"
                yield from [f"begin@{w.step}"] if self.heavy(deed) else [f"answered@{w.step}={o[0]}" for o in self.ways(deed)]
            case "doing" | "late" if deed is not None:
                yield "found"
                word = "answered" if w.at == "doing" else "answered-late"
                yield from (f"{word}@{w.step}={o[0]}" for o in self.ways(deed))
            case "hold":
                yield from (f"go-on@{w.step}", "make-safe")
                if deed is not None and deed.model.if_absent:
                    yield f"leave-out@{w.step}"
            case "reconcile":
                kind, name = w.thing
                words = {"device": ("closed", "opened", "cannot tell", "held off by me"), "trip": ("no", "yes"), "temporary": ("not there", "in place")}[kind]
                yield from (f"answered@reconcile.{w.step}.{kind}.{name}={x}" for x in words)
            case "safe":
                base = ".".join(p for p in ("safe", *w.thing) if p)
                if w.thing[0] == "temporary":
                    yield from (f"begin@{base}", f"answered@{base}=cannot")
                else:
                    yield from (f"answered@{base}=done", f"answered@{base}=cannot")
            case "safe-doing":
                base = f"safe.temporary.{w.thing[1]}"
                yield from (f"answered@{base}=done", f"answered@{base}=cannot")

    def press(self, before: World, trigger: str) -> World | None:
        """The state after a trigger."""
        if trigger not in self.offered(before):
            return None
        w = before.copy()
        word, _, rest = trigger.partition("@")
        answer = rest.partition("=")[2]
        deed = self.deeds.get(w.step)
        events = self.events
        if trigger in events:
            w.held -= events[trigger][0]
            w.kept -= events[trigger][1]
            self.follow(w)
            self._look(w, deed)
        elif trigger in {"pause", "interrupted", "unsafe", "emergency", "found"}:
            self._stop(w, deed, trigger)
        elif word == "begin":
            self._begin(w, deed)
        elif word == "correct":
            self._correct(w, self.deeds[rest])
        elif word == "go-on":
            assert deed is not None
            self.gone(w, deed, 0)
        elif word == "leave-out":
            assert deed is not None
            self.arrive(w, deed.names.get(deed.model.if_absent, deed.model.if_absent))
        elif trigger == "make-safe":
            self.safe(w, 0)
        elif w.at == "reconcile":
            self._reconciled(w, answer)
        elif w.at in {"safe", "safe-doing"}:
            self._made_safe(w, answer)
        else:
            assert deed is not None
            self._answered(w, deed, answer, late=word == "answered-late")
        return w

    def _look(self, w: World, deed: Deed | None) -> None:
        if w.at == "ask" and deed is not None:
            if not deed.owner:
                self.approach(w, deed.name)
            elif not all(held for _, held in self._judged(w, deed, self._needs(deed))):
                self.back(w)
        elif w.at == "doing" and deed is not None:
            if not self.needs_hold(w, deed):
                w.at = "late"
        elif (w.at == "safe-doing" or (w.at == "safe" and w.thing[0] == "temporary")) and not self.may_remove(w, w.thing[1]):
            self.safe(w, self.safe_items().index(("temporary", w.thing[1])) + 1)

    def _stop(self, w: World, deed: Deed | None, trigger: str) -> None:
        if w.at in {"doing", "late"} and deed is not None:
            self.widen(w, deed)
            if trigger in {"pause", "interrupted"}:
                self.gone(w, deed, 0)
            elif trigger == "found":
                w.at = "hold"
            else:
                self.safe(w, 0)
        elif trigger == "found":
            w.at, w.tries, w.rounds = "hold", 0, 0
        elif w.at == "safe-doing":
            if trigger in {"pause", "interrupted"}:
                self.safe(w, self.safe_items().index(("temporary", w.thing[1])))
        elif trigger in {"unsafe", "emergency"} and w.at != "safe":
            self.safe(w, 0)

    def _begin(self, w: World, deed: Deed | None) -> None:
        if w.at == "safe":
            w.at = "safe-doing"
            return
        assert deed is not None
        raised = [e for e in self.effects(deed) if e[0] in RAISE]
        if deed.model.hands:
            w.held -= {k for k, (m, _) in self.gates.items() if "hands in" in m.lost_by}
        self.apply(w, raised)
        w.at = "doing"

    def _correct(self, w: World, deed: Deed) -> None:
        for d in w.order:
            if w.device[d] != "unknown":
                w.order[d] = "corrected"
        w.held.clear()
        w.kept.clear()
        self.widen(w, deed)
        if not deed.owner:
            w.bound = deed.name
        self.gone(w, deed, 0)

    def _reconciled(self, w: World, answer: str) -> None:
        kind, name = w.thing
        if kind == "device":
            if answer == "held off by me":
                before = dict(w.order)
                self.apply(w, [("hold off", name)])
                w.order = before
            else:
                w.device[name] = {"closed": "closed", "opened": "opened", "cannot tell": "unknown"}[answer]
                if self.closable(name) and w.order[name] == "kept":
                    w.order[name] = "interrupted"
        elif kind == "trip" and answer == "no":
            w.debt[name] = "none"
        elif kind == "temporary" and answer == "not there":
            w.temp[name] = False
        self.follow(w)
        deed = self.deeds[w.step]
        self.gone(w, deed, self.things(deed).index((kind, name)) + 1)

    def _made_safe(self, w: World, answer: str) -> None:
        kind, name = w.thing
        if answer == "done" and kind == "device":
            self.apply(w, [("open", name), ("hold off", name)])
        if answer == "done" and kind == "temporary":
            self.apply(w, [("cover" if self.p.temporary[name].kind == "guard" else "take down", name)])
        self.safe(w, self.safe_items().index((kind, name)) + 1)

    def _answered(self, w: World, deed: Deed, answer: str, *, late: bool) -> None:
        _, leads, effects, then = next(o for o in self.ways(deed) if o[0] == answer)
        if leads == "held":
            self.widen(w, deed)
            w.at = "hold"
            return
        if leads == "again":
            self._again(w, deed, then, late=late)
            return
        self.apply(w, [e for e in self.effects(deed) if e[0] not in RAISE] + effects)
        w.tries = 0
        if late and (deed.owner or not self.touches(deed)):
            self.back(w) if deed.owner else self.approach(w, deed.name)
            return
        counts = deed.kind not in {"reading", "choice"} or answer in self.counting[deed.name]
        if not late and counts and deed.owner and deed.name.removeprefix(deed.owner + ".") in self.gates[deed.owner][0].keeps:
            w.kept.add(deed.name)
        mark = f"{deed.name}: {answer}"
        if mark in w.count:
            way = next(o for o in (*deed.model.bands, *deed.model.options) if o.name == answer)
            if w.count[mark] >= way.repeats:
                w.count[mark], then = 0, deed.names.get(way.exhausted, way.exhausted)
            else:
                w.count[mark] += 1
        self.on(w, deed, then)

    def _again(self, w: World, deed: Deed, then: str, *, late: bool) -> None:
        if late:
            w.tries = w.rounds = 0
            self.back(w) if deed.owner else self.approach(w, deed.name)
        elif w.tries < deed.model.again:
            w.tries += 1
            self.routine_step(w, deed.name) if deed.owner else self.approach(w, deed.name)
        elif then:
            w.tries = w.rounds = 0
            self.on(w, deed, then)
        else:
            self.widen(w, deed)
            w.at = "hold"

    # -- for comparison --------------------------------------------------------------------------------

    def plain(self, w: World) -> dict[str, str]:
        """The state in the table's own words."""
        where = {
            "ask": f"ask {w.step}",
            "doing": f"doing {w.step}",
            "late": f"late {w.step}",
            "hold": f"hold {w.step}",
            "reconcile": f"reconcile {w.step} {' '.join(w.thing)}",
            "safe": f"safe {' '.join(w.thing)}".strip(),
            "safe-doing": f"safe-doing {w.thing[1]}",
            "end": w.step if w.step == "stopped" else f"end {w.step}",
        }[w.at]
        made = {"node": where, "tries": str(w.tries), "rounds": str(w.rounds), "bound": w.bound}
        made |= {f"device {d}": v for d, v in w.device.items()} | {f"trip {d}": v for d, v in w.debt.items()}
        made |= {f"made trip {d}": "yes" if v else "no" for d, v in w.made.items()}
        made |= {f"order {d}": v for d, v in w.order.items()}
        made |= {f"temporary {t}": "in place" if v else "not there" for t, v in w.temp.items()}
        made |= {f"found {c}": "live" if v else "as held" for c, v in w.found.items()}
        made |= {f"stored {s}": "charged" if v else "discharged" for s, v in w.charged.items()}
        made |= {f"moving {s}": "turning" if v else "still" for s, v in w.turning.items()}
        made |= {f"gate {k}": "held" if k in w.held else "not held" for k in self.gates}
        made |= {d: "yes" if v else "no" for d, v in w.data.items()} | {f"count {c}": str(n) for c, n in w.count.items()}
        keeps = [f"{k}.{s}" for k, (m, _) in self.gates.items() for s in m.keeps]
        return made | {f"kept {s}": "yes" if s in w.kept else "no" for s in keeps}
