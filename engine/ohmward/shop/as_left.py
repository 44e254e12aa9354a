"""What was seen and read before a machine is handed over, as a file."""

from typing import Annotated, Literal

from pydantic import BeforeValidator, Field

from ohmward.language.fields import Label, Many, NoneOrMany, Prose, form
from ohmward.language.library import load_one
from ohmward.language.steps import Model
from ohmward.shop.models import Amperes, Volts, amount_of
from ohmward.shop.nameplate import Phases
from ohmward.trade.quantity import Quantity, parse_quantity
from ohmward.trade.return_to_service import AsLeft
from ohmward.trade.span import parse_span

DOTS = ".."
Yes = Literal["yes", "no"]


def _span_of(dimension: str, most: str) -> BeforeValidator:
    """`207 V`, or `206.1 V..207.9 V` for what the instrument can vouch for."""
    one = amount_of(dimension, most=most, from_nothing=True)

    def read(value: object) -> object:
        if not isinstance(value, str):
            return one(value)
        low, dots, high = (part.strip() for part in value.partition(DOTS))
        for end in (low, high) if dots else (low,):
            one(end)
        if dots and parse_quantity(low).compare(parse_quantity(high)) > 0:
            raise form(f"{low} is more than {high}", "write the lower end first")
        return f"{low}{dots}{high}"

    return BeforeValidator(read)


def _worded(value: object) -> object:
    if isinstance(value, list | tuple) and not value:
        raise form("an empty list says nothing", "write `none` where somebody has looked and there is none")
    return value


_WORDED = BeforeValidator(_worded)
VoltSpan = Annotated[str, _span_of("voltage", "1000 V")]
AmpereSpan = Annotated[str, _span_of("current", "1000 A")]


class Sheet(Model):
    """SHEET.yaml: one machine before it is handed over. What it does not say nobody has looked at, and stands against it."""

    machine: Prose = Field(description="The machine, as on its job sheets: what stands open on it is looked up.")
    guards_on: Yes | None = Field(default=None, description="`yes`: every guard and cover is on.")
    left_in_place: Annotated[NoneOrMany[Label] | None, _WORDED] = Field(
        default=None, description="Leads, bypasses, tools that are still in it; `none`."
    )
    trips: Annotated[NoneOrMany[Label] | None, _WORDED] = Field(
        default=None, description="Devices whose trip has no cause yet; `none`."
    )
    nominal: Volts | None = Field(default=None, description="Nominal voltage between the points of `supply`.")
    supply: Many[VoltSpan] = Field(
        default=(), description="Voltages running: each pair of lines, or line to neutral; `207 V..209 V` with accuracy."
    )
    full_load: Amperes | None = Field(default=None, description="Full-load current on the nameplate.")
    currents: Many[AmpereSpan] = Field(default=(), description="Current of each line, running.")
    phases: Phases | None = Field(default=None, description="single-phase or three-phase.")
    moves_air: Yes | None = Field(default=None, description="`yes`: a fan moves air over a coil; `no`.")
    airflow: Literal["in order", "not in order"] | None = Field(default=None, description="How the airflow was read.")
    cools: Yes | None = Field(default=None, description="`yes`: it has a refrigerant side; `no`.")
    charge: Prose | None = Field(default=None, description="What was said of the charge; `in order`.")


def read_sheet(data: bytes, file: str) -> tuple[str, AsLeft]:
    """The machine, and how it was left. Raises FaultyFileError with every fault of it."""
    source = load_one(data, file, Sheet)
    source.faults.stop_if_any()
    sheet = source.model
    return sheet.machine, AsLeft(
        guards_on=_said(sheet.guards_on),
        left_in_place=sheet.left_in_place,
        unanswered_trips=sheet.trips,
        nominal=_amount(sheet.nominal),
        supply=tuple(map(parse_span, sheet.supply)),
        currents=tuple(map(parse_span, sheet.currents)),
        full_load=_amount(sheet.full_load),
        phases=sheet.phases,
        moves_air=_said(sheet.moves_air),
        airflow_in_order=None if sheet.airflow is None else sheet.airflow == "in order",
        cools=_said(sheet.cools),
        charge=sheet.charge,
    )


def _said(word: str | None) -> bool | None:
    return None if word is None else word == "yes"


def _amount(text: str | None) -> Quantity | None:
    return None if text is None else parse_quantity(text)


EMPTY = """# What was seen and read before a machine is handed over. A line that is left out stands against it.
machine: "?"
guards_on: "?"            # yes or no
phases: "?"               # single-phase or three-phase
left_in_place: "?"        # none, or a list: [test lead at the board]
trips: "?"                # none, or a list of devices whose trip has no cause yet
nominal: "? V"            # between the points of supply
supply: ["? V"]           # running: three pairs of lines, or line to neutral; "207.1 V..208.9 V" with the meter's accuracy
full_load: "? A"          # nameplate
currents: ["? A"]         # each line, running
moves_air: "?"            # no; or yes, and then airflow: in order, or not in order
cools: "?"                # no; or yes, and then charge: what was said of it
"""
