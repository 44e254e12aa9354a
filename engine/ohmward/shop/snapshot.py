"""The shop's files as plain text values, as a run's first entry carries them. Pure."""

from collections.abc import Mapping
from datetime import date, timedelta
from typing import Any

from ohmward.shop.models import Gear, Job, Person, Register, Roster, Supply
from ohmward.trade.instruments import lowest_rating
from ohmward.trade.quantity import parse_quantity
from ohmward.trade.shock import GLOVE_USE_VOLTAGE, last_day_of_gloves, months_after


def gear_names(gear: Gear, *, bad: bool) -> dict[str, str]:
    """What limits may ask of one thing; what the register does not say is left out, and permits nothing."""
    names = {"withdrawn": "true" if bad or gear.withdrawn != "no" else "false"}
    if gear.category is not None and gear.voltage is not None:
        parts = [(gear.category, parse_quantity(gear.voltage))]
        parts += [
            (part.category, parse_quantity(part.voltage))
            for part in (gear.leads, gear.probes)
            if part is not None
        ]
        category, voltage = lowest_rating(tuple(parts))
        names |= {"category": str(category), "voltage": str(voltage)}
    elif gear.voltage is not None:
        names["voltage"] = gear.voltage
    for word, value in (("own-voltage", gear.own_voltage), ("fuse", gear.fuse)):
        if value is not None:
            names[word] = value
    if gear.glove_class is not None:
        names["use-voltage"] = str(GLOVE_USE_VOLTAGE[gear.glove_class])
    return names


def gear_dates(gear: Gear) -> list[str]:
    """First and last day on which it is in date; empty when the register does not say."""
    if gear.glove_class is not None:
        if gear.tested is None:
            return []
        tested = date.fromisoformat(gear.tested)
        last = last_day_of_gloves(tested, issued=gear.first_issued is not None)
        if gear.used_bare is not None and gear.used_bare >= gear.tested:
            last = min(last, date.fromisoformat(gear.used_bare) - timedelta(days=1))
        return [gear.tested, last.isoformat()]
    if gear.calibrated is None:
        return []
    return [gear.calibrated, months_after(date.fromisoformat(gear.calibrated), gear.months).isoformat()]


def came_back(gear: Gear, bad_on: str, today: str) -> bool:
    """Whether a thing came back in order after the day on which it was found bad or recalled; not on a day to come."""
    return gear.returned is not None and bad_on < gear.returned <= today


def gear_snapshot(register: Register, found_bad: Mapping[str, str], today: str = "") -> dict[str, Any]:
    """Every thing by its id; `found_bad` gives the day on which a run found one bad, unless it came back by `today`."""
    made = {}
    for g in register.gear:
        bad = g.id in found_bad and not came_back(g, found_bad[g.id], today)
        made[g.id] = {
            "label": g.label,
            "slots": list(g.slots),
            "names": gear_names(g, bad=bad),
            "dates": gear_dates(g),
            "accuracy": {
                f: {"percent": a.percent, "counts": str(a.counts), "resolution": a.resolution}
                | ({"up_to": a.up_to} if a.up_to else {})
                for f, a in g.accuracy.items()
            },
        }
    return made


def people_snapshot(roster: Roster, job: Job, procedure: str) -> dict[str, Any]:
    """Everyone by id, with whether the roster shows them as qualified for this equipment and this task."""
    return {
        p.id: {
            "name": p.name,
            "role": p.role,
            "qualified": "true" if _qualified(p, job.kind, procedure) else "false",
            "until": p.until or "",
        }
        for p in roster.people
    }


def _qualified(person: Person, kind: str, procedure: str) -> bool:
    """29 CFR 1910.399: per equipment and task; an apprentice never by themselves."""
    trained = kind in person.qualified_for and (not person.tasks or procedure in person.tasks)
    return person.role != "apprentice" and trained


def job_snapshot(job: Job) -> dict[str, Any]:
    """The job sheet as text."""
    return {
        "job": job.job,
        "site": job.site,
        "address": job.address,
        "equipment": job.equipment,
        "kind": job.kind,
        "complaint": job.complaint,
        "emergency": {"cut_power": job.emergency.cut_power, "call": job.emergency.call},
        "people": {
            "worker": job.people.worker,
            **({"supervisor": job.people.supervisor} if job.people.supervisor else {}),
        },
        "facts": {n: v if isinstance(v, str) else list(v) for n, v in job.facts.items()},
        "circuits": {n: _circuit(c) for n, c in job.circuits.items()}
        | {n: _worst_of(s) for n, s in job.supplies.items() if s},
        **(
            {"supplies": {n: [_supply(s) for s in several] for n, several in job.supplies.items()}}
            if job.supplies
            else {}
        ),
    }


def _supply(supply: Supply) -> dict[str, Any]:
    return {"label": supply.label, "means": supply.means, "conductors": list(supply.conductors)}


def _worst_of(supplies: tuple[Supply, ...]) -> dict[str, Any]:
    """Several supplies as the one that stands for all: of each number the highest."""

    def most(word: str) -> str:
        return str(max((parse_quantity(getattr(s, word)) for s in supplies), key=lambda q: q.base))

    known: dict[str, Any] = {
        "to-ground": most("to_ground"),
        "phase-to-phase": most("phase_to_phase"),
        "category": str(max(s.category for s in supplies)),
        "protection": most("protection"),
        "conductors": [f"{s.label}: {c}" for s in supplies for c in s.conductors],
    }
    if all(s.can_hold_dc == "no" for s in supplies):
        known["can-hold-dc"] = "false"
    return known


def _circuit(circuit: Any) -> dict[str, Any]:  # noqa: ANN401  a Circuit
    known = {
        "to-ground": circuit.to_ground,
        "phase-to-phase": circuit.phase_to_phase,
        "category": str(circuit.category),
        "protection": circuit.protection,
        "conductors": list(circuit.conductors),
    }
    if circuit.frequency:
        known["frequency"] = circuit.frequency
    if circuit.can_hold_dc:
        known["can-hold-dc"] = "true" if circuit.can_hold_dc == "yes" else "false"
    return known
