"""Defects planted into shipped files one by one, and what the proof says of each: `python -m tests.defects [PROCEDURE]`.

Killed (a fault or a broken rule); the same behaviour, checked by walking both charts side by side; kept by another
need, where a rule demands what was dropped and every position has it all the same; or no rule speaks of it - counted
and listed, for somebody to think about.
"""

import copy
import sys
from collections import Counter, deque
from functools import cache
from itertools import pairwise

import yaml

from ohmward.chart.compile import compile_chart, starts
from ohmward.chart.resolve import make_plan
from ohmward.chart.table import NODE_MASK, advance
from ohmward.errors import FaultyFileError
from ohmward.language.library import load_library
from ohmward.proof.explore import Explorer
from ohmward.proof.forget import forgetter
from ohmward.proof.search import prepare
from ohmward.proof.verdict import prove
from ohmward.shop.shipped import shipped_files

KILLED, SAME, SILENT = "killed", "same behaviour", "no rule speaks of it"
KEPT = "another need keeps it"  # a rule demands it there, and every position of the changed chart has it all the same
GEAR_EVENT = " found bad"


class KilledError(Exception):
    """The first rule that broke."""


class Hasty(Explorer):
    """Stops at the first rule that breaks."""

    def _breach(self, rule, words, kept, events, trigger):
        raise KilledError(rule)


@cache
def plain(name):
    return yaml.load(shipped_files()[name], yaml.CBaseLoader)  # noqa: S506  texts only


def without(items, index):
    return [*items[:index], *items[index + 1 :]]


def step_defects(step):
    """(operator, what, the step changed) for one step."""
    for index, need in enumerate(step.get("needs", [])):
        yield "drop a need", need, {**step, "needs": without(step["needs"], index)}
    for how in ("hands", "probes", "near"):
        if step.get(how, "none") != "none":
            yield "drop an exposure", f"{how} {step[how]}", {**step, how: "none"} if how != "near" else {k: v for k, v in step.items() if k != how}
    for index, effect in enumerate(step.get("changes", [])):
        yield "drop an effect", effect, {**step, "changes": without(step["changes"], index)}
    if "evidence" in step:
        yield "drop an evidence tag", step["evidence"], {k: v for k, v in step.items() if k != "evidence"}
    if "touches" in step:
        yield "drop an exposure", f"touches {step['touches']}", {k: v for k, v in step.items() if k != "touches"}
    if "second_within" in step:
        yield "widen a band", f"second_within {step['second_within']}", {**step, "second_within": wider(step["second_within"])}
    for kind in ("options", "bands"):
        for index, way in enumerate(step.get(kind, [])):
            for operator, what, changed in way_defects(way):
                yield operator, f"{what} of '{way['name']}'", {**step, kind: [*step[kind][:index], changed, *step[kind][index + 1 :]]}


def way_defects(way):
    for index, effect in enumerate(way.get("changes", [])):
        yield "drop an effect", effect, {**way, "changes": without(way["changes"], index)}
    if "work" in way:
        yield "drop what it means", f"work {way['work']}", {k: v for k, v in way.items() if k != "work"}
    if "then" in way:
        yield "retarget an outcome", f"then {way['then']}", {k: v for k, v in way.items() if k != "then"}
    for word in ("below", "up_to"):
        if word in way:
            yield "widen a band", f"{word} {way[word]}", {**way, word: f"10 * ({way[word]})" if not way[word][0].isdigit() or "*" in way[word] else wider(way[word])}


def wider(text):
    number, _, unit = text.partition(" ")
    return f"{float(number) * 10:g} {unit}".strip()


