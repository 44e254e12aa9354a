"""Shock: voltage to ground, approach distances, rubber gloves. Public law where not said otherwise."""

from calendar import monthrange
from datetime import date

from ohmward.trade.quantity import Quantity, parse_quantity

# Source: 29 CFR 1910.333(a)(1): parts below 50 V to ground need not be de-energized (burn hazard aside).
SHOCK_LIMIT = parse_quantity("50 V")

# Source: 29 CFR 1910.137 Table I-4 (2014 text): class -> maximum use voltage, AC rms, phase to phase.
GLOVE_USE_VOLTAGE: dict[str, Quantity] = {
    "00": parse_quantity("500 V"),
    "0": parse_quantity("1000 V"),
    "1": parse_quantity("7500 V"),
    "2": parse_quantity("17000 V"),
    "3": parse_quantity("26500 V"),
    "4": parse_quantity("36000 V"),
}

# Source: 29 CFR 1910.333(c)(3)(ii) Table S-5, AC phase to phase: up to and including -> distance.
_APPROACH: tuple[tuple[Quantity, Quantity | None], ...] = (
    (parse_quantity("300 V"), None),
    (parse_quantity("750 V"), parse_quantity("30.5 cm")),
    (parse_quantity("2 kV"), parse_quantity("46 cm")),
    (parse_quantity("15 kV"), parse_quantity("61 cm")),
    (parse_quantity("37 kV"), parse_quantity("91 cm")),
    (parse_quantity("87.5 kV"), parse_quantity("107 cm")),
    (parse_quantity("121 kV"), parse_quantity("122 cm")),
    (parse_quantity("140 kV"), parse_quantity("137 cm")),
)


class OutsideTableError(ValueError):
    """The voltage lies outside the published table: refuse, never extrapolate."""


def approach_distance(phase_to_phase: Quantity) -> Quantity | None:
    """Minimum distance of a qualified person; None means 'avoid contact'. Table S-5, bounds inclusive."""
    if phase_to_phase.value < 0:
        raise OutsideTableError(f"{phase_to_phase} is no AC voltage")
    for up_to, distance in _APPROACH:
        if phase_to_phase.compare(up_to) <= 0:
            return distance
    raise OutsideTableError(f"{phase_to_phase} is above Table S-5 (140 kV)")


def glove_class_for(phase_to_phase: Quantity) -> str:
    """The lowest class whose maximum use voltage covers the nominal voltage. Table I-4, inclusive."""
    for name, limit in GLOVE_USE_VOLTAGE.items():
        if phase_to_phase.compare(limit) <= 0:
            return name
    raise OutsideTableError(f"{phase_to_phase} is above glove class 4 (36 kV)")


def months_after(day: date, months: int) -> date:
    """The same day of the month, `months` later; the month's last day where there is no such day."""
    year, month = divmod(day.year * 12 + day.month - 1 + months, 12)
    return date(year, month + 1, min(day.day, monthrange(year, month + 1)[1]))


def gloves_in_test(*, tested: date, first_issued: date | None, today: date) -> bool:
    """Whether rubber gloves are within their electrical test interval, both ends included.

    Never issued: tested within 12 months; in service: within 6 months.
    Source: 29 CFR 1910.137 Table I-5 and its note 1; for gloves issued after storage the stricter reading
    (6 months from the *test*) holds. A test date in the future permits nothing.
    """
    return tested <= today <= last_day_of_gloves(tested, issued=first_issued is not None)


def last_day_of_gloves(tested: date, *, issued: bool) -> date:
    """The last day on which gloves tested then may be used, or first issued."""
    return months_after(tested, 6 if issued else 12)


def voltage_to_ground(*, grounded: bool, to_grounded_point: Quantity, conductors: Quantity) -> Quantity:
    """Grounded circuit: to the grounded point; ungrounded: the greatest voltage to any other conductor.

    Source: 29 CFR 1910.399, "voltage to ground".
    """
    return to_grounded_point if grounded else conductors
