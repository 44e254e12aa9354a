"""Protective devices: what a trip's current and time tell, when one must trip, how often it may be closed again."""

from decimal import Decimal

from ohmward.trade.formula import Formula, Input, Refused, Status, Turn, counted, number, positive, quantity
from ohmward.trade.quantity import Quantity

DEVICES = ("breaker", "fuse", "ground-fault-device", "arc-fault-device")
# Longest time at twice the rating, s, by the device's rating up to and including. Source: UL 489 (a vendor's page;
# above 30 A from memory).
_AT_TWICE = ((Decimal(30), 120), (Decimal(50), 240), (Decimal(100), 360), (Decimal(150), 480))
_SLOW = Decimal(5)  # s: faster is no proof of an overload; ours
_MOST_OVERLOAD = Decimal(3)  # times the rating: above it is taken for a fault; ours
_INSTANT = Decimal("0.1")  # s
MOST_CLOSINGS_A_DAY = 2  # ours: the third trip of a day is somebody else's to look at
# Source: NEC 240.6(A) (as adopted in the California Electrical Code 2022)
STANDARD = tuple(
    Decimal(a)
    for a in (10, 15, 20, 25, 30, 35, 40, 45, 50, 60, 70, 80, 90, 100, 110, 125, 150, 175, 200, 225, 250, 300, 350, 400)
)  # fmt: skip
# Source: NEC table 430.52(C)(1): part of the table's full-load current, by kind of motor and device.
_MOTOR_DEVICE = {
    "fuse": ("3", "3", "1.5", "1.5"),
    "time-delay-fuse": ("1.75", "1.75", "1.5", "1.5"),
    "instantaneous-breaker": ("8", "11", "8", "2.5"),
    "breaker": ("2.5", "2.5", "1.5", "1.5"),
}
MOTOR_KINDS = ("squirrel-cage", "design-b-efficient", "wound-rotor", "dc")


def what_a_trip_tells(device: str, rating: Quantity, current: Quantity, time: Quantity) -> str:
    """`overload`, `fault`, `ground fault`, `not told`: only an overload needs no examination first."""
    amperes, rated = number(current, "A"), number(positive(rating, "rating"), "A")
    seconds = number(time, "s")
    if amperes < 0 or seconds < 0:
        raise Refused("current and time must not be below 0")
    if device == "ground-fault-device":
        return "ground fault"
    if device == "arc-fault-device":
        return "fault"
    if seconds <= _INSTANT or amperes > rated * _MOST_OVERLOAD:
        return "fault"
    if amperes * 100 < rated * 135 or seconds < _SLOW:
        return "not told"
    held = number(trips_within(rating, current), "s")
    return "overload" if seconds <= held else "not told"


def overload_shown(device: str, rating: Quantity, current: Quantity, time: Quantity) -> bool:
    return what_a_trip_tells(device, rating, current, time) == "overload"


def trips_within(rating: Quantity, current: Quantity) -> Quantity:
    """The longest time that a calibrated breaker holds a current: 135 % 1 h (above 50 A 2 h), 200 % minutes."""
    rated, amperes = number(positive(rating, "rating"), "A"), number(current, "A")
    if amperes >= 2 * rated:
        longest = next((seconds for up_to, seconds in _AT_TWICE if rated <= up_to), None)
        if longest is not None:
            return quantity(Decimal(longest), "s")
    if amperes * 100 >= 135 * rated:
        return quantity(Decimal(3600 if rated <= 50 else 7200), "s")
    raise Refused("below 135 % of its rating a breaker need not trip")


def may_close_again(trips: Quantity, answered: Quantity, closings: Quantity) -> bool:
    """One closing for each cause that was found and put right, and at most two a day on one machine."""
    tripped, causes, closed = (
        counted(v, "trips, answered causes and closings") for v in (trips, answered, closings)
    )
    return causes >= tripped > 0 and closed < causes and closed < MOST_CLOSINGS_A_DAY


def next_standard_rating(current: Quantity) -> Quantity:
    amperes = number(positive(current, "current"), "A")
    found = next((a for a in STANDARD if a >= amperes), None)
    if found is None:
        raise Refused(f"above the ratings of the table (400 A): {current}")
    return quantity(found, "A")


def motor_device_highest(kind: str, device: str, table_current: Quantity) -> Quantity:
    part = Decimal(_MOTOR_DEVICE[device][MOTOR_KINDS.index(kind)])
    return positive(table_current, "table-current").times(part)