def defects_of(name):
    """(operator, where, what, the file changed) for one shipped file."""
    whole = plain(name)
    steps = list(whole["steps"])
    for step in steps:
        for operator, what, changed in step_defects(whole["steps"][step]):
            yield operator, step, what, {**whole, "steps": {**whole["steps"], step: changed}}
        effects = whole["steps"][step].get("changes", [])
        following = steps[steps.index(step) + 1 : steps.index(step) + 2]
        if effects and following and "group" not in whole["steps"][following[0]]:
            later = copy.deepcopy(whole["steps"])
            later[step].pop("changes")
            later[following[0]]["changes"] = [*later[following[0]].get("changes", []), *effects]
            yield "delay an effect", step, effects[0], {**whole, "steps": later}
    for first, second in pairwise(steps):
        order = [second if s == first else first if s == second else s for s in steps]
        yield "swap neighbouring steps", first, f"with {second}", {**whole, "steps": {s: whole["steps"][s] for s in order}}
    for word, operator in (("lost_by", "drop a lost_by"), ("rests_on", "drop a rests_on")):
        for index, item in enumerate(whole.get(word, [])):
            left = without(whole[word], index)
            yield operator, name, item, {**whole, word: left} if left else {k: v for k, v in whole.items() if k != word}


def situations(step):
    """What a rule would say of this step in its `whenever`."""
    changes = " ".join(step.get("changes", []))
    return {
        *(("hands on circuit", "hands on stored") if step.get("hands", "none") != "none" else ()),
        *(("probes on circuit",) if step.get("probes", "none") != "none" else ()),
        *(("place",) if "at" in step and changes + str(step.get("hands", "")) + str(step.get("probes", "")) != "nonenone" else ()),
        *(("turn moving",) if "turn " in changes else ()),
        *(("close device",) if "close " in changes else ()),
        *(("fit lead",) if "fit " in changes else ()),
        *(("take down lead",) if "take down " in changes else ()),
        *((f"reading {step['function']}",) if step.get("hands", "none") != "none" and "function" in step else ()),
    }


def spoken_of(operator, file, where, what):
    """Whether a shipped rule names what was changed: then the defect must be killed, or change nothing."""
    rules = [s.model for s in load_library(shipped_files()).rules.values()]
    gate = file.rpartition("/")[2].removesuffix(".yaml")
    match operator:
        case "drop a need":
            watching = [r for r in rules if set(r.situations) & situations(plain(file)["steps"][where])]
            name = what.partition("(")[0]
            return any(m.startswith((f"{name}(", f"{name} ")) or f" or {name}" in m for r in watching for m in r.must)
        case "drop an evidence tag":
            return any(what in (*r.must_contain, *r.in_order) for r in rules)
        case "drop a lost_by":
            return any(what in r.lost_by for r in rules if f"gate {gate}" in r.situations)
        case "retarget an outcome":
            answer = what.rpartition(" of ")[2].strip("'")
            own = not file.startswith("gates/") and any(answer in (*r.stops, *r.stays_off) for r in rules)
            return own or any(answer in r.refuses for r in rules if f"gate {gate}" in r.situations)
        case "drop an effect" if not file.startswith("gates/"):
            effect, _, answer = what.partition(" of ")
            verb = next((v for r in rules for v in r.tells if effect.startswith(f"{v} ")), "")
            return any(answer.strip("'") in r.tells.get(verb, ()) for r in rules)
        case "drop what it means":
            return True  # whoever wrote it had been asked
        case "drop an exposure" if what.startswith("touches"):
            return True
        case "widen a band" if what.startswith("second_within"):
            return any(r.read_by_two for r in rules if f"gate {gate}" in r.situations)
        case _:
            return False


def same_behaviour(old, new):
    """The same limits and exposures, and both charts walked side by side: at each pair the same questions and moves."""
    fields = ("bands", "suits", "between", "hands", "probes", "near", "computes", "uses", "second_within")
    if any(step.get(f) != new.data["steps"].get(name, step).get(f) for name, step in old.data["steps"].items() for f in fields):
        return False
    one, other = old, new
    forget_one, forget_other = (forgetter(table, starts(table), {}) for table in (one, other))
    first = [(forget_one(a), forget_other(b)) for a, b in zip(starts(one), starts(other), strict=False)]
    if len(starts(one)) != len(starts(other)):
        return False
    seen, waiting = set(first), deque(first)
    while waiting:
        a, b = waiting.popleft()
        if one.node(a).name != other.node(b).name or set(one.packed[a & NODE_MASK]) != set(other.packed[b & NODE_MASK]):
            return False
        for trigger in one.packed[a & NODE_MASK]:
            pair = (forget_one(advance(one, a, trigger).position), forget_other(advance(other, b, trigger).position))
            if pair not in seen:
                seen.add(pair)
                waiting.append(pair)
    return True


