"""A motor's nameplate as a file, for matching a replacement against what comes out."""

from typing import Annotated, Literal

from pydantic import BeforeValidator, Field

from ohmward.language.fields import Prose
from ohmward.language.library import load_one
from ohmward.language.steps import Model
from ohmward.shop.models import Amperes, Hertz, Volts, amount_of
from ohmward.trade.quantity import Quantity, parse_quantity
from ohmward.trade.replacement import Nameplate

Phases = Literal["single-phase", "three-phase"]
Rotation = Literal["clockwise", "counter-clockwise", "reversible"]
Protection = Literal["none", "automatic", "manual", "impedance"]
Power = Annotated[str, BeforeValidator(amount_of("power", most="1000 hp"))]
Speed = Annotated[str, BeforeValidator(amount_of("speed", most="20000 rpm"))]
Farads = Annotated[str, BeforeValidator(amount_of("capacitance", most="2000 uF", from_nothing=True))]


class Plate(Model):
    """NAMEPLATE.yaml: one motor. What it does not say is left out, and stops a match."""

    voltage: Volts | None = Field(default=None, description="Rated voltage.")
    frequency: Hertz | None = Field(default=None, description="Rated frequency.")
    phases: Phases | None = Field(default=None, description="single-phase or three-phase.")
    power: Power | None = Field(default=None, description="Rated power, in hp or kW.")
    speed: Speed | None = Field(default=None, description="Rated speed, in rpm.")
    full_load: Amperes | None = Field(default=None, description="Full-load current.")
    frame: Prose | None = Field(default=None, description="Frame, as on the plate.")
    shaft: Prose | None = Field(default=None, description="Shaft: diameter, length, flat or key.")
    rotation: Rotation | None = Field(
        default=None, description="clockwise, counter-clockwise or reversible, seen from the shaft's end."
    )
    capacitance: Farads | None = Field(
        default=None, description="Run capacitor that it needs; 0 uF when it needs none."
    )
    capacitor_voltage: Volts | None = Field(default=None, description="Rated voltage of that capacitor.")
    protection: Protection | None = Field(
        default=None, description="Thermal protection: none, automatic, manual, impedance."
    )


def read_nameplate(data: bytes, file: str) -> Nameplate:
    """The nameplate of a file. Raises FaultyFileError with every fault of it."""
    source = load_one(data, file, Plate)
    source.faults.stop_if_any()
    plate = source.model
    return Nameplate(
        voltage=_amount(plate.voltage),
        frequency=_amount(plate.frequency),
        phases=plate.phases,
        power=_amount(plate.power),
        speed=_amount(plate.speed),
        full_load=_amount(plate.full_load),
        frame=plate.frame,
        shaft=plate.shaft,
        rotation=plate.rotation,
        capacitance=_amount(plate.capacitance),
        capacitor_voltage=_amount(plate.capacitor_voltage),
        protection=plate.protection,
    )


def _amount(text: str | None) -> Quantity | None:
    return None if text is None else parse_quantity(text)