def compressor_device_highest(rated_load: Quantity) -> Quantity:
    """1.75 of the rated-load or selection current, and never less than 15 A."""
    value = number(positive(rated_load, "rated-load"), "A") * Decimal("1.75")
    return quantity(max(value, Decimal(15)), "A")


def transformer_primary_highest(primary: Quantity) -> Quantity:
    amperes = number(positive(primary, "primary-current"), "A")
    part = Decimal("1.25") if amperes >= 9 else (Decimal("1.67") if amperes >= 2 else Decimal(3))
    return primary.times(part)


_RATING = Input("rating", "current", Turn.RISES)
_TRIP = (
    Input("device", "text", words=DEVICES),
    Input("rating", "current"),
    Input("current", "current"),
    Input("time", "time"),
)
_NOTE = "29 CFR 1910.334(b)(2) and its note; OSHA interpretation of 2001-11-19; 0.1 s, 5 s and 3 x are ours"
_PROTECTION = "NEC {} (as adopted in the California Electrical Code 2022)"

FORMULAS = (
    Formula(
        name="what-a-trip-tells", inputs=_TRIP, gives="text",
        words="ground-fault device: ground fault; arc-fault device: fault; up to 0.1 s or above 3 x rating: fault; from 1.35 x rating, 5 s or more and not longer than trips-within: overload; else not told",
        source=_NOTE, status=Status.OURS, domain="current summed from the loads that ran at that moment, time that it took", work=what_a_trip_tells,
    ),
    Formula(
        name="overload-shown", inputs=_TRIP, gives="truth", words="what-a-trip-tells is overload",
        source=_NOTE, status=Status.OURS, domain="evidence for the note: only an overload is excepted from examination", work=overload_shown,
    ),
    Formula(
        name="trips-within", inputs=(_RATING, Input("current", "current")), gives="time", unit="s",
        words="from 2 x rating: 2 min up to 30 A, 4 min up to 50 A, 6 min up to 100 A, 8 min up to 150 A; from 1.35 x: 1 h up to 50 A, else 2 h",
        source="UL 489 calibration (a vendor's page; above 30 A at 2 x and above 50 A from memory)", status=Status.SECONDARY,
        domain="moulded-case breaker in order; the longest time, not the usual one", work=trips_within,
    ),
    Formula(
        name="may-close-again", inputs=(Input("trips", "number"), Input("answered", "number"), Input("closings", "number")), gives="truth",
        words="every trip's cause answered, closings fewer than answered causes and fewer than 2 that day",
        source="29 CFR 1910.334(b)(2): no repetitive reclosing; two a day is ours", status=Status.OURS,
        domain="counts of one machine on one day, over all visits", work=may_close_again,
    ),
    Formula(
        name="next-standard-rating", inputs=(Input("current", "current", Turn.RISES),), gives="current", unit="A",
        words="the smallest standard rating that is not below the current", source=_PROTECTION.format("240.6(A)"), status=Status.PUBLISHED,
        domain="up to 400 A", work=next_standard_rating,
    ),
    Formula(
        name="motor-device-highest", inputs=(Input("motor", "text", words=MOTOR_KINDS), Input("device", "text", words=tuple(_MOTOR_DEVICE)), Input("table-current", "current", Turn.RISES)),
        gives="current", unit="A", words="the table's part of the full-load current",
        source=_PROTECTION.format("430.52(C)(1)"), status=Status.PUBLISHED, domain="full-load current of the tables, not of the nameplate", work=motor_device_highest,
    ),
    Formula(
        name="compressor-device-highest", inputs=(Input("rated-load", "current", Turn.RISES),), gives="current", unit="A",
        words="1.75 x rated-load current, at least 15 A", source=_PROTECTION.format("440.22(A)"), status=Status.PUBLISHED,
        domain="the greater of rated-load and branch-circuit selection current; up to 2.25 x where it does not start", work=compressor_device_highest,
    ),
    Formula(
        name="transformer-primary-highest", inputs=(Input("primary-current", "current"),), gives="current", unit="A",
        words="from 9 A 1.25 x, from 2 A 1.67 x, below 3 x the primary current",
        source=_PROTECTION.format("450.3(B)"), status=Status.PUBLISHED, domain="primary protection only, up to 1000 V", work=transformer_primary_highest,
    ),
)  # fmt: skip
