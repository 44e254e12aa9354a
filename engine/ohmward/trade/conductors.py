"""Conductors: resistance by size and the constants of a point-to-point fault calculation."""

from decimal import Decimal

from ohmward.trade.formula import Refused

# Source: NEC chapter 9, Table 8 (as adopted in the California Electrical Code 2022): uncoated copper, DC, 75 degC,
# ohm for 1000 ft: size -> (solid, stranded).
_COPPER: dict[str, tuple[str | None, str | None]] = {
    "awg-18": ("7.77", None),
    "awg-16": ("4.89", "4.99"),  # stranded: a training page (secondary)
    "awg-14": ("3.07", "3.14"),
    "awg-12": ("1.93", "1.98"),
    "awg-10": ("1.21", "1.24"),
    "awg-8": (None, "0.778"),
    "awg-6": (None, "0.491"),
    "awg-4": (None, "0.308"),
    "awg-3": (None, "0.245"),
    "awg-2": (None, "0.194"),
    "awg-1": (None, "0.154"),
    "awg-1-0": (None, "0.122"),
    "awg-2-0": (None, "0.0967"),
    "awg-3-0": (None, "0.0766"),
    "awg-4-0": (None, "0.0608"),
    "kcmil-250": (None, "0.0515"),
    "kcmil-500": (None, "0.0258"),
}
_ALUMINUM: dict[str, tuple[str | None, str | None]] = {
    "awg-12": ("3.18", "3.25"),
    "awg-10": ("1.99", "2.04"),
    "awg-8": (None, "1.28"),
    "awg-6": (None, "0.808"),
}
_METALS = {"copper": _COPPER, "aluminum": _ALUMINUM}
METALS = tuple(_METALS)
SIZES = tuple(_COPPER)
STRANDS = ("solid", "stranded")
# Constants C of single copper conductors in steel conduit, 600 V class. 500 kcmil: a worked example (secondary); the
# others' sizes are from memory, their constants stand in worked examples (secondary).
_STEEL_CONDUIT = {
    "awg-12": "617",
    "awg-6": "2430",
    "awg-2": "5906",
    "awg-3-0": "13923",
    "kcmil-500": "22185",
}
FAULT_SIZES = tuple(_STEEL_CONDUIT)


def per_thousand_feet(metal: str, size: str, strand: str) -> Decimal:
    """Ohm for 1000 ft at 75 degC. Raises `Refused` for a row that the table does not have."""
    row = _METALS[metal].get(size)
    found = row[STRANDS.index(strand)] if row is not None else None
    if found is None:
        raise Refused(f"the table has no row for {size} {metal}, {strand}")
    return Decimal(found)


def fault_constant(size: str) -> Decimal:
    """The constant C of the point-to-point method, one copper conductor a phase in steel conduit."""
    return Decimal(_STEEL_CONDUIT[size])
