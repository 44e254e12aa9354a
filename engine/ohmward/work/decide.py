"""From an intent to the entries that record it, or the reason why it may not happen. Pure: `now` is handed in."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, assert_never

from ohmward.account.fold import Account
from ohmward.account.judge import NOT_DECIDED, first_unmet, judge_reading
from ohmward.account.names import accuracy_of, names_for, points_of
from ohmward.chart.table import NODE_MASK
from ohmward.errors import BrokenError
from ohmward.language.expression import Value
from ohmward.record.entry import Kind, Reading
from ohmward.trade.quantity import QuantityError
from ohmward.work.intents import Answer, Begin, Correct, Found, GoOn, Happened, Intent, MakeSafe, Resume, Stop
from ohmward.work.view import View

BARE = frozenset({"", "y", "yes", "ok", "okay", "done", "x", "-", "j", "ja", "true"})
MOST_SAID = 300
FRESH_FOR = timedelta(minutes=2)  # a value frozen on the display; common practice, no source


@dataclass(frozen=True, slots=True, kw_only=True)
class Draft:
    """An entry before it has its number, link, time and actor."""

    kind: Kind
    trigger: str = ""
    step: str = ""
    said: str = ""
    outcome: str = ""
    instrument: str = ""
    values: tuple[Reading, ...] = ()
    taken: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Refusal:
    """It may not happen; `record` tells whether that is an entry of its own."""

    why: str
    record: bool = True


def stamp(now: datetime) -> str:
    """UTC, to the second, with `Z`."""
    return now.strftime("%Y-%m-%dT%H:%M:%SZ")


def due(account: Account, now: datetime, shift: timedelta) -> tuple[Draft, ...]:
    """What time itself takes: a clock that went back, the shift's end, gates that held long enough."""
    if account.ended:
        return ()
    offered = account.table.packed[account.position & NODE_MASK]
    if not now >= datetime.fromisoformat(account.time):
        return (
            _lost(
                "clock went back",
                offered,
                f"the clock shows {stamp(now)}; the entry before was made at {account.time}",
            ),
        )
    if not now - datetime.fromisoformat(account.shift) <= shift:
        return (_lost("shift ended", offered, ""),)
    gates: Any = account.table.data["gates"]
    drafts = []
    for key, held in account.held.items():
        trigger = f"lapsed@{key}"
        limit = timedelta(seconds=int(gates[key]["lifetime"]))
        if trigger in offered and not now - datetime.fromisoformat(held.since) <= limit:
            drafts.append(Draft(kind=Kind.LOST, trigger=trigger))
    return tuple(drafts[:1])


def _lost(event: str, offered: Mapping[str, object], note: str) -> Draft:
    return Draft(kind=Kind.LOST, trigger=event if event in offered else "", note=note or event)


def decide(account: Account, intent: Intent, view: View, *, now: datetime) -> tuple[Draft, ...] | Refusal:
    """The entries of an intent. Never raises for a well-typed intent."""
    offered = account.table.packed[account.position & NODE_MASK]
    match intent:
        case Begin(step=step):
            if step != view.step or f"begin@{_begin_name(view)}" not in offered:
                return Refusal(why="there is nothing to begin here", record=False)
            return (Draft(kind=Kind.BEGUN, trigger=f"begin@{_begin_name(view)}", step=view.step),)
        case Answer():
            return _answer(account, intent, view, offered, now)
        case Stop(how=how, why=why):
            if how not in {"pause", "unsafe", "emergency"}:
                return Refusal(why=f"'{how}' is not a way to stop: emergency, unsafe, pause", record=False)
            return (Draft(kind=Kind.STOPPED, trigger=how if how in offered else "", said=how, note=why),)
        case Happened(event=event, who=who):
            return _happened(account, event, who, offered)
        case Correct(step=step, why=why):
            if step not in account.answered or f"correct@{step}" not in offered:
                return Refusal(
                    why=f"'{step}' cannot be corrected here: answer what stands first, or it was not answered in this run"
                )
            return (Draft(kind=Kind.CORRECTED, trigger=f"correct@{step}", step=step, note=why),)
        case Found(words=words):
            if "found" not in offered:
                return (Draft(kind=Kind.NOTED, said=words[:MOST_SAID], note="found, and noted"),)
            return (Draft(kind=Kind.FOUND, trigger="found", step=view.step, said=words[:MOST_SAID]),)
        case GoOn(person=person, why=why):
            return _go_on(account, person, why, view, offered)
        case MakeSafe(person=person, why=why):
            if "make-safe" not in offered:
                return Refusal(why="nothing waits for that here", record=False)
            return (Draft(kind=Kind.RELEASED, trigger="make-safe", said=person, note=why),)
        case Resume(person=person):
            trigger = "interrupted" if view.mode in {"doing", "late"} or view.kind == "safe-doing" else ""
            return (
                Draft(
                    kind=Kind.INTERRUPTED if trigger else Kind.NOTED,
                    trigger=trigger,
                    step=view.step,
                    said=person,
                    note="taken up again",
                ),
            )
        case _:
            assert_never(intent)


