"""Changes of steps: what they need, expose, change, ask, and where their answers lead."""

import re
from collections.abc import Iterator, Mapping, Sequence
from itertools import pairwise
from typing import Any

from ohmward.chart.bands import Edge, ranges_of
from ohmward.language.effects import LOWERING, REPORTED, parse_effect
from ohmward.language.fields import seconds
from ohmward.proof.bounds import Weight, told, weigh_conditions, weigh_limits
from ohmward.proof.leaving import NOT_HELD
from ohmward.proof.weighed import Change, added_and_removed, refusals_changed, texts_changed

Plain = Mapping[str, Any]
_READ = (
    "title",
    "prompt",
    "do",
    "why",
    "expect",
    "basis",
    "means",
    "takes",
    "shows",
    "picture",
)
_MOVED = (
    "kind",
    "place",
    "operates",
    "touches",
    "function",
    "functions",
    "unit",
    "between",
    "decided_by",
    "computes",
    "uses",
    "slot",
    "role",
    "fact",
    "when",
    "if_interrupted",
    "again",
)
_WARNINGS = ("caution", "warning", "danger")
_HELD = "held for a qualified person"


def step_changes(a: Plain, b: Plain) -> Iterator[Change]:
    """Every change of every step, of the procedure and of the gates that both have."""
    old, new = a["steps"], b["steps"]
    for name, step in old.items():
        if name in new:
            where = _where(new[name], name)
            yield from _needs(
                where, _wanted(a, step), _wanted(b, new[name]), step["needs"], new[name]["needs"]
            )
            yield from _step(where, step, new[name])
        elif step["owner"] in {"", *b["gates"]}:
            yield Change(Weight.LOOSER, _where(step, name), f"is no longer asked: '{step['prompt']}'")
    for name, step in new.items():
        if name not in old and step["owner"] in {"", *a["gates"]}:
            yield from _new(_where(step, name), step)
    yield from _order("steps", a["order"], b["order"])
    for key in a["gates"].keys() & b["gates"].keys():
        short = f"gate {a['gates'][key]['gate']}"
        yield from _order(short, *([_bare(s) for s in x["gates"][key]["steps"]] for x in (a, b)))


def _bare(name: str) -> str:
    """A routine's step without its gate's key: the file is changed once, whatever the keys."""
    return re.sub(r"\([^)]*\)", "", name)


def _where(step: Plain, name: str) -> str:
    return f"step {_bare(name)} ({step['file']}:{step['line']})"


def _new(where: str, step: Plain) -> Iterator[Change]:
    exposed = [f"{how} on {x}" for how in ("hands", "probes") for x in step[how]]
    exposed += [f"touches {step['touches']}"] if "touches" in step else []
    exposed += [f"near {x}" for x in step["near"]] + list(step["begun"]) + list(step["confirmed"])
    exposed += [e for o in step["outcomes"] for e in o["effects"] if parse_effect(e).verb in LOWERING]
    weight = Weight.LOOSER if exposed else Weight.STRICTER if step["evidence"] else Weight.OTHER
    yield Change(weight, where, f"is new{': ' if exposed else ''}{', '.join(exposed)}: '{step['prompt']}'")


def _order(where: str, old: list[str], new: list[str]) -> Iterator[Change]:
    """Steps that both have, in another order: each step that comes after one that it came before."""
    both = [s for s in old if s in new]
    now = [s for s in new if s in both]
    for first, second in pairwise(both):
        if now.index(first) > now.index(second):
            yield Change(Weight.LOOSER, where, f"'{first}' comes after '{second}'; it came before")


def _wanted(data: Plain, step: Plain) -> set[str]:
    """Every gate that a step needs, with all that those ask for."""
    found: set[str] = set()
    waiting = list(step["needs"])
    while waiting:
        key = waiting.pop()
        if key not in found:
            found.add(key)
            waiting += data["gates"][key]["asks"]
    return found


def _needs(where: str, had: set[str], has: set[str], old: list[str], new: list[str]) -> Iterator[Change]:
    """A need that another one brings along was neither lost nor won."""
    for key in old:
        if key not in has:
            yield Change(Weight.LOOSER, where, f"no longer needs {key}")
    for key in new:
        if key not in had:
            yield Change(Weight.STRICTER, where, f"now needs {key}")


def _confirmed(where: str, old: Sequence[str], new: Sequence[str]) -> Iterator[Change]:
    """What made something safer and no longer counts may no longer be done; what counts anew is believed."""
    said, kept = "counts with its answer: {}", [effect for effect in old if effect in new]
    told_apart = f"{said}; whether people are still asked to do it stands in the words alone"
    yield from added_and_removed(where, old, kept, told_apart, added=Weight.LOOSER, removed=Weight.LOOSER)
    yield from added_and_removed(where, kept, new, said, added=Weight.LOOSER)


