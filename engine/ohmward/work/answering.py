"""What a person said, judged: an outcome with its reason, or why it is no answer. Pure."""

from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any

from ohmward.account.answers import PICTURE, forbidden_option, may_sign, together
from ohmward.account.facts import check_fact
from ohmward.account.judge import NOT_DECIDED, first_unmet
from ohmward.account.moments import moment
from ohmward.account.names import accuracy_of, gear_as_picked, measures_of, names_for, people_names
from ohmward.account.pair import (
    by_two,
    has_both,
    judge_values,
    points_for,
    reports,
    short_of,
)
from ohmward.account.state import Account
from ohmward.errors import BrokenError
from ohmward.record.entry import Kind
from ohmward.trade.quantity import QuantityError, parse_quantity
from ohmward.work.draft import Draft, Refusal, stamp
from ohmward.work.intents import Answer
from ohmward.work.screenful import View
from ohmward.work.two_readers import by_one, seconds_own

BARE = frozenset({"", "yes", "ok", "okay", "done", "ja", "true"})
MOST_SAID = 300
FRESH_FOR = timedelta(minutes=2)  # a value frozen on the display; common practice, no source
Offered = Mapping[str, object]


def decide_answer(
    account: Account, intent: Answer, view: View, offered: Offered, now: datetime
) -> tuple[Draft, ...] | Refusal:
    """The entries of an answer. Raises BrokenError when the table does not take an outcome that it declares."""
    if intent.step != view.step:
        return Refusal(why=f"the question now is '{view.step}', not '{intent.step}'", record=False)
    said = tuple(s.strip()[:MOST_SAID] for s in (*intent.said, *intent.second))
    if view.mode in {"reconcile", "safe"}:
        return _word(view, said, offered)
    if view.mode not in {"ask", "doing", "late"}:
        return Refusal(why="begin first" if view.mode == "ready" else "nothing is asked here", record=False)
    step = account.steps[view.step]
    taken = intent.taken or now
    untimely = _untimely(account, step, taken, now)
    if untimely:
        return Refusal(why=untimely)
    alone = by_one(account, step, intent)
    if alone:
        return Refusal(why=alone, record=False)
    judge = _for_each_supply if view.several else _judge
    drafted = judge(account, view, step, said, now)
    if isinstance(drafted, Refusal):
        return drafted
    trigger = f"{'answered-late' if view.mode == 'late' else 'answered'}@{view.step}={drafted.outcome}"
    if trigger not in offered:
        raise BrokenError(f"'{trigger}' is not offered at '{view.node}'")
    note = "; ".join(n for n in (drafted.note, _too_long(account, step, now)) if n)
    answer = Draft(
        kind=Kind.ANSWERED,
        trigger=trigger,
        step=view.step,
        said=drafted.said,
        outcome=drafted.outcome,
        instrument=drafted.instrument,
        values=drafted.values,
        taken=stamp(taken),
        note=note,
    )
    before = _slot_change(account, step, drafted, offered) or seconds_own(account, step, answer)
    return (before, answer) if before else (answer,)


def _untimely(account: Account, step: Mapping[str, Any], taken: datetime, now: datetime) -> str:
    """A value counts for two minutes, not from before its deed was begun, and not before its waiting time."""
    fresh = FRESH_FOR * 5 if by_two(step) else FRESH_FOR  # another reads the same points meanwhile: ours
    if step["kind"] == "reading" and not timedelta(0) <= now - taken <= fresh:
        return f"the value was taken {now - taken} ago; a value counts for {fresh.seconds // 60} minutes. Read again."
    if account.begun and not moment(account.begun) <= taken + timedelta(seconds=1):
        return "the value was taken before the step was begun. Read again."
    if account.begun and "wait" in step:
        left = parse_quantity(step["wait"]).base - int((now - moment(account.begun)).total_seconds())
        if left > 0:
            return f"this takes {step['wait']}: {left} s more"
    return ""


def _too_long(account: Account, step: Mapping[str, Any], now: datetime) -> str:
    """What is said when a deed lasted longer than it may."""
    most = step.get("momentary") or step.get("at_most")
    if not account.begun or most is None:
        return ""
    lasted = int((now - moment(account.begun)).total_seconds())
    allowed = int(parse_quantity(most).base) + (10 if "momentary" in step else 0)  # time to type the answer
    return f"told {lasted} s after it was begun; at most {most}" if lasted > allowed else ""