def _begin_name(view: View) -> str:
    return view.node.replace(" ", ".") if view.mode == "safe" else view.step


def _happened(
    account: Account, event: str, who: str, offered: Mapping[str, object]
) -> tuple[Draft, ...] | Refusal:
    slots = [s for s, item in account.slots.items() if event in {f"{s} changed", f"{s} found bad"} and item]
    known = {"left site", "worker changed", "supervisor left", "shift ended"}
    if event not in known and not slots:
        return Refusal(
            why=f"'{event}' is not an event here: {', '.join(sorted(known))}, or an instrument in use that changed or was found bad",
            record=False,
        )
    if event == "worker changed" and who not in account.opened["people"]:
        return Refusal(why=f"'{who}' is not in the roster", record=False)
    return (
        Draft(
            kind=Kind.LOST,
            trigger=event if event in offered else "",
            said=who or (account.slots[slots[0]] if slots else ""),
            note=event,
        ),
    )


def _go_on(
    account: Account, person: str, why: str, view: View, offered: Mapping[str, object]
) -> tuple[Draft, ...] | Refusal:
    trigger = f"go-on@{view.step}"
    if trigger not in offered:
        return Refusal(why="nothing waits for that here", record=False)
    known = account.opened["people"].get(person)
    if known is None or known["qualified"] != "true":
        return Refusal(
            why=f"'{person}' is not shown as qualified for this equipment; only a qualified person says go on"
        )
    return (Draft(kind=Kind.RELEASED, trigger=trigger, step=view.step, said=person, note=why),)


# -- answers ---------------------------------------------------------------------------------------------


def _answer(
    account: Account, intent: Answer, view: View, offered: Mapping[str, object], now: datetime
) -> tuple[Draft, ...] | Refusal:
    if intent.step != view.step:
        return Refusal(why=f"the question now is '{view.step}', not '{intent.step}'", record=False)
    said = tuple(s.strip()[:MOST_SAID] for s in intent.said)
    if view.mode in {"reconcile", "safe"}:
        return _word(view, said, offered)
    if view.mode not in {"ask", "doing", "late"}:
        return Refusal(why="begin first" if view.mode == "ready" else "nothing is asked here", record=False)
    step = account.steps[view.step]
    taken = intent.taken or now
    if not timedelta(0) <= now - taken <= FRESH_FOR and step["kind"] == "reading":
        return Refusal(
            why=f"the value was taken {now - taken} ago; a value counts for two minutes. Read again."
        )
    drafted = _judge(account, view, step, said)
    if isinstance(drafted, Refusal):
        return drafted
    word = "answered-late" if view.mode == "late" else "answered"
    trigger = f"{word}@{view.step}={drafted.outcome}"
    if trigger not in offered:
        raise BrokenError(f"'{trigger}' is not offered at '{view.node}'")
    changed = _slot_change(account, step, drafted, offered)
    answer = Draft(
        kind=Kind.ANSWERED,
        trigger=trigger,
        step=view.step,
        said=drafted.said,
        outcome=drafted.outcome,
        instrument=drafted.instrument,
        values=drafted.values,
        taken=stamp(taken),
        note=drafted.note,
    )
    return (changed, answer) if changed else (answer,)


def _slot_change(
    account: Account, step: Mapping[str, Any], draft: Draft, offered: Mapping[str, object]
) -> Draft | None:
    """Another instrument in a slot that is in use: what hung on the first one is lost before the answer."""
    if step["kind"] != "gear" or draft.outcome != "suits":
        return None
    slot = step["slot"]
    if account.slots.get(slot, draft.said) == draft.said or f"{slot} changed" not in offered:
        return None
    return Draft(kind=Kind.LOST, trigger=f"{slot} changed", said=draft.said, note=f"{slot} changed")


def _word(view: View, said: tuple[str, ...], offered: Mapping[str, object]) -> tuple[Draft, ...] | Refusal:
    word = _pick(said[0] if said else "", view.options)
    trigger = next((t for t in offered if t.startswith("answered@") and t.partition("=")[2] == word), "")
    if not trigger and view.mode == "safe" and word == "done":
        return Refusal(why="begin first", record=False)
    if not trigger:
        return Refusal(why=f"one of: {', '.join(view.options)}", record=False)
    return (Draft(kind=Kind.ANSWERED, trigger=trigger, step=view.step, said=word, outcome=word),)


def _pick(text: str, options: tuple[str, ...]) -> str:
    """An option by its number or its words."""
    if text.isascii() and text.isdigit() and 1 <= int(text) <= len(options):
        return options[int(text) - 1]
    return text.lower() if text.lower() in options else text