def _step(where: str, old: Plain, new: Plain) -> Iterator[Change]:
    for word, said in (
        ("hands", "declares hands on {}"),
        ("probes", "declares probes on {}"),
        ("near", "declares being near {}"),
        ("begun", "declares that it begins with: {}"),
    ):  # one that went is looser too: the deed may still be done, and the proof does not see it
        yield from added_and_removed(
            where, old[word], new[word], said, added=Weight.LOOSER, removed=Weight.LOOSER
        )
    yield from _confirmed(where, old["confirmed"], new["confirmed"])
    yield from _evidence(where, old["evidence"], new["evidence"])
    yield from _suits(where, old, new)
    yield from _times(where, old, new)
    yield from _left_out(where, old.get("absent", ""), new.get("absent", ""))
    for word in _MOVED:
        if old.get(word, new.get("again") if word == "again" else None) != new.get(word):
            yield Change(
                Weight.LOOSER,
                where,
                f"{word.replace('_', ' ')}: {_said(old.get(word))} -> {_said(new.get(word))}",
            )
    if "by" in old and "by" not in new:
        yield Change(Weight.LOOSER, where, f"no longer asks for: '{old['by']}'")
    for word in _WARNINGS:
        if word in old and word not in new:
            yield Change(Weight.LOOSER, where, f"no longer says {word.upper()}: '{old[word]}'")
    yield from texts_changed(where, old, new, (*_READ, *(w for w in (*_WARNINGS, "by") if w in new)))
    yield from _outcomes(where, old, new)


def _said(value: object) -> str:
    if isinstance(value, int):
        return str(value)
    if not value:
        return "none"
    return value if isinstance(value, str) else "; ".join(map(str, value))  # type: ignore[call-overload]


def _evidence(where: str, old: str, new: str) -> Iterator[Change]:
    if old and old != new:
        yield Change(Weight.LOOSER, where, f"no longer counts as '{old}'")
    if new and old != new:
        yield Change(Weight.LOOSER, where, f"now counts as '{new}'")


def _suits(where: str, old: Plain, new: Plain) -> Iterator[Change]:
    before, after = (tuple(r["require"] for r in x["suits"]) for x in (old, new))
    if before != after:
        yield Change(weigh_conditions(before, after), where, f"suits: {told(before, after)}")
    yield from refusals_changed(where, old["suits"], new["suits"])
    conditions = [x.get("only_if", {}) for x in (old, new)]
    for name in dict.fromkeys((*conditions[0], *conditions[1])):
        one, two = (tuple([c[name]["require"]] if name in c else []) for c in conditions)
        if one != two:
            yield Change(weigh_conditions(one, two), where, f"'{name}' only if: {told(one, two)}")
        both = [[c[name]] if name in c else [] for c in conditions]
        yield from refusals_changed(f"{where}, answer '{name}'", *both)


def _times(where: str, old: Plain, new: Plain) -> Iterator[Change]:
    """A longest time that grows is looser, an earliest that shrinks is too."""
    for word in ("momentary", "at_most"):
        if old.get(word) != new.get(word):
            said = f"{word.replace('_', ' ')}: {old.get(word, 'none')} -> {new.get(word, 'none')}"
            yield Change(weigh_limits(old.get(word), new.get(word)), where, said)
    apart = old.get("second_within"), new.get("second_within")
    if apart[0] != apart[1]:
        said = f"read by a second person within: {apart[0] or 'not read'} -> {apart[1] or 'not read'}"
        yield Change(weigh_limits(*apart), where, said)
    if old.get("wait") != new.get("wait"):
        longer = "wait" in new and ("wait" not in old or seconds(new["wait"]) > seconds(old["wait"]))
        said = f"wait: {old.get('wait', 'none')} -> {new.get('wait', 'none')}"
        yield Change(Weight.STRICTER if longer else Weight.LOOSER, where, said)


def _left_out(where: str, old: str, new: str) -> Iterator[Change]:
    if old != new:
        weight = Weight.LOOSER if new else Weight.STRICTER
        yield Change(
            weight,
            where,
            f"where it is not on the machine: {old or 'cannot be left out'} -> {new or 'cannot be left out'}",
        )


# -- answers ---------------------------------------------------------------------------------------------


