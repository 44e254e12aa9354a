"""The shop's files as plain text values, as a run's first entry carries them. Pure: the day is handed in."""

from datetime import date
from typing import Any

from ohmward.shop.models import Gear, Job, Person, Register, Roster
from ohmward.trade.instruments import lowest_rating
from ohmward.trade.quantity import parse_quantity
from ohmward.trade.shock import GLOVE_USE_VOLTAGE, gloves_in_test, months_after


def gear_names(gear: Gear, today: date) -> dict[str, str]:
    """What limits may ask of one thing; what the register does not say is left out, and permits nothing."""
    names = {"withdrawn": "false" if gear.withdrawn == "no" else "true"}
    if gear.category is not None and gear.voltage is not None:
        parts = [(gear.category, parse_quantity(gear.voltage))]
        if gear.leads is not None:
            parts.append((gear.leads.category, parse_quantity(gear.leads.voltage)))
        category, voltage = lowest_rating(tuple(parts))
        names |= {"category": str(category), "voltage": str(voltage)}
    elif gear.voltage is not None:
        names["voltage"] = gear.voltage
    for word, value in (("own-voltage", gear.own_voltage), ("fuse", gear.fuse)):
        if value is not None:
            names[word] = value
    if gear.glove_class is not None:
        names["use-voltage"] = str(GLOVE_USE_VOLTAGE[gear.glove_class])
    in_date = _in_date(gear, today)
    if in_date is not None:
        names["in-date"] = "true" if in_date else "false"
    return names


def _in_date(gear: Gear, today: date) -> bool | None:
    if gear.glove_class is not None and gear.tested is not None:
        issued = date.fromisoformat(gear.first_issued) if gear.first_issued else None
        return gloves_in_test(tested=date.fromisoformat(gear.tested), first_issued=issued, today=today)
    if gear.calibrated is not None:
        day = date.fromisoformat(gear.calibrated)
        return day <= today <= months_after(day, gear.months)
    return None


def gear_snapshot(register: Register, today: date) -> dict[str, Any]:
    """Every thing by its id."""
    return {
        g.id: {
            "label": g.label,
            "slots": list(g.slots),
            "names": gear_names(g, today),
            "accuracy": {
                f: {"percent": a.percent, "counts": str(a.counts), "resolution": a.resolution}
                for f, a in g.accuracy.items()
            },
        }
        for g in register.gear
    }


def people_snapshot(roster: Roster, job: Job, today: date) -> dict[str, Any]:
    """Everyone by id, with whether the roster shows them as qualified for this job's kind of equipment."""
    return {
        p.id: {
            "name": p.name,
            "role": p.role,
            "qualified": "true" if _qualified(p, job.kind, today) else "false",
        }
        for p in roster.people
    }


def _qualified(person: Person, kind: str, today: date) -> bool:
    """29 CFR 1910.399: per equipment; an apprentice never by themselves."""
    in_date = person.until is None or today <= date.fromisoformat(person.until)
    return person.role != "apprentice" and kind in person.qualified_for and in_date


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
        "circuits": {n: _circuit(c) for n, c in job.circuits.items()},
    }


def _circuit(circuit: Any) -> dict[str, Any]:  # noqa: ANN401  a Circuit
    known = {
        "to-ground": circuit.to_ground,
        "phase-to-phase": circuit.phase_to_phase,
        "category": str(circuit.category),
        "protection": circuit.protection,
        "conductors": list(circuit.conductors),
    }
    return known | ({"frequency": circuit.frequency} if circuit.frequency else {})
