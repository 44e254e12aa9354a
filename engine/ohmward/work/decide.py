"""From an intent to the entries that record it, or the reason why it may not happen. Pure: `now` is handed in."""

from datetime import datetime
from typing import assert_never

from ohmward.account.check import due as due_at
from ohmward.account.check import foreign_locks
from ohmward.account.names import people_names
from ohmward.account.state import Account
from ohmward.chart.table import NODE_MASK
from ohmward.language.effects import SECOND_LEFT
from ohmward.record.entry import Kind
from ohmward.work.answering import MOST_SAID, Offered, decide_answer
from ohmward.work.draft import Draft, Refusal, stamp
from ohmward.work.intents import (
    Answer,
    Begin,
    Correct,
    Found,
    GoOn,
    Happened,
    Intent,
    LeaveOut,
    MakeSafe,
    Resume,
    Retyped,
    Stop,
)
from ohmward.work.screenful import View

TYPED_AGAIN = "typed, and typed again"
EVENTS = ("left site", "worker changed", "supervisor left", SECOND_LEFT, "shift ended")


def due(account: Account, now: datetime) -> tuple[Draft, ...]:
    """What time itself takes, one entry at a time: a clock that went back, the shift's end, a gate that lapsed."""
    offered = account.table.packed[account.position & NODE_MASK]
    return tuple(
        Draft(
            kind=Kind.LOST,
            trigger=trigger if trigger in offered else "",
            note=f"{trigger}: {why}" if why else _plain(trigger),
        )
        for trigger, why in due_at(account, now)[:1]
    )


def _plain(trigger: str) -> str:
    return "" if trigger.startswith("lapsed@") else trigger


def decide(account: Account, intent: Intent, view: View, *, now: datetime) -> tuple[Draft, ...] | Refusal:
    """The entries of an intent. Never raises for a well-typed intent."""
    offered = account.table.packed[account.position & NODE_MASK]
    match intent:
        case Answer():
            return decide_answer(account, intent, view, offered, now)
        case Begin() | Stop() | Resume():
            return _deed(account, intent, view, offered)
        case Happened(event=event, who=who):
            return _happened(account, event, who, offered)
        case Correct() | Found():
            return _said(account, intent, view, offered)
        case Retyped(step=step, said=said):
            words = "; ".join(said)[:MOST_SAID]
            return (Draft(kind=Kind.NOTED, step=step, said=words, note=TYPED_AGAIN),)
        case GoOn() | MakeSafe() | LeaveOut():
            return _released(account, intent, view, offered, now)
        case _:
            assert_never(intent)


def _deed(
    account: Account, intent: Begin | Stop | Resume, view: View, offered: Offered
) -> tuple[Draft, ...] | Refusal:
    match intent:
        case Begin(step=step):
            trigger = f"begin@{view.node.replace(' ', '.') if view.mode == 'safe' else view.step}"
            if step != view.step or trigger not in offered:
                return Refusal(why="there is nothing to begin here", record=False)
            owners = _foreign_locks(account, view.step)
            if owners:
                return Refusal(
                    why=f"the lock is on by {owners}: it is taken off by its owner, or under their direct supervision (29 CFR 1910.333(b)(2)(v)(C))"
                )
            return (Draft(kind=Kind.BEGUN, trigger=trigger, step=view.step),)
        case Stop(how=how, why=why):
            if how not in {"pause", "unsafe", "emergency"}:
                return Refusal(why=f"'{how}' is not a way to stop: emergency, unsafe, pause", record=False)
            return (Draft(kind=Kind.STOPPED, trigger=how if how in offered else "", said=how, note=why),)
        case Resume(person=person):
            under_way = view.mode in {"doing", "late"} or view.kind == "safe-doing"
            kind = Kind.INTERRUPTED if under_way else Kind.NOTED
            trigger = "interrupted" if under_way else ""
            return (Draft(kind=kind, trigger=trigger, step=view.step, said=person, note="taken up again"),)


def _foreign_locks(account: Account, step: str) -> str:
    """The owners of other people's locks, by name."""
    people = account.opened["people"]
    return ", ".join(f"{people[p]['name']} ({p})" if p in people else p for p in foreign_locks(account, step))


def _happened(account: Account, event: str, who: str, offered: Offered) -> tuple[Draft, ...] | Refusal:
    slot = next((s for s in account.slots if event in {f"{s} changed", f"{s} found bad"}), "")
    if event not in EVENTS and not slot:
        why = f"'{event}' is not an event here: {', '.join(EVENTS)}, or an instrument in use that changed or was found bad"
        return Refusal(why=why, record=False)
    if event == "worker changed" and who not in account.opened["people"]:
        return Refusal(why=f"'{who}' is not in the roster", record=False)
    bad = event.endswith(" found bad")
    item = account.slots.get(slot, "") if bad else who
    others = [s for s, i in account.slots.items() if bad and i == item and s != slot]
    return tuple(
        Draft(kind=Kind.LOST, trigger=e if e in offered else "", said=item, note=e)
        for e in (event, *(f"{s} found bad" for s in others))
    )


def _said(
    account: Account, intent: Correct | Found, view: View, offered: Offered
) -> tuple[Draft, ...] | Refusal:
    match intent:
        case Correct(step=step, why=why):
            if step not in account.answered or f"correct@{step}" not in offered:
                return Refusal(
                    why=f"'{step}' cannot be corrected here: answer what stands first, or it was not answered in this run"
                )
            return (Draft(kind=Kind.CORRECTED, trigger=f"correct@{step}", step=step, note=why[:MOST_SAID]),)
        case Found(words=words):
            if "found" not in offered:
                return (Draft(kind=Kind.NOTED, said=words[:MOST_SAID], note="found, and noted"),)
            return (Draft(kind=Kind.FOUND, trigger="found", step=view.step, said=words[:MOST_SAID]),)


def _released(
    account: Account, intent: GoOn | MakeSafe | LeaveOut, view: View, offered: Offered, now: datetime
) -> tuple[Draft, ...] | Refusal:
    words = {GoOn: f"go-on@{view.step}", LeaveOut: f"leave-out@{view.step}"}
    trigger = words.get(type(intent), "make-safe")
    if trigger not in offered:
        return Refusal(why="nothing waits for that here", record=False)
    if not isinstance(intent, MakeSafe):
        known = intent.person in account.opened["people"]
        if (
            not known
            or people_names(account, intent.person, stamp(now)[:10])["person.qualified-here"] is not True
        ):
            return Refusal(
                why=f"'{intent.person}' is not shown as qualified for this equipment; only a qualified person says how to go on"
            )
    return (
        Draft(
            kind=Kind.RELEASED,
            trigger=trigger,
            step=view.step,
            said=intent.person,
            note=intent.why[:MOST_SAID],
        ),
    )
