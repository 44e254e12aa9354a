"""What stands before the person: the question, why, where, which gates, which answers. Text, no layout."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from hashlib import sha256
from typing import Any

from ohmward.account.fold import Account
from ohmward.account.names import names_for, points_of
from ohmward.chart.layout import holds
from ohmward.chart.table import NODE_BITS
from ohmward.language.evaluate import evaluate
from ohmward.language.expression import parse_expression

SIGNALS = ("danger", "warning", "caution")


@dataclass(frozen=True, slots=True, kw_only=True)
class GateLine:
    """One gate of the step, in words."""

    title: str
    of: str
    state: str  # held, not held, lost
    left: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class View:
    """One screen's matter."""

    node: str
    mode: str  # ready, ask, doing, late, hold, reconcile, safe, end
    step: str
    kind: str
    title: str
    prompt: str
    lines: tuple[str, ...] = ()
    why: str = ""
    expect: str = ""
    signal: str = ""
    signal_text: str = ""
    where: str = ""
    tier: str = ""
    tier_why: str = ""
    gates: tuple[GateLine, ...] = ()
    points: tuple[str, ...] = ()
    unit: str = ""
    limits: tuple[str, ...] = ()
    options: tuple[str, ...] = ()
    by: str = ""
    number: int = 0
    of: int = 0
    for_gate: str = ""
    basis: tuple[str, ...] = ()

    @property
    def shown(self) -> str:
        """Digest of the words that were shown."""
        words = "\n".join(
            (
                self.title,
                self.prompt,
                *self.lines,
                self.why,
                self.expect,
                self.signal,
                self.signal_text,
                self.where,
                self.tier,
                self.by,
                *self.points,
                *self.limits,
                *self.options,
            )
        )
        return sha256(b"\x03" + words.encode()).hexdigest()


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
            options=("go on here", "make safe"),
        )
    if kind == "reconcile":
        return _reconcile_view(account, node.name)
    if kind.startswith("safe"):
        return _safe_view(account, node.name, kind)
    return View(node=node.name, mode="end", step="", kind="end", title="End", prompt=node.name)


def _step_view(account: Account, now: datetime, name: str, step: Mapping[str, Any], kind: str) -> View:
    data: Any = account.table.data
    gate = data["gates"].get(step["owner"])
    mode = kind if kind != "ask" else ("ready" if step["heavy"] else "ask")
    signal = next((w for w in SIGNALS if w in step), "")
    bound = account.table.value(account.position, "bound")
    number, about = _progress(account, bound)
    place = step["place"]
    tier, tier_why = tier_of(account, place) if place else ("", "")
    return View(
        node=account.node,
        mode=mode,
        step=name,
        kind=step["kind"],
        title=step.get("title", ""),
        prompt=step["prompt"],
        lines=tuple(step["do"]),
        why=step.get("why", gate["why"] if gate else ""),
        expect=step.get("expect", ""),
        signal=signal,
        signal_text=step.get(signal, ""),
        where=data["places"][place]["label"] if place else "",
        tier=tier,
        tier_why=tier_why,
        gates=tuple(_gate_line(account, key, now) for key in step["needs"]),
        points=points_of(account.opened, step) if step["kind"] == "reading" else (),
        unit=step.get("unit", ""),
        limits=limits_of(account, step, now.date().isoformat()),
        options=_options(account, step),
        by=step.get("by", ""),
        number=number,
        of=about,
        for_gate=f"{gate['title']} ({', '.join(gate['of'])})"
        if gate and gate["of"]
        else (gate["title"] if gate else ""),
        basis=tuple(step["basis"]),
    )


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
        usual = [o["then"] for o in data["steps"][step]["outcomes"] if o["leads"] == "on"]
        then = "" if "" in usual else usual[0]
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