def _outcomes(where: str, old: Plain, new: Plain) -> Iterator[Change]:
    before, after = ({o["name"]: o for o in x["outcomes"]} for x in (old, new))
    for name, outcome in before.items():
        if name not in after:
            weight = Weight.LOOSER if _stops(outcome) or _reports(outcome) else Weight.OTHER
            yield Change(weight, where, f"no longer has the answer '{name}'")
    for name, outcome in after.items():
        if name not in before:
            weight = Weight.OTHER if _stops(outcome) else Weight.LOOSER
            work = f" (work: {outcome['work']})" if "work" in outcome else ""
            yield Change(weight, where, f"has the new answer '{name}', which leads to {_leads(outcome)}{work}")
        else:
            yield from _outcome(f"{where}, answer '{name}'", before[name], outcome)
    yield from _bands(where, old, new)


def _stops(outcome: Plain) -> bool:
    return outcome["leads"] == _HELD or outcome["then"] in NOT_HELD


def _reports(outcome: Plain) -> bool:
    """Whether the answer takes a belief back: found live, found charged, a trip."""
    return any(parse_effect(e).verb in REPORTED for e in outcome["effects"])


def _leads(outcome: Plain) -> str:
    if outcome.get("repeats"):
        return f"{outcome['then']} {outcome['repeats']} times, then {outcome['exhausted']}"
    return str(outcome["then"] or (outcome["leads"] if outcome["leads"] != "on" else "the next step"))


def _outcome(where: str, old: Plain, new: Plain) -> Iterator[Change]:
    if _leads(old) != _leads(new):
        weight = Weight.STRICTER if _stops(new) and not _stops(old) else Weight.LOOSER
        yield Change(weight, where, f"leads to {_leads(old)} -> {_leads(new)}")
    was, work = old.get("work", "not said"), new.get("work", "not said")
    if was != work:
        yield Change(_weigh_work(was, work), where, f"work: {was} -> {work}")
    for effect in dict.fromkeys((*old["effects"], *new["effects"])):
        had, has = effect in old["effects"], effect in new["effects"]
        if had != has:
            yield Change(
                _weigh_effect(effect, has=has), where, f"{'now' if has else 'no longer'} means: {effect}"
            )
    yield from texts_changed(where, old, new, ("finding",))


_LESS = {"goes on": 0, "not said": 1, "stays off": 1, "ends": 2}  # where nothing is said, words may ask for `ends`


def _weigh_work(old: str, new: str) -> Weight:
    """Whatever asks for more is stricter."""
    return Weight.STRICTER if _LESS[new] > _LESS[old] else Weight.LOOSER


def _weigh_effect(effect: str, *, has: bool) -> Weight:
    """Of an effect that came or went with an answer; none of them raises a hazard, which is done before the answer."""
    if parse_effect(effect).verb in REPORTED:
        return Weight.STRICTER if has else Weight.LOOSER
    return Weight.LOOSER  # one that is believed anew, or that nobody may do any more


def _bands(where: str, old: Plain, new: Plain) -> Iterator[Change]:
    """Limits of readings. The usual band, or one that goes on, reaching further is looser."""
    before, after = (ranges_of(x) for x in (old, new))
    going = {o["name"] for o in new["outcomes"] if not _stops(o) and not _reports(o)}
    for name, now in after.items():
        was = before.get(name)
        if was is None or was == now:
            continue
        weights = {_weigh_upper(was.high, now.high), _weigh_lower(was.low, now.low)}
        if was.over_range != now.over_range:
            weights.add(Weight.LOOSER)
        weight = next(w for w in (Weight.LOOSER, Weight.STRICTER, Weight.OTHER) if w in weights)
        if name not in going:
            reports = any(_reports(o) for o in new["outcomes"] if o["name"] == name)
            weight = Weight.LOOSER if reports and Weight.STRICTER in weights else Weight.OTHER
        yield Change(weight, f"{where}, band '{name}'", f"{was.words('anything')} -> {now.words('anything')}")


def _weigh_upper(old: Edge | None, new: Edge | None) -> Weight:
    """A higher limit is looser, and so is the same one when it is taken in."""
    weight = weigh_limits(old.text if old else None, new.text if new else None)
    if weight is Weight.OTHER and old is not None and new is not None and old != new:
        return Weight.LOOSER if new.below_takes_it and not old.below_takes_it else Weight.STRICTER
    return weight


def _weigh_lower(old: Edge | None, new: Edge | None) -> Weight:
    """A lower limit is looser the other way round."""
    if old is None or new is None:
        return Weight.OTHER if old is new else Weight.LOOSER if new is None else Weight.STRICTER
    if old == new:
        return Weight.OTHER
    return _weigh_upper(new, old)
