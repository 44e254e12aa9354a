"""What stands before the person: the question, why, where, which gates, which answers. Text, no layout."""

from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any

from ohmward.account.limits import computed_lines, limit_lines, limit_workings
from ohmward.account.names import measures_of, names_for, supplies_of
from ohmward.account.pair import by_two
from ohmward.account.state import Account
from ohmward.account.words import gate_words, item_words, items_of
from ohmward.language.expression import Value
from ohmward.work.looking import reconcile_view, safe_view
from ohmward.work.screenful import GateLine, View
from ohmward.work.tier import tier_of

SIGNALS = ("danger", "warning", "caution")


def view_of(account: Account, now: datetime) -> View:
    """The view of where a run stands. `now` is UTC."""
    node = account.table.node(account.position)
    kind = node.kind
    step = account.steps.get(node.step)
    if kind in {"ask", "doing", "late"} and step is not None:
        return _step_view(account, now, node.step, step, kind)
    if kind == "hold":
        return View(
            node=node.name,
            mode="hold",
            step=node.step,
            kind="hold",
            title="Held for a qualified person",
            prompt="A qualified person looks, and says what happens next.",
            options=_ways_on(account),
        )
    if kind == "reconcile":
        return reconcile_view(account, node.name)
    if kind.startswith("safe"):
        return safe_view(account, node.name, kind)
    return View(node=node.name, mode="end", step="", kind="end", title="End", prompt=node.name)


def _step_view(account: Account, now: datetime, name: str, step: Mapping[str, Any], kind: str) -> View:
    data: Any = account.table.data
    gate = data["gates"].get(step["owner"])
    mode = kind if kind != "ask" else ("ready" if step["heavy"] else "ask")
    signal = next((w for w in SIGNALS if w in step), "")
    bound = account.table.value(account.position, "bound")
    number, about = _progress(account, bound)
    place = step["place"]
    reached = bool(gate["reaches"] if gate else step["reaches"])
    tier, tier_why = tier_of(account, place, reached=reached) if place else ("", "")
    names = names_for(account.opened, account.slots, step, data, now.date().isoformat())
    return View(
        node=account.node,
        mode=mode,
        step=name,
        kind=step["kind"],
        title=step.get("title", ""),
        prompt=step["prompt"],
        lines=(*step["do"], *supplies_of(account.opened, step)),
        several=supplies_of(account.opened, step) if step["kind"] in {"action", "choice"} else (),
        why=step.get("why", gate["why"] if gate else ""),
        expect=step.get("expect", ""),
        signal=signal,
        signal_text=step.get(signal, ""),
        where=data["places"][place]["label"] if place else "",
        tier=tier,
        tier_why=tier_why,
        gates=tuple(
            _gate_line(account, key, now, gate["reaches"] if gate else step["reaches"])
            for key in step["needs"]
        ),
        points=_points(account, step, names),
        second=_second(account, step),
        unit=step.get("unit", ""),
        limits=limit_lines(step, names) if step["kind"] == "reading" else (),
        computed=computed_lines(step, names) if step["kind"] == "reading" else (),
        workings=limit_workings(step, names) if step["kind"] == "reading" else (),
        options=_options(account, step),
        by=step.get("by", ""),
        number=number,
        of=about,
        for_gate=gate_words(gate) if gate else "",
        question=(gate["steps"].index(name) + 1, len(gate["steps"])) if gate else (0, 0),
        basis=tuple(step["basis"]),
        each=_each(account, step),
        handle=data["devices"].get(step.get("operates", ""), {}).get("label", ""),
        strip=tuple(step.get("picture", {}).get("strip", ())),
        along=step.get("picture", {}).get("along", ""),
        strip_words=step.get("picture", {}).get("words", ""),
        shows=tuple(line for word in step.get("shows", ()) for line in _shows(account, word)),
        earlier="" if by_two(step) else account.opened.get("earlier", {}).get(name, ""),
    )