def verdict_on(procedure, name, changed):
    """(verdict, by what) of one defect in one file, for one procedure that reads it."""
    data = yaml.safe_dump(changed, sort_keys=False, width=10_000, allow_unicode=True).encode()
    try:
        library = load_library({**shipped_files(), name: data})
        table = compile_chart(make_plan(library, procedure))
    except FaultyFileError as error:
        return KILLED, error.diagnostics[0].code
    search = prepare(table, library)
    search.explorer = lambda: Hasty(table, search.asked, search.forget, credit=search.credit)
    try:
        stories = prove(table, library, search=search).stories
    except KilledError as error:
        return KILLED, str(error)
    if stories:
        return KILLED, stories[0].rule
    if same_behaviour(compiled(procedure), table):
        return SAME, ""
    return SILENT, ""


@cache
def compiled(procedure):
    return compile_chart(make_plan(load_library(shipped_files()), procedure))


def files_of(procedure):
    """The shipped files that a procedure reads."""
    names = set(make_plan(load_library(shipped_files()), procedure).digests)
    return sorted(n for n in shipped_files() if n in names and not n.startswith("rules/"))


def planted(procedure, *, every=1):
    """Every defect, or each `every`-th: (operator, file, where, what, changed)."""
    made = [(op, name, where, what, changed) for name in files_of(procedure) for op, where, what, changed in defects_of(name)]
    return made[::every]


def readers(most=3):
    """Every shipped file with the smallest procedures that read it."""
    found = {}
    for procedure in sorted(load_library(shipped_files()).procedures, key=lambda n: len(compiled(n).rows)):
        for name in files_of(procedure):
            found.setdefault(name, []).append(procedure)
    return {name: procedures[:most] for name, procedures in found.items()}


def verdict_at(procedures, name, changed):
    """The verdict of the first procedure that kills a defect; else the same behaviour only if it is that in all."""
    verdicts = set()
    for procedure in procedures:
        verdict, by = verdict_on(procedure, name, changed)
        if verdict == KILLED:
            return verdict, f"{by} ({procedure})"
        verdicts.add(verdict)
    return SILENT if SILENT in verdicts else SAME, ""


def judged(verdict, operator, file, where, what):
    """A need that a rule names may be dropped where what else is needed there brings it along: the proof looked."""
    return KEPT if (verdict, operator) == (SILENT, "drop a need") and spoken_of(operator, file, where, what) else verdict


def main(*wanted):
    """Every defect of some files (`gates/briefed.yaml`), of what a procedure reads, or of every shipped file."""
    tally = Counter()
    at = readers()
    if len(wanted) == 1 and wanted[0] in load_library(shipped_files()).procedures:
        at = dict.fromkeys(files_of(wanted[0]), wanted)
    elif wanted:
        at = {name: at[name] for name in wanted}
    for name, operator, where, what, changed in ((n, *d) for n in at for d in defects_of(n)):
        verdict, by = verdict_at(at[name], name, changed)
        verdict = judged(verdict, operator, name, where, what)
        tally[operator, verdict] += 1
        mark = "!" if verdict == SILENT and spoken_of(operator, name, where, what) else " "
        print(f"{mark}{verdict:22} {operator:24} {name} {where}: {what} {by}", flush=True)
    for operator in sorted({op for op, _ in tally}):
        print(operator, {v: tally[operator, v] for v in (KILLED, SAME, KEPT, SILENT)})


if __name__ == "__main__":
    main(*sys.argv[1:])
