"""Every calculation of the trade, by the name that limits and gates use."""

from collections.abc import Mapping

from ohmward.trade import (
    arc_flash,
    capacitor,
    fault_current,
    insulation,
    motor,
    protection,
    refrigerant,
    shock_formulas,
    supply,
)
from ohmward.trade.formula import Formula, listed

SUBJECTS: Mapping[str, tuple[Formula, ...]] = {
    "shock and instruments": shock_formulas.FORMULAS,
    "arc flash": arc_flash.FORMULAS,
    "fault current": fault_current.FORMULAS,
    "supply": supply.FORMULAS,
    "motor": motor.FORMULAS,
    "insulation": insulation.FORMULAS,
    "capacitor": capacitor.FORMULAS,
    "protection": protection.FORMULAS,
    "refrigerant side": refrigerant.FORMULAS,
}
FORMULAS: Mapping[str, Formula] = listed([f for some in SUBJECTS.values() for f in some])
