"""What the shop's files may hold. Same error quality as procedures: every fault with its place."""

from collections.abc import Callable
from datetime import date
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BeforeValidator, Field, model_validator

from ohmward.language.fields import Amount, Ident, Many, Prose, form
from ohmward.language.lists import SLOTS
from ohmward.language.schema import schema_of
from ohmward.language.steps import Function, Model
from ohmward.language.suggest import remedy_for
from ohmward.trade.quantity import DIFFERENCE, TEMPERATURE, QuantityError, parse_quantity


def _day(value: object) -> object:
    """One spelling only: days are compared as text."""
    try:
        read = date.fromisoformat(str(value)).isoformat()
    except ValueError:
        read = ""
    if read != value:
        raise form(f"'{value}' is not a day such as 2026-03-01", "write year-month-day")
    return value


def _decimal(value: object) -> object:
    text = str(value)
    if not text.replace(".", "", 1).isdigit() or not text.isascii() or len(text) > 8:
        raise form(f"'{text[:20]}' is not a number", "write a plain number such as 0.7, without unit")
    return value


def _whole(value: object) -> object:
    if not isinstance(value, str) or not value.isascii() or not value.isdigit() or len(value) > 3:
        raise form(f"'{value}' is not a whole number", "write digits only, such as 2")
    return int(value)


def _known_id(value: str) -> str:
    if not value.isascii() or not all(c.isalnum() or c == "-" for c in value) or not 1 <= len(value) <= 24:
        raise form(
            f"'{value[:30]}' is not an id such as P-01 or M-07", "letters, digits and - only, at most 24"
        )
    return value


def _slot(value: str) -> str:
    if value not in SLOTS:
        raise form(f"'{value}' is not a gear slot", remedy_for(value, SLOTS, what="slots"))
    return value


def amount_of(dimension: str, *, most: str, from_nothing: bool = False) -> Callable[[object], object]:
    """An amount of one dimension above 0, or from 0 on, and at most `most`."""
    limit = parse_quantity(most)

    def check(value: object) -> object:
        try:
            read = parse_quantity(value) if isinstance(value, str) else None
        except QuantityError as error:
            raise form(str(error), f"write a {dimension} with its unit, such as {most}") from None
        if read is None or read.dimension != dimension:
            raise form(f"'{value}' is no {dimension}", f"write a number and its unit, up to {most}")
        if not 0 <= read.base <= limit.base or (read.base == 0 and not from_nothing):
            raise form(f"'{value}' is not above 0 and up to {most}", "look at the plate again")
        return value

    return check


def _category(value: object) -> object:
    if not isinstance(value, str) or value not in {"2", "3", "4"}:
        raise form(
            f"'{value}' is not a measurement category: 2, 3 or 4", "write the number alone: 3 for CAT III"
        )
    return int(value)


def _distinct(value: tuple[str, ...]) -> tuple[str, ...]:
    if not value or len(set(value)) != len(value) or "ground" in value:
        raise form(
            "conductors: at least one, each named once, ground not listed", "write them like [line, neutral]"
        )
    return value


Volts = Annotated[str, BeforeValidator(amount_of("voltage", most="1000 kV"))]
Amperes = Annotated[str, BeforeValidator(amount_of("current", most="100 kA"))]
Hertz = Annotated[str, BeforeValidator(amount_of("frequency", most="1000 Hz"))]
Shift = Annotated[str, BeforeValidator(amount_of("time", most="24 h"))]
Category = Annotated[int, BeforeValidator(_category)]
Conductors = Annotated[
    tuple[Prose, ...],
    BeforeValidator(lambda v: tuple(v) if isinstance(v, list) else v),
    AfterValidator(_distinct),
]
SHOWS = {
    "ac volts": "voltage",
    "dc volts": "voltage",
    "low-impedance volts": "voltage",
    "ohms": "resistance",
    "microfarads": "capacitance",
    "insulation": "resistance",
    "clamp amps": "current",
    "temperature": "temperature",
    "pressure": "gauge pressure",
}
Day = Annotated[str, BeforeValidator(_day)]
Decimal_ = Annotated[str, BeforeValidator(_decimal)]
Whole = Annotated[int, BeforeValidator(_whole)]
Id = Annotated[str, AfterValidator(_known_id)]
Slot = Annotated[str, AfterValidator(_slot)]
Role = Literal["apprentice", "qualified-person", "supervisor", "safety-officer"]


def shop_schemas() -> dict[str, dict[str, Any]]:
    """Schemas of shop.yaml, roster.yaml, gear.yaml and job sheets."""
    models: dict[str, type[Model]] = {"shop": Shop, "roster": Roster, "gear": Register, "job": Job}
    return {name: schema_of(model) for name, model in models.items()}


class Emergency(Model):
    """What the emergency screen says first."""

    cut_power: Prose = Field(description="Where power is cut, in the words of the site.")
    call: Prose = Field(description="Whom to call.")


class Shop(Model):
    """shop.yaml"""

    shop: Prose = Field(description="Name of the employer.")
    shift: Shift = Field(
        default="10 h", description="Length of a shift; gates that hold for a shift lapse then."
    )


