"""Return to service: what is not as it must be before a machine is handed over."""

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal

from ohmward.trade.quantity import Quantity
from ohmward.trade.span import Span, holds, scaled
from ohmward.trade.supply import unbalance

_MOST_VOLTAGE_UNBALANCE = Quantity(Decimal(1), "%")  # NEMA MG 1: above it a motor is derated (secondary)
_MOST_CURRENT_UNBALANCE = Quantity(Decimal(10), "%")  # common practice, no source
_NEXT_TO_NOTHING = Quantity(Decimal("0.2"))  # of the nameplate current: ours
_LOW, _HIGH = (Quantity(Decimal(part)) for part in ("0.9", "1.1"))  # NEMA MG 1, 12.44 (condensed edition)


@dataclass(frozen=True, slots=True, kw_only=True)
class AsLeft:
    """What was seen and read before the hand-over; None where nobody looked. Readings with their accuracy."""

    guards_on: bool | None
    left_in_place: tuple[str, ...] | None  # leads, bypasses, tools
    unanswered_trips: tuple[str, ...] | None
    nominal: Quantity | None
    supply: tuple[Span, ...] = ()  # between each pair of live conductors, or line to neutral
    currents: tuple[Span, ...] = ()  # one for each live conductor, running
    full_load: Quantity | None  # nameplate
    phases: str | None = None  # single-phase or three-phase: how many values there are to read
    moves_air: bool | None = None
    airflow_in_order: bool | None = None
    cools: bool | None = None
    charge: str | None = None  # what `charge` said


@dataclass(frozen=True, slots=True)
class NotReady:
    """One reason why it is not handed over."""

    what: str
    why: str


def not_ready(left: AsLeft) -> tuple[NotReady, ...]:
    """Every reason, most dangerous first; empty only when all was looked at and is in order.

    Source: 29 CFR 1910.147(e), 29 CFR 1910.333(b)(2)(v); limits as named beside them; the nameplate governs the
    running current (NEC 430.6(A)(2), a trade article).
    """
    return (*_left_behind(left), *_supply(left), *_current(left), *_cooling(left))


def _left_behind(left: AsLeft) -> Iterator[NotReady]:
    if left.guards_on is not True:
        yield NotReady("guards and covers", "not on" if left.guards_on is False else "nobody looked")
    for what, found in (
        ("left in place", left.left_in_place),
        ("trips without a cause", left.unanswered_trips),
    ):
        if found is None:
            yield NotReady(what, "nobody looked")
        elif found:
            yield NotReady(what, ", ".join(found))


def _supply(left: AsLeft) -> Iterator[NotReady]:
    if left.phases is None:
        yield NotReady("phases", "nobody said whether one or three")
    if not left.supply or left.nominal is None:
        yield NotReady("supply", "not read, or its nominal voltage is not known")
        return
    yield from _all_lines("supply", left.supply, left.phases)
    low, high = (scaled(left.nominal, part) for part in (_LOW, _HIGH))
    for value in left.supply:
        below, above = holds("<", value, low), holds(">", value, high)
        if below is not False or above is not False:
            surely = "" if True in {below, above} else ", as far as the instrument can tell"
            yield NotReady("supply", f"{value} is not within {low} to {high}{surely}")
    if len(left.supply) > 1 and holds("<=", unbalance(*left.supply), _MOST_VOLTAGE_UNBALANCE) is not True:
        yield NotReady("voltage unbalance", f"{unbalance(*left.supply)} is not shown to be at most 1 %")


def _current(left: AsLeft) -> Iterator[NotReady]:
    if not left.currents or left.full_load is None:
        yield NotReady("running current", "not read, or the nameplate current is not known")
        return
    yield from _all_lines("running current", left.currents, left.phases)
    for value in left.currents:
        if holds(">", value, scaled(left.full_load, _NEXT_TO_NOTHING)) is not True:
            yield NotReady("running current", f"{value} is next to nothing: a line is dead, or it does not run")
        within = holds("<=", value, left.full_load)
        if within is not True:
            why = "is above" if within is False else "cannot be told from"
            yield NotReady("running current", f"{value} {why} the nameplate's {left.full_load}")
    three = left.phases == "three-phase" and len(left.currents) > 1
    if three and holds("<=", unbalance(*left.currents), _MOST_CURRENT_UNBALANCE) is not True:
        yield NotReady("current unbalance", f"{unbalance(*left.currents)} is not shown to be at most 10 %")


def _all_lines(what: str, values: tuple[Span, ...], phases: str | None) -> Iterator[NotReady]:
    """Three phases are three values; one that was not read nobody knows."""
    if phases == "three-phase" and len(values) != 3:
        yield NotReady(what, f"{len(values)} of 3 were read")


def _cooling(left: AsLeft) -> Iterator[NotReady]:
    for what, there in (("airflow", left.moves_air), ("charge", left.cools)):
        if there is None:
            yield NotReady(what, "nobody said whether the machine has one")
    if left.moves_air and left.airflow_in_order is not True:
        yield NotReady("airflow", "not in order" if left.airflow_in_order is False else "not read")
    if left.cools and (left.charge != "in order" or left.airflow_in_order is not True):
        said = (
            left.charge
            if left.airflow_in_order is True and left.charge
            else "not known before the airflow is in order"
        )
        yield NotReady("charge", said)