def _slot_change(account: Account, step: Mapping[str, Any], draft: Draft, offered: Offered) -> Draft | None:
    """Another instrument in a slot that is in use: what hung on the first one is lost before the answer."""
    if step["kind"] != "gear" or draft.outcome != "suits":
        return None
    event = f"{step['slot']} changed"
    if account.slots.get(step["slot"], draft.said) == draft.said or event not in offered:
        return None
    return Draft(kind=Kind.LOST, trigger=event, said=draft.said, note=event)


def _word(view: View, said: tuple[str, ...], offered: Offered) -> tuple[Draft, ...] | Refusal:
    word = pick(said[0] if said else "", view.options)
    trigger = next((t for t in offered if t.startswith("answered@") and t.partition("=")[2] == word), "")
    if not trigger and view.mode == "safe" and word == "done":
        return Refusal(why="begin first", record=False)
    if not trigger:
        return Refusal(why=f"one of: {', '.join(view.options)}", record=False)
    return (Draft(kind=Kind.ANSWERED, trigger=trigger, step=view.step, said=word, outcome=word),)


def pick(text: str, options: tuple[str, ...]) -> str:
    """An option by its words, else by its number."""
    if text.casefold() in options:
        return text.casefold()
    if text.isascii() and text.isdigit() and 1 <= int(text[:4]) <= len(options):
        return options[int(text[:4]) - 1]
    return text


def _id(text: str, known: Mapping[str, Any], options: tuple[str, ...]) -> str:
    """An id as it stands in the register: what is written on the thing comes before a place in the list."""
    wanted = text.casefold()
    exact = next((i for i in known if i.casefold() == wanted), "")
    return exact or pick(text, options).partition(" ")[0]


def _judge(
    account: Account, view: View, step: Mapping[str, Any], said: tuple[str, ...], now: datetime
) -> Draft | Refusal:
    text, day = (said[0] if said else ""), stamp(now)[:10]
    match step["kind"]:
        case "action":
            if text.casefold() not in {"done", "cannot"}:
                return Refusal(why="done, or cannot", record=False)
            return Draft(kind=Kind.ANSWERED, said=text, outcome=text.casefold())
        case "confirm":
            return _confirm(step, text)
        case "choice":
            return _choice(account, view, step, pick(text, view.options), day)
        case "reading":
            return _reading(account, step, said, day)
        case "fact":
            return _fact(account, step, text)
        case "photo":
            return _photo(text)
        case _:
            return _from_a_list(account, view, step, text, day)


def _for_each_supply(
    account: Account, view: View, step: Mapping[str, Any], said: tuple[str, ...], now: datetime
) -> Draft | Refusal:
    """An answer for each supply; together they are one. Done is done for all of them."""
    words = tuple(pick(text.casefold(), view.options) for text in said)
    known = view.options or ("done", "cannot")
    if len(words) != len(view.several) or any(w not in known for w in words):
        listed = "; ".join(view.several)
        return Refusal(why=f"one answer for each of: {listed} - {', '.join(known)}", record=False)
    outcome = together(step, words)
    day = stamp(now)[:10]
    forbidden = [forbidden_option(account, step, w, day) for w in words if w in step.get("only_if", {})]
    against = next((f for f in forbidden if f), "")
    return (
        Refusal(why=against) if against else Draft(kind=Kind.ANSWERED, said="; ".join(words), outcome=outcome)
    )


def _from_a_list(
    account: Account, view: View, step: Mapping[str, Any], text: str, day: str
) -> Draft | Refusal:
    """Gear and people, by what is written on the thing or by their id."""
    known = account.opened["gear" if step["kind"] == "gear" else "people"]
    judge = {"gear": _gear, "sign": _sign}.get(step["kind"], _person)
    return judge(account, step, _id(text, known, view.options), day)


def _choice(account: Account, view: View, step: Mapping[str, Any], word: str, day: str) -> Draft | Refusal:
    if word not in view.options:
        return Refusal(why=f"one of: {', '.join(view.options)}", record=False)
    limited = word in step.get("only_if", {})
    forbidden = forbidden_option(account, step, word, day) if limited else ""
    return Refusal(why=forbidden) if forbidden else Draft(kind=Kind.ANSWERED, said=word, outcome=word)


def _confirm(step: Mapping[str, Any], text: str) -> Draft | Refusal:
    if text.casefold() == "cannot":
        return Draft(kind=Kind.ANSWERED, said=text, outcome="cannot")
    if text.casefold() in BARE or (len(text) == 1 and not text.isdigit()):
        return Refusal(why=f"say what you see: {step.get('by', 'a value')}", record=False)
    return Draft(kind=Kind.ANSWERED, said=text, outcome="confirmed")


