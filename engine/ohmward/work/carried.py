"""What needs no asking: gear in use, people named, facts known. Judged again for each new place, never ticked."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from ohmward.account.check import signature_wanted
from ohmward.account.judge import first_unmet
from ohmward.account.names import gear_as_picked, people_names
from ohmward.account.state import Account
from ohmward.account.used import judge_used, uses_others
from ohmward.record.entry import Kind
from ohmward.work.draft import Draft, stamp
from ohmward.work.intents import Begin
from ohmward.work.screenful import View


def carried(account: Account, view: View, now: datetime) -> Draft | None:
    """The entry of an answer that is known already and good enough here; None where somebody must be asked.

    An event that could have changed it (another worker, left site, changed or bad gear, end of shift) took it
    out of use before; what is not good enough for this circuit is asked for.
    """
    if view.mode != "ask":
        return None
    step = account.steps[view.step]
    if uses_others(step):
        return _worked_out(account, view, step, now)
    return _known(account, view, step, stamp(now)[:10])


def _known(account: Account, view: View, step: Mapping[str, Any], day: str) -> Draft | None:
    match step["kind"]:
        case "gear":
            item = account.slots.get(step["slot"], "")
            if item and not first_unmet(step["suits"], gear_as_picked(account, step, item, day))[0]:
                return _draft(view, "suits", item, "as before: in use and good enough here", instrument=item)
        case "person":
            known = {"supervisor": account.supervisor, "second": account.second}
            person = known.get(step.get("role", ""), "")
            signs = bool(person) and signature_wanted(account, step, person, "named")
            if person and not signs and not first_unmet(step["suits"], people_names(account, person, day))[0]:
                return _draft(view, "named", person, "as before: here since then")
        case "fact":
            said: Any = account.opened["job"]["facts"].get(step["fact"], "")
            if said:
                text = said if isinstance(said, str) else ", ".join(said)
                return _draft(view, "known", text, "as before: the job sheet says it")
    return None


def _worked_out(account: Account, view: View, step: Mapping[str, Any], now: datetime) -> Draft:
    """What comes of readings that stand in the record already: nobody is asked."""
    used = judge_used(account, step, now)
    return Draft(
        kind=Kind.ANSWERED,
        trigger=f"answered@{view.step}={used.judged.outcome}",
        step=view.step,
        said="; ".join(v.said for v in used.judged.values) or "nothing",
        outcome=used.judged.outcome,
        instrument=used.instrument,
        values=used.judged.values,
        taken=used.taken,
        note=f"as read before: {used.judged.outcome}, {used.judged.why}",
    )


def _draft(view: View, outcome: str, said: str, note: str, *, instrument: str = "") -> Draft:
    return Draft(
        kind=Kind.ANSWERED,
        trigger=f"answered@{view.step}={outcome}",
        step=view.step,
        said=said,
        outcome=outcome,
        instrument=instrument,
        note=note,
    )


def continues(account: Account, before: View, view: View) -> Begin | None:
    """The next deed at the same place, the hands or probes where they are: it is begun by itself.

    Only where it raises nothing, and puts in no hands that were not in.
    """
    if view.mode != "ready" or before.mode != "doing" or before.kind == "safe-doing":
        return None
    old, new = account.steps[before.step], account.steps[view.step]
    same = bool(new["place"]) and new["place"] == old["place"]
    exposed = bool(old["probes"] or old["hands"])
    more_hands = bool(new["hands"]) and not old["hands"]
    if not same or not exposed or more_hands or new["begun"] or new["near"]:
        return None
    return Begin(step=view.step)
