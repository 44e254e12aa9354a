"""A replacement motor beside the one that comes out: what differs, and what that means."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from decimal import Decimal

from ohmward.trade.quantity import Quantity

_SPEED = Decimal("0.05")  # part of the old speed: common practice, no source
NOT_SAID = "not said"


@dataclass(frozen=True, slots=True, kw_only=True)
class Nameplate:
    """What a motor's nameplate and its mounting say; None where it is silent."""

    voltage: Quantity | None = None
    frequency: Quantity | None = None
    phases: str | None = None
    power: Quantity | None = None
    speed: Quantity | None = None
    full_load: Quantity | None = None
    frame: str | None = None
    shaft: str | None = None
    rotation: str | None = None  # clockwise, counter-clockwise, reversible
    capacitance: Quantity | None = None  # 0 uF: it needs none
    capacitor_voltage: Quantity | None = None
    protection: str | None = None  # none, automatic, manual, impedance


@dataclass(frozen=True, slots=True, kw_only=True)
class Difference:
    """One thing that is not the same. `stops`: the motor is not fitted before a qualified person has decided."""

    what: str
    old: str
    new: str
    means: str
    stops: bool


def replacement_differences(old: Nameplate, new: Nameplate) -> tuple[Difference, ...]:
    """What differs, the most dangerous first; empty only when everything is said and fits.

    What either plate does not say counts as a difference that stops: missing permits nothing.
    Source: common practice, no source; the maker's instructions for the machine govern.
    """
    found = [d for check in _CHECKS for d in check(old, new)]
    return tuple(sorted(found, key=lambda d: not d.stops))


def _text(value: object) -> str:
    return NOT_SAID if value is None else str(value)


def _differ(what: str, old: object, new: object, means: str, *, stops: bool = True) -> Iterator[Difference]:
    yield Difference(what=what, old=_text(old), new=_text(new), means=means, stops=stops)


def _silent(what: str, old: object, new: object) -> Iterator[Difference]:
    yield from _differ(what, old, new, "it is not known on both plates: find it out first")


def _same(
    what: str, pick: Callable[[Nameplate], object], means: str
) -> Callable[[Nameplate, Nameplate], Iterator[Difference]]:
    """Two words or values that must be equal."""

    def check(old: Nameplate, new: Nameplate) -> Iterator[Difference]:
        before, after = pick(old), pick(new)
        if before is None or after is None:
            yield from _silent(what, before, after)
        elif not _equal(before, after):
            yield from _differ(what, before, after, means)

    return check


def _equal(before: object, after: object) -> bool:
    if isinstance(before, Quantity) and isinstance(after, Quantity):
        return before.dimension == after.dimension and before.compare(after) == 0
    return before == after


def _power(old: Nameplate, new: Nameplate) -> Iterator[Difference]:
    if old.power is None or new.power is None:
        yield from _silent("power", old.power, new.power)
        return
    order = new.power.compare(old.power)
    if order < 0:
        yield from _differ("power", old.power, new.power, "a weaker motor is overloaded by the same wheel")
    elif order > 0:
        yield from _differ(
            "power", old.power, new.power, "a stronger motor: look at conductors and protection", stops=False
        )


def _speed(old: Nameplate, new: Nameplate) -> Iterator[Difference]:
    if old.speed is None or new.speed is None:
        yield from _silent("speed", old.speed, new.speed)
        return
    apart = abs(new.speed.base - old.speed.base)
    if apart > old.speed.base * _SPEED:
        yield from _differ("speed", old.speed, new.speed, "a fan's load rises with the cube of its speed")


def _full_load(old: Nameplate, new: Nameplate) -> Iterator[Difference]:
    if old.full_load is None or new.full_load is None:
        yield from _silent("full-load current", old.full_load, new.full_load)
    elif new.full_load.compare(old.full_load) > 0:
        means = "the overload setting and the branch protection were chosen for the old current"
        yield from _differ("full-load current", old.full_load, new.full_load, means)


def _rotation(old: Nameplate, new: Nameplate) -> Iterator[Difference]:
    if old.rotation is None or new.rotation is None:
        yield from _silent("rotation", old.rotation, new.rotation)
    elif new.rotation == "reversible":
        if old.rotation != "reversible":
            means = "connect it for the old direction and watch the first second"
            yield from _differ("rotation", old.rotation, new.rotation, means, stops=False)
    elif new.rotation != old.rotation:
        yield from _differ("rotation", old.rotation, new.rotation, "the wheel would turn backwards")


def _capacitor(old: Nameplate, new: Nameplate) -> Iterator[Difference]:
    if old.capacitance is None or new.capacitance is None:
        yield from _silent("run capacitor", old.capacitance, new.capacitance)
        return
    if new.capacitance.compare(old.capacitance) != 0:
        means = "the new motor's capacitor is fitted with it; the old one stays out"
        yield from _differ("run capacitor", old.capacitance, new.capacitance, means)
    if new.capacitance.value == 0:
        return
    if old.capacitor_voltage is None or new.capacitor_voltage is None:
        yield from _silent("capacitor's rated voltage", old.capacitor_voltage, new.capacitor_voltage)
    elif old.capacitor_voltage.compare(new.capacitor_voltage) < 0:
        means = "the old capacitor is rated below what the new motor asks for"
        yield from _differ("capacitor's rated voltage", old.capacitor_voltage, new.capacitor_voltage, means)


def _protection(old: Nameplate, new: Nameplate) -> Iterator[Difference]:
    if old.protection is None or new.protection is None:
        yield from _silent("thermal protection", old.protection, new.protection)
    elif new.protection == "none" != old.protection:
        yield from _differ(
            "thermal protection", old.protection, new.protection, "it would run without protection"
        )
    elif new.protection == "automatic" != old.protection:
        means = "it starts again by itself when it has cooled: guard it, and say so at the machine"
        yield from _differ("thermal protection", old.protection, new.protection, means)
    elif new.protection != old.protection:
        yield from _differ("thermal protection", old.protection, new.protection, "another kind", stops=False)


_CHECKS = (
    _same("voltage", lambda n: n.voltage, "another voltage burns it or stalls it"),
    _same("frequency", lambda n: n.frequency, "another frequency turns at another speed and current"),
    _same("phases", lambda n: n.phases, "it does not start on another supply"),
    _power,
    _full_load,
    _speed,
    _same("frame", lambda n: n.frame, "it does not sit on the same bolts"),
    _same("shaft", lambda n: n.shaft, "the wheel does not sit"),
    _rotation,
    _capacitor,
    _protection,
)