def _points(account: Account, step: Mapping[str, Any], names: Mapping[str, Value]) -> tuple[str, ...]:
    """What one person reads."""
    if step["kind"] != "reading":
        return ()
    points = tuple(p for p, _ in measures_of(account.opened, step, names))
    return points[: len(points) // 2] if by_two(step) else points


def _second(account: Account, step: Mapping[str, Any]) -> str:
    """The second person of a reading by two, by name."""
    known = account.opened["people"].get(account.second, {"name": "nobody here"})
    return f"{known['name']} ({account.second or '-'})" if by_two(step) else ""


def _ways_on(account: Account) -> tuple[str, ...]:
    """What a qualified person can say at a hold."""
    offered = account.table.offered(account.position)
    more = ("leave it out",) if any(t.startswith("leave-out@") for t in offered) else ()
    return ("go on here", "make safe", *more)


def _each(account: Account, step: Mapping[str, Any]) -> str:
    """Which item of a list a step is for, in words."""
    facts = account.opened["job"]["facts"]
    words = item_words(facts, step)
    return f"{words} ({step['each'][1] + 1} of {len(items_of(facts, step['each'][0]))})" if words else ""


def _shows(account: Account, word: str) -> tuple[tuple[str, str], ...]:
    """What a step asks to be shown beside it."""
    job = account.opened["job"]
    if word == "emergency":
        return (
            ("cut power", job["emergency"]["cut_power"]),
            ("call", job["emergency"]["call"]),
            ("address", f"{job['site']}, {job['address']}"),
        )
    sources: Any = account.table.data["sources"]
    return tuple(("can hurt", _hazard(job, name, s)) for name, s in sources.items())


def _hazard(job: Mapping[str, Any], name: str, source: Mapping[str, Any]) -> str:
    match source["kind"]:
        case "circuit" if "limited" in source:
            return f"{source['label']}: {source['limited']}"
        case "circuit":
            known = job["circuits"].get(name, {})
            return f"{source['label']}: {known.get('to-ground', 'voltage not known')} to ground"
        case "stored":
            return f"{source['label']}: keeps its charge"
        case _:
            return f"{source['label']}: can start by itself"


def _progress(account: Account, bound: str) -> tuple[int, int]:
    """Step n of about m: steps of the procedure answered so far, and those ahead if all goes its usual way."""
    data: Any = account.table.data
    order: list[str] = data["order"]
    if bound not in order:
        return 0, 0
    done = len({s for s in account.answered if s in order and s != bound})
    ahead: dict[str, None] = {}
    step = bound
    while step in order and step not in ahead:
        ahead[step] = None
        then = next(o["then"] for o in data["steps"][step]["outcomes"] if o["usual"])
        following = order[order.index(step) + 1 :]
        step = (
            next((s for s in order if s == then or s.startswith(f"{then}.")), then)
            if then
            else (following[0] if following else "")
        )
    return done + 1, done + len(ahead)


def _options(account: Account, step: Mapping[str, Any]) -> tuple[str, ...]:
    match step["kind"]:
        case "choice":
            return tuple(o["name"] for o in step["outcomes"])
        case "gear":
            gear = account.opened["gear"]
            return tuple(f"{i} {g['label']}" for i, g in gear.items() if step["slot"] in g["slots"])
        case "person":
            return tuple(
                f"{i} {p['name']}, {p['role'].replace('-', ' ')}" for i, p in account.opened["people"].items()
            )
        case _:
            return ()


def _gate_line(account: Account, key: str, now: datetime, reaches: str) -> GateLine:
    data: Any = account.table.data
    gate = data["gates"][key]
    held = account.held.get(key)
    last = next((s for s in reversed(account.spans) if s.gate == key), None)
    if held is not None:
        return GateLine(
            title=gate["title"],
            of=", ".join(gate["of"]),
            state="held",
            left=_left(gate, held.since, now),
            why="",
        )
    place = gate["env"].get("here", "")
    if (
        gate["gate"] == "shock-protection"
        and place
        and tier_of(account, place, reached=place == reaches)[0] == "low"
    ):
        return GateLine(
            title=gate["title"], of=", ".join(gate["of"]), state="not needed", left="", why="tier low"
        )
    lost = last is not None and last.lost != ""
    return GateLine(
        title=gate["title"],
        of=", ".join(gate["of"]),
        state="lost" if lost else "not held",
        left="",
        why=last.why if last else "",
    )


def _left(gate: Mapping[str, Any], since: str, now: datetime) -> str:
    if gate["lifetime"] >= 10**6:
        return "for the shift" if gate["holds_for"] == "shift" else ""
    ends = datetime.fromisoformat(since) + timedelta(seconds=int(gate["lifetime"]))
    minutes = max(0, int((ends - now).total_seconds() // 60))
    return f"{minutes} min left"
