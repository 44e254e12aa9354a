"""Procedures made up by a seeded generator: small, odd, legal more often than not. For the proof to be held against.

Nothing in them is safe on purpose; what matters is that every kind of row comes up, and both verdicts.
"""

import random

import yaml

from ohmward.chart.compile import compile_chart
from ohmward.chart.resolve import make_plan
from ohmward.errors import FaultyFileError
from ohmward.language.library import load_library
from tests.conftest import ROOT

GATE_EVENTS = ("worker changed", "left site", "supervisor left", "voltmeter changed", "voltmeter found bad", "hands in", "shift ended", "held off any")
HOLDS = ("shift", "shift", "unlimited", "10 min", "30 min", "5 min")
RULES = ("hands-need-dead", "opened-is-not-off", "no-closing-on-a-trip", "before-closing", "nothing-left-in-service", "a-test-ends-held-off", "starting-needs-protection", "probes-need-qualified", "call-off-before-hands", "ohms-only-dead", "no-lead-on-or-off-live")
TAGS = ("call off", "people warned", "people told", "tools accounted for", "sources found", "tried")


class Maker:
    """One procedure with its gates, from one seed."""

    def __init__(self, seed, *, small=False):
        self.random = random.Random(seed)
        self.name = "generated"
        self.careful = seed % 2 == 0  # half of them ask for what the rules want: some are proved
        self.steps = self.random.randint(2, 3 if small else 5)
        self.gates = self.random.randint(0, 1 if small else 3)

    def some(self, items, most=2):
        items = list(items)
        return self.random.sample(items, self.random.randint(0, min(most, len(items))))

    def chance(self, share):
        return self.random.random() < share

    def procedure(self):
        pick = self.random
        self.switch = "unknown"
        self.store, self.part = self.chance(0.4), self.chance(0.5)
        self.lid, self.lead = self.chance(0.6), self.chance(0.5)
        devices = {"branch": {"kind": "breaker", "label": "Branch"}, "switch": {"kind": "disconnect", "label": "Switch"}}
        sources = {
            "line": {"kind": "circuit", "label": "Line", "through": ["branch"]},
            "load": {"kind": "circuit", "label": "Load", "fed_by": ["line"], "through": ["switch"]},
        }
        if self.store:
            sources["store"] = {"kind": "stored", "charged_by": "load", "label": "Store"}
        if self.part:
            sources["fan"] = {"kind": "moving", "driven_by": "load", "label": "Fan"}
        places = {"box": {"label": "Box", "holds": ["load", *(["store"] if self.store else [])]}}
        temporary = {}
        if self.lid:
            temporary["lid"] = {"label": "Lid off", "kind": "guard", "at": "box"}
            places["box"]["cover"] = "lid"
        if self.lead:
            temporary["lead"] = {"label": "Lead", "kind": "lead", "at": "box", "on": ["load"]}
        self.keys = [self.gate_call(n) for n in range(self.gates)] + ["qualified(load)", "locked-out(load)", "shock-protection(box)", "verified-dead(load, box)", "area-clear", "tools-accounted-for"]
        if self.part:
            self.keys.append("protected-from(fan)")
        names = [f"s{n}" for n in range(self.steps)]
        steps = {name: self.step(names, n) for n, name in enumerate(names)}
        return {
            "procedure": self.name,
            "revision": "1",
            "title": "Generated",
            "purpose": "To be searched.",
            "not_covered": "Real work.",
            "basis": ["ours"],
            **({"accepts": self.some(["temporary", "trip"])} if self.chance(0.4) else {}),
            "devices": devices,
            "sources": sources,
            "places": places,
            **({"temporary": temporary} if temporary else {}),
            "when_not_held": {"others": pick.choice(["away", "leave"])},
            "steps": {**steps, "leave": {"action": "Lock.", "changes": ["open switch", "hold off switch"], "then": "away"}},
            "ends": {"away": {"title": "Away"}, "done": {"title": "Done", "leaves": {"load": pick.choice(["live", "held off"])}}},
        }

    def gate_call(self, number):
        return f"g{number}"

    def step(self, names, number):
        pick = self.random
        later = [*names[number + 1 :], "leave", "done"]
        step = {}
        kind = pick.choice(["action", "action", "confirm", "choice", "reading"])
        at = kind == "reading" or self.chance(0.6)
        step[kind] = f"Do {number}."
        if kind == "confirm":
            step["by"] = "number"
        changes = self.changes() if kind in {"action", "confirm"} else []
        if at:
            step["at"] = "box"
            step["hands"] = pick.choice([["load"], "none", "none"]) if kind != "reading" else "none"
            step["probes"] = ["load"] if kind == "reading" else "none"
        elif any(c.split()[0] in {"fit", "take", "uncover", "cover", "turn"} for c in changes):
            step |= {"at": "box", "hands": "none", "probes": "none"}
        if changes:
            step["changes"] = changes
        if any(c.split()[0] in {"fit", "take"} for c in changes):
            step["hands"] = ["load"]
        needs = self.some(self.keys, 3)
        if self.careful:
            needs = list(dict.fromkeys([*self.wanted(step, changes), *needs[:1]]))
        if needs:
            step["needs"] = needs
        if self.chance(0.3):
            step["evidence"] = pick.choice(TAGS)
        if kind == "choice":
            step["options"] = [{"name": "so"}, self.way("other", later)]
            if self.chance(0.3):
                step["options"].append({"name": "back", "then": names[max(0, number - 1)], "repeats": "1", "exhausted": "leave"})
        if kind == "reading":
            step |= {"function": "dc volts", "slot": "voltmeter", "unit": "V", "between": ["a to b"], "again": str(pick.randint(0, 2)), "not_decided": "leave"}
            step["bands"] = [{"name": "low", "below": "3 V"}, self.way("high", later)]
            if self.store and self.chance(0.5):
                step["probes"] = ["store"]
                step["bands"][0] |= {"changes": ["discharge store"], "counts": "yes"}
        if self.chance(0.15):
            step["if_interrupted"] = pick.choice(names)
        if self.chance(0.15):
            step["if_absent"] = pick.choice(later)
        if self.chance(0.15):
            step["when"] = pick.choice(["load is held off", "branch has tripped", *(["lead is in place"] if self.lead else [])])
        elif number == len(names) - 1 and kind not in {"choice", "reading"}:
            step["then"] = pick.choice(["leave", "done"])
        return step

    def wanted(self, step, changes):
        """What the shipped rules ask of such a step."""
        if step.get("hands", "none") != "none":
            yield from ("qualified(load)", "verified-dead(load, box)")
        if step.get("at") or step.get("probes", "none") != "none":
            yield from ("shock-protection(box)", "qualified(load)")
        if any(c.startswith(("close", "turn")) for c in changes):
            yield from ("tools-accounted-for", "area-clear", *(["protected-from(fan)"] if self.part else []))

    def changes(self):
        made = []
        if self.chance(0.5):
            made += self.handles()
        if self.lid and self.chance(0.25):
            made.append(self.random.choice(["uncover lid", "cover lid"]))
        if self.lead and self.chance(0.25):
            made.append(self.random.choice(["fit lead", "take down lead"]))
        return made

    def handles(self):
        """What may be done with the handle next; now and then what may not."""
        known = {
            "unknown": [["open switch"], ["open switch", "hold off switch"]],
            "opened": [["hold off switch"], ["close switch"], ["close switch", "turn fan"] if self.part else ["close switch"]],
            "held off": [["release switch"]],
            "closed": [["open switch"], ["open switch", "hold off switch"]],
        }
        done = self.random.choice(known[self.switch])
        verb = done[-1].split()[0]
        self.switch = {"open": "opened", "hold": "held off", "release": "opened", "close": "closed", "turn": "closed"}[verb]
        return done

    def way(self, name, later):
        way = {"name": name}
        if self.chance(0.7):
            way["then"] = self.random.choice(later)
        if self.chance(0.4):
            way["changes"] = [self.random.choice(["trip branch", "trip upstream", "found live load", "answer branch"])]
        return way

    def gate(self, number):
        pick = self.random
        earlier = [self.gate_call(n) for n in range(number)]
        asks = self.some([*earlier], 2)
        gate = {"gate": f"g{number}", "title": f"Gate {number}", "why": "Because.", "basis": ["ours"], "status": "ours"}
        if asks:
            gate["asks"] = asks
            if self.chance(0.5):
                gate["rests_on"] = asks[:1]
        gate["lost_by"] = self.some(GATE_EVENTS, 3) or ["worker changed"]
        gate["holds_for"] = pick.choice(HOLDS)
        count = pick.randint(1, 2)
        if count == 2 and self.chance(0.5):
            gate["keeps"] = {"q0": self.some(("left site", "worker changed"), 1) or ["left site"]}
        gate["steps"] = {f"q{n}": self.question() for n in range(count)}
        return gate

    def question(self):
        pick = self.random
        kind = pick.choice(["confirm", "choice", "confirm"])
        step = {kind: "Is it so?"}
        if kind == "confirm":
            step["by"] = "number"
        else:
            step["options"] = [{"name": "yes"}, {"name": "no", "then": pick.choice(["repeat", "fail"])}]
        if self.chance(0.4):
            step["evidence"] = pick.choice(TAGS)
        return step


def files_of(seed, **size):
    """The files of one generated library: the procedure, its gates, the cut's gates, some shipped rules."""
    maker = Maker(seed, **size)
    procedure = maker.procedure()
    gates = {f"gates/g{n}.yaml": maker.gate(n) for n in range(maker.gates)}
    made = {n: yaml.safe_dump(d, sort_keys=False, width=1000).encode() for n, d in {"generated.yaml": procedure, **gates}.items()}
    cut = {f"gates/{p.name}": p.read_bytes() for p in (ROOT / "tests" / "cut" / "gates").glob("*.yaml")}
    rules = {f"rules/{n}.yaml": (ROOT / "procedures" / "rules" / f"{n}.yaml").read_bytes() for n in RULES}
    return made | cut | rules


def legal(seeds, **size):
    """(seed, library, table) of every seed whose procedure compiles."""
    for seed in seeds:
        try:
            library = load_library(files_of(seed, **size))
            yield seed, library, compile_chart(make_plan(library, "generated"))
        except FaultyFileError:
            continue