def _fact(account: Account, step: Mapping[str, Any], text: str) -> Draft | Refusal:
    if text.casefold() == "cannot":
        return Draft(kind=Kind.ANSWERED, said=text, outcome=NOT_DECIDED, note="it cannot be read")
    try:
        kept = check_fact(account.table, step["fact"], text)
    except QuantityError as error:
        return Refusal(why=str(error))
    return Draft(kind=Kind.ANSWERED, said=kept if isinstance(kept, str) else ", ".join(kept), outcome="known")


def _photo(text: str) -> Draft | Refusal:
    if text.casefold() == "cannot":
        return Draft(kind=Kind.ANSWERED, said=text, outcome="cannot")
    if PICTURE.fullmatch(text) is None:
        return Refusal(why="a picture is told by its digest: sha256:… and its name", record=False)
    return Draft(kind=Kind.ANSWERED, said=text, outcome="taken")


def _sign(account: Account, step: Mapping[str, Any], person: str, day: str) -> Draft | Refusal:
    known = account.opened["people"].get(person)
    if known is None:
        return Refusal(why=f"'{person}' is not in the roster")
    unmet, otherwise = first_unmet(step["suits"], people_names(account, person, day))
    against = may_sign(account, step, person, day) or (otherwise if unmet else "")
    if against:
        return Refusal(why=f"{known['name']}: {against}")
    how = "by key" if account.by_key else "by id; not by a key"
    return Draft(kind=Kind.ANSWERED, said=person, outcome="signed", note=f"{step['means']}, {how}")


def _reading(account: Account, step: Mapping[str, Any], said: tuple[str, ...], day: str) -> Draft | Refusal:
    instrument = account.slots.get(step["slot"], "")
    if said and said[0].casefold() == "cannot":
        return Draft(
            kind=Kind.ANSWERED,
            said="cannot",
            outcome=NOT_DECIDED,
            instrument=instrument,
            note="cannot be measured",
        )
    names = names_for(account.opened, account.slots, step, account.table.data, day)
    other_cannot = by_two(step) and len(said) > 1 and said[-1].casefold() == "cannot"
    said = said[:-1] if other_cannot else said
    whole = measures_of(account.opened, step, names)
    measures = points_for(whole, len(said))
    points = tuple(point for point, _ in measures)
    if not 0 < len(said) <= len(whole):
        return _needed(whole)
    accuracies = [accuracy_of(account.opened, account.slots, step, function) for _, function in measures]
    try:
        judged = judge_values(step, tuple(zip(points, said, strict=True)), accuracies, names)
    except QuantityError as error:
        return Refusal(why=f"{error}. Give a number in {step['unit']}, or OL")
    if short_of(step, judged.outcome, len(said), len(whole)):
        return _needed(whole)
    if by_two(step) and not (other_cannot or has_both(judged.values) or reports(step, judged.outcome)):
        why = f"two people read this: as many values by {account.second} as by {account.worker}. In a file: say: [ … ] and second: [ … ]"
        return Refusal(why=why, record=False)
    return Draft(
        kind=Kind.ANSWERED,
        said="; ".join(said),
        outcome=judged.outcome,
        instrument=instrument,
        values=judged.values,
        note=judged.why,
    )


def _needed(whole: tuple[tuple[str, str], ...]) -> Refusal:
    listed = ", ".join(point for point, _ in whole)
    return Refusal(
        why=f"{len(whole)} values are needed, in this order: {listed}. In a file: say: [ … , … ]", record=False
    )


def _gear(account: Account, step: Mapping[str, Any], item: str, day: str) -> Draft | Refusal:
    gear = account.opened["gear"]
    known = gear.get(item)
    if known is None:
        return Refusal(why=f"'{item}' is not in the gear register")
    if step["slot"] not in known["slots"]:
        return Refusal(why=f"{item} ({known['label']}) is not registered as {step['slot'].replace('-', ' ')}")
    unmet, otherwise = first_unmet(step["suits"], gear_as_picked(account, step, item, day))
    if not unmet:
        return Draft(kind=Kind.ANSWERED, said=item, outcome="suits", instrument=item)
    fit = [
        i
        for i, g in gear.items()
        if step["slot"] in g["slots"]
        and not first_unmet(step["suits"], gear_as_picked(account, step, i, day))[0]
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


def _person(account: Account, step: Mapping[str, Any], person: str, day: str) -> Draft | Refusal:
    known = account.opened["people"].get(person)
    if known is None:
        return Refusal(why=f"'{person}' is not in the roster")
    unmet, otherwise = first_unmet(step["suits"], people_names(account, person, day))
    if unmet:
        return Draft(
            kind=Kind.ANSWERED, said=person, outcome=NOT_DECIDED, note=f"{known['name']}: {otherwise}"
        )
    return Draft(kind=Kind.ANSWERED, said=person, outcome="named")