class Person(Model):
    """One person in roster.yaml."""

    id: Id = Field(description="Short id, such as P-01.")
    name: Prose = Field(description="Full name.")
    role: Role = Field(description="apprentice, qualified-person, supervisor or safety-officer.")
    qualified_for: Many[Ident] = Field(
        default=(), description="Kinds of equipment for which this person is qualified."
    )
    tasks: Many[Ident] = Field(
        default=(), description="Procedures for which the training counts; left out: all of them."
    )
    until: Day | None = Field(default=None, description="Last day on which the training counts.")


class Roster(Model):
    """roster.yaml"""

    people: Many[Person] = Field(description="Everyone who appears in records.")


class Rating(Model):
    """Category and voltage of leads."""

    category: Category = Field(description="Measurement category: 2, 3 or 4.")
    voltage: Volts = Field(description="Rated voltage at that category.")


class Stated(Model):
    """Accuracy on one function, as on the data sheet: ± percent of reading + counts x resolution."""

    percent: Decimal_ = Field(description="Percent of the reading.")
    counts: Whole = Field(description="Counts of the last digit.")
    resolution: Amount = Field(description="Value of one count.")
    up_to: Amount | None = Field(default=None, description="Largest value of the range.")


class Gear(Model):
    """One thing in gear.yaml."""

    id: Id = Field(description="Number on the thing, such as M-07.")
    label: Prose = Field(description="What it is.")
    slots: Many[Slot] = Field(description="What it can be used as.")
    category: Category | None = Field(default=None, description="Measurement category: 2, 3 or 4.")
    voltage: Volts | None = Field(default=None, description="Rated voltage at that category.")
    leads: Rating | None = Field(
        default=None, description="Rating of the leads that belong to it; the lowest counts."
    )
    probes: Rating | None = Field(
        default=None, description="Rating of the probes or clips that belong to it; the lowest counts."
    )
    calibrated: Day | None = Field(default=None, description="Day of the last calibration.")
    months: Whole = Field(default=12, description="Months for which a calibration counts.")
    accuracy: dict[Function, Stated] = Field(default={}, description="Function to accuracy.")
    own_voltage: Volts | None = Field(default=None, description="Known source: its voltage.")
    fuse: Amperes | None = Field(default=None, description="Test lead: rated current of its fuse.")
    glove_class: Literal["00", "0", "1", "2", "3", "4"] | None = Field(
        default=None, description="Gloves: class on the cuff."
    )
    tested: Day | None = Field(default=None, description="Gloves: day of the last electrical test.")
    first_issued: Day | None = Field(default=None, description="Gloves: day of first issue, if issued.")
    used_bare: Day | None = Field(
        default=None,
        description="Gloves: day of the last use without leather over them; from then on out of test until tested again.",
    )
    returned: Day | None = Field(
        default=None, description="Day on which it came back in order: after the day on which it was found bad or recalled."
    )
    withdrawn: Literal["yes", "no"] = Field(default="no", description="`yes`: out of service.")

    @model_validator(mode="after")
    def _resolutions(self) -> "Gear":
        for function, stated in self.accuracy.items():
            for word, text in (("resolution", stated.resolution), ("up_to", stated.up_to)):
                read = parse_quantity(text) if text is not None else None
                wanted = (
                    DIFFERENCE if word == "resolution" and SHOWS[function] == TEMPERATURE else SHOWS[function]
                )
                if read is not None and (read.dimension != wanted or read.value <= 0):
                    raise ValueError(f"the {word} of '{function}' must be a {wanted} above 0")
        return self


class Register(Model):
    """gear.yaml"""

    gear: Many[Gear] = Field(description="Instruments, gloves, leads, known sources.")


class Circuit(Model):
    """One circuit on a job sheet."""

    to_ground: Volts = Field(description="Voltage to ground.")
    phase_to_phase: Volts = Field(description="Highest voltage between conductors.")
    category: Category = Field(description="Measurement category of the place: 2, 3 or 4.")
    protection: Amperes = Field(description="Rating of the protective device ahead of it.")
    frequency: Hertz | None = Field(default=None, description="Frequency.")
    can_hold_dc: Literal["yes", "no"] | None = Field(
        default=None, description="`no`: nothing can leave a DC voltage on it; else DC is read too."
    )
    conductors: Conductors = Field(description="Conductors by name; ground is not listed.")


class Supply(Circuit):
    """One of several supplies that a job sheet lists under one name."""

    label: Prose = Field(description="What it feeds, in the words of the site.")
    means: Prose = Field(description="What it is held off with, and where that is.")


Supplies = Annotated[Many[Supply], Field(max_length=8)]


class People(Model):
    """Who is on the job."""

    worker: Id = Field(description="Person who does the work.")
    supervisor: Id | None = Field(default=None, description="Person who supervises an apprentice.")


class Job(Model):
    """A job sheet."""

    job: Id = Field(description="Number of the job.")
    site: Prose = Field(description="Where.")
    address: Prose = Field(description="Address for the emergency call.")
    equipment: Ident = Field(description="Id of the machine.")
    kind: Ident = Field(description="Kind of equipment, as in the roster's qualified_for.")
    complaint: Prose = Field(description="What is said to be wrong.")
    emergency: Emergency = Field(description="What the emergency screen says first.")
    people: People = Field(description="Who is on the job.")
    facts: dict[Ident, Prose | Many[Prose]] = Field(default={}, description="Values about the machine.")
    circuits: dict[Ident, Circuit] = Field(description="Circuits by their id in the procedure.")
    supplies: dict[Ident, Supplies] = Field(
        default={}, description="Several supplies by the id of the counted circuit; none found: left out."
    )