def limits_of(account: Account, step: Mapping[str, Any], day: str) -> tuple[str, ...]:
    """The bands of a reading with this job's numbers."""
    names = names_for(account.opened, account.slots, step, account.table.data, day)
    lines = []
    for band in step["bands"]:
        text = band.get("below") or band.get("up_to") or ""
        word = "below" if "below" in band else "up to"
        shown = f"{word} {evaluate(parse_expression(text), names)}" if text else "above that"
        if text and "." in text.replace("0.", "").replace("1.", ""):
            shown += f" ({text})"
        lines.append(f"{band['name']}: {shown}" + (", or OL" if "over_range" in band else ""))
    return tuple(lines)


def tier_of(account: Account, place: str) -> tuple[str, str]:
    """The tier of a place now, and why, in words."""
    data: Any = account.table.data
    layout = account.table.layout
    bits = account.position >> NODE_BITS
    known = data["places"][place]
    if holds(layout.from_words(data["tier low"][place]), bits):
        cover = known.get("cover")
        shut = cover is not None and layout.value(bits, f"temporary {cover}") == "not there"
        return (
            "low",
            "its cover is on"
            if shut
            else "what is uncovered there is held off, read dead, discharged, or limited",
        )
    live = [data["sources"][s]["label"] for s in known["holds"] if not _harmless(account, s, place)]
    return "shock", f"may be live there: {', '.join(live)}"


def _harmless(account: Account, source: str, place: str) -> bool:
    data: Any = account.table.data
    known = data["sources"][source]
    if known["kind"] == "circuit":
        held = holds(account.table.layout.from_words(data["held off"][source]), account.position >> NODE_BITS)
        key = f"verified-dead({source}, {place})"
        return "limited" in known or (held and key in data["gates"] and account.is_held(key))
    return (
        known["kind"] != "stored" or account.table.value(account.position, f"stored {source}") == "discharged"
    )


def _gate_line(account: Account, key: str, now: datetime) -> GateLine:
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
    if gate["gate"] == "shock-protection" and place and tier_of(account, place)[0] == "low":
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


def _reconcile_view(account: Account, node: str) -> View:
    data: Any = account.table.data
    _, _, rest = node.partition(" ")
    step, kind, thing = rest.rsplit(" ", 2)
    labels = {
        **{n: d["label"] for n, d in data["devices"].items()},
        **{n: t["label"] for n, t in data["temporary"].items()},
    }
    label = labels.get(thing, "A device upstream")
    prompt = {
        "device": f"{label}: how does the handle stand? Look, do not remember.",
        "trip": f"{label}: has it tripped? Look.",
        "temporary": f"{label}: is it so? Look.",
    }[kind]
    triggers = account.table.offered(account.position)
    options = tuple(t.partition("=")[2] for t in triggers if t.startswith("answered@"))
    return View(
        node=node,
        mode="reconcile",
        step=f"reconcile.{thing}",
        kind=kind,
        title="Before going on: how does it stand?",
        prompt=prompt,
        options=options,
        why=f"'{data['steps'][step]['prompt']}' was left without an answer, or is corrected.",
    )


def _safe_view(account: Account, node: str, kind: str) -> View:
    data: Any = account.table.data
    name = node.removeprefix("safe-doing ").removeprefix("safe ")
    doing = kind == "safe-doing"
    word, _, thing = name.partition(" ") if not doing else ("temporary", "", name)
    labels = {
        **{n: d["label"] for n, d in data["devices"].items()},
        **{n: t["label"] for n, t in data["temporary"].items()},
    }
    prompt = {
        "left": "Hands out. Step back from everything that may be live; see that the others do.",
        "device": f"{labels.get(thing, '')}: open it and put your lock and tag on.",
        "temporary": f"{labels.get(thing, '')}: take it away - it is read dead there - and put things back.",
        "guard": "Guard or bar off what is left. Stay, or let somebody stay, until it is handed over.",
    }[word]
    return View(
        node=node,
        mode="safe",
        step=f"safe.{thing or word}",
        kind="safe-doing" if doing else kind,
        title="Making safe",
        prompt=prompt,
        options=("done", "cannot"),
    )