def _judge(account: Account, view: View, step: Mapping[str, Any], said: tuple[str, ...]) -> Draft | Refusal:
    text = said[0] if said else ""
    match step["kind"]:
        case "action":
            if text.lower() not in {"done", "cannot"}:
                return Refusal(why="done, or cannot", record=False)
            return Draft(kind=Kind.ANSWERED, said=text, outcome=text.lower())
        case "confirm":
            return _confirm(step, text)
        case "choice":
            word = _pick(text, view.options)
            if word not in view.options:
                return Refusal(why=f"one of: {', '.join(view.options)}", record=False)
            return Draft(kind=Kind.ANSWERED, said=word, outcome=word)
        case "reading":
            return _reading(account, step, said)
        case "gear":
            return _gear(account, step, _pick(text, view.options))
        case _:
            return _person(account, step, _pick(text, view.options))


def _confirm(step: Mapping[str, Any], text: str) -> Draft | Refusal:
    if text.lower() == "cannot":
        return Draft(kind=Kind.ANSWERED, said=text, outcome="cannot")
    if text.lower() in BARE or (len(text) == 1 and not text.isdigit()):
        return Refusal(why=f"say what you see: {step.get('by', 'a value')}", record=False)
    return Draft(kind=Kind.ANSWERED, said=text, outcome="confirmed")


def _reading(account: Account, step: Mapping[str, Any], said: tuple[str, ...]) -> Draft | Refusal:
    instrument = account.slots.get(step["slot"], "")
    if said and said[0].lower() == "cannot":
        return Draft(
            kind=Kind.ANSWERED,
            said="cannot",
            outcome=NOT_DECIDED,
            instrument=instrument,
            note="cannot be measured",
        )
    points = points_of(account.opened, step)
    if len(said) != len(points):
        return Refusal(why=f"{len(points)} values are needed: {', '.join(points)}", record=False)
    names = names_for(account.opened, account.slots, step, account.table.data)
    try:
        judged = judge_reading(
            step,
            tuple(zip(points, said, strict=True)),
            accuracy_of(account.opened, account.slots, step),
            names,
        )
    except QuantityError as error:
        return Refusal(why=f"{error}. Give a number in {step['unit']}, or OL")
    return Draft(
        kind=Kind.ANSWERED,
        said="; ".join(said),
        outcome=judged.outcome,
        instrument=instrument,
        values=judged.values,
        note=judged.why,
    )


def _gear(account: Account, step: Mapping[str, Any], text: str) -> Draft | Refusal:
    item = text.split(" ", maxsplit=1)[0].upper() if text else ""
    known = account.opened["gear"].get(item)
    if known is None:
        return Refusal(why=f"'{text}' is not in the gear register")
    if step["slot"] not in known["slots"]:
        return Refusal(why=f"{item} ({known['label']}) is not registered as {step['slot'].replace('-', ' ')}")
    names = names_for(account.opened, {**account.slots, step["slot"]: item}, step, account.table.data)
    names |= {f"gear.{n.partition('.')[2]}": v for n, v in names.items() if n.startswith(f"{step['slot']}.")}
    if item in found_bad(account):
        names["gear.withdrawn"] = True
    unmet, otherwise = first_unmet(step["suits"], names)
    if not unmet:
        return Draft(kind=Kind.ANSWERED, said=item, outcome="suits", instrument=item)
    fit = [
        i
        for i, g in account.opened["gear"].items()
        if step["slot"] in g["slots"]
        and i not in found_bad(account)
        and not first_unmet(step["suits"], _as_gear(account, step, i))[0]
    ]
    others = (
        f" In the register that would do: {', '.join(fit)}." if fit else " Nothing in the register would do."
    )
    return Draft(
        kind=Kind.ANSWERED,
        said=item,
        outcome=NOT_DECIDED,
        instrument=item,
        note=f"{item} is {known['label']}. {otherwise}{others}",
    )


def _as_gear(account: Account, step: Mapping[str, Any], item: str) -> Mapping[str, Value]:
    names = names_for(account.opened, {**account.slots, step["slot"]: item}, step, account.table.data)
    return names | {
        f"gear.{n.partition('.')[2]}": v for n, v in names.items() if n.startswith(f"{step['slot']}.")
    }


def found_bad(account: Account) -> frozenset[str]:
    """What was found bad in this run stays out of use in it. Source: 29 CFR 1910.334(c)(2)."""
    return frozenset(e.said for e in account.entries if e.kind is Kind.LOST and e.note.endswith(" found bad"))


def _person(account: Account, step: Mapping[str, Any], text: str) -> Draft | Refusal:
    person = text.split(" ", maxsplit=1)[0].upper() if text else ""
    known = account.opened["people"].get(person)
    if known is None:
        return Refusal(why=f"'{text}' is not in the roster")
    names: dict[str, Value] = {
        "person.qualified-here": known["qualified"] == "true",
        "person.role": known["role"],
        "person.is-worker": person == account.worker,
    }
    unmet, otherwise = first_unmet(step["suits"], names)
    if unmet:
        return Draft(
            kind=Kind.ANSWERED, said=person, outcome=NOT_DECIDED, note=f"{known['name']}: {otherwise}"
        )
    return Draft(kind=Kind.ANSWERED, said=person, outcome="named")
