"""Shock and instruments as calculations that limits and gates can call."""

from decimal import Decimal

from ohmward.trade.formula import Formula, Input, Refused, Status, Turn, counted, number, positive, quantity
from ohmward.trade.instruments import rating_covers
from ohmward.trade.quantity import Quantity, parse_quantity
from ohmward.trade.shock import (
    GLOVE_USE_VOLTAGE,
    SHOCK_LIMIT,
    OutsideTableError,
    approach_distance,
    glove_class_for,
)
from ohmward.trade.supply import ROOT_3

_GLOVES = tuple(GLOVE_USE_VOLTAGE)
# class name in limits -> in the table: a limit's word begins with a letter
GLOVE_WORDS = tuple(f"class-{name}" for name in _GLOVES)
SYSTEMS = ("grounded-wye", "split-phase", "one-side-grounded", "corner-grounded", "high-leg", "ungrounded")
# Source: NFPA 70E table 130.4(E)(a), 2024 edition (a training lesson; 751 V to 15 kV from memory): up to and including ->
# (limited, movable conductor; limited, fixed part; restricted), cm; 0 is "avoid contact".
_APPROACH_70E: tuple[tuple[str, tuple[int, int, int]], ...] = (
    ("150 V", (300, 100, 0)),
    ("750 V", (300, 100, 30)),
    ("15 kV", (300, 150, 70)),
)
PARTS = ("movable-conductor", "fixed-part")


def to_ground(system: str, between: Quantity) -> Quantity:
    """The greatest voltage of a conductor to ground, by the kind of system."""
    volts = number(positive(between, "between"), "V")
    match system:
        case "grounded-wye":
            return quantity(volts / ROOT_3, "V")
        case "split-phase":
            return quantity(volts / 2, "V")
        case "high-leg":
            return quantity(volts * ROOT_3 / 2, "V")
        case _:
            return quantity(volts, "V")  # one side or corner grounded, or ungrounded: the whole of it


def _table(voltage: Quantity) -> tuple[int, int, int]:
    for up_to, distances in _APPROACH_70E:
        if voltage.compare(parse_quantity(up_to)) <= 0:
            return distances
    raise Refused(f"{voltage} is above the rows that are known here (15 kV)")


def restricted_distance(voltage: Quantity) -> Quantity:
    """The stricter of both tables; 0 cm means: avoid contact, and nothing less."""
    try:
        published = approach_distance(positive(voltage, "voltage"))
    except OutsideTableError as error:
        raise Refused(str(error)) from None
    of_regulation = Decimal(0) if published is None else number(published, "cm")
    return quantity(max(of_regulation, Decimal(_table(voltage)[2])), "cm")


def limited_distance(part: str, voltage: Quantity) -> Quantity:
    if number(voltage, "V") < 50:
        raise Refused(f"below {SHOCK_LIMIT} the table names no boundary")
    return quantity(Decimal(_table(voltage)[PARTS.index(part)]), "cm")


def glove_class(voltage: Quantity) -> str:
    try:
        return f"class-{glove_class_for(positive(voltage, 'voltage'))}"
    except OutsideTableError as error:
        raise Refused(str(error)) from None


def gloves_cover(worn: str, voltage: Quantity, leather: str, current: str) -> bool:
    """Whether gloves cover a voltage; without leather only as the exception allows.

    Class 00 without leather up to 250 V AC or 375 V DC, class 0 for limited use, others one class higher than needed.
    The maximum use voltages are AC; for DC only the exception's figure is known.
    """
    name = worn.removeprefix("class-")
    volts = number(positive(voltage, "voltage"), "V")
    if current == "dc":
        if leather == "without-leather" and name == "00":
            return volts <= 375
        raise Refused("the table of maximum use voltages is for AC; ask the maker of the gloves for DC")
    if leather == "with-leather":
        return volts <= number(GLOVE_USE_VOLTAGE[name], "V")
    if name == "00":
        return volts <= 250
    lower = name if name == "0" else _GLOVES[_GLOVES.index(name) - 1]
    return volts <= number(GLOVE_USE_VOLTAGE[lower], "V")


def working_depth(ground: Quantity, condition: str) -> Quantity:
    """Minimum clear depth in front of live parts, by voltage to ground and what stands opposite."""
    volts = number(positive(ground, "to-ground"), "V")
    column = ("nothing-opposite", "grounded-opposite", "live-both-sides").index(condition)
    for up_to, feet in ((150, ("3", "3", "3")), (600, ("3", "3.5", "4")), (1000, ("3", "4", "5"))):
        if volts <= up_to:
            return quantity(Decimal(feet[column]), "ft")
    raise Refused(f"{ground} to ground is above the tables that are known here (1000 V)")


def hazard_of(ground: Quantity, burn: str) -> str:
    """`low` only below 50 V to ground and where nothing can burn or arc; both are needed."""
    if burn == "not-known":
        raise Refused("whether it can burn or arc is not known")
    return "low" if 0 <= number(ground, "V") < number(SHOCK_LIMIT, "V") and burn == "no-burn" else "shock"


def meter_covers(category: Quantity, rated: Quantity, needed: Quantity, ground: Quantity) -> bool:
    mine, asked = (counted(c, "measurement categories") for c in (category, needed))
    for named in (mine, asked):
        if named not in {2, 3, 4}:
            raise Refused(f"a measurement category is 2, 3 or 4, not {named}")
    return rating_covers(category=mine, rated_for=rated, needed_category=asked, to_ground=ground)


def place_category(place: str) -> Quantity:
    return quantity(Decimal(_PLACES[place]), "")


_PLACES = {"socket-load": 2, "building-wiring": 3, "outdoor-unit": 3, "service-entrance": 4}


def resolves(resolution: Quantity, limit: Quantity) -> bool:
    """Whether an instrument's last digit is fine enough for a limit: a tenth of it or less."""
    return positive(resolution, "resolution").times(Decimal(10)).compare(positive(limit, "limit")) <= 0


def ghost_or_fed(high_impedance: Quantity, low_impedance: Quantity) -> str:
    """`nothing`, `ghost` or `fed`, from the same points read on high and on low impedance.

    A coupled voltage collapses on a few kilohms; what stays is fed. 3 V is the limit of dead in our procedures.
    """
    high, low = (abs(number(v, "V")) for v in (high_impedance, low_impedance))
    if low >= 3:
        return "fed"
    return "ghost" if high >= 3 else "nothing"


_KNOWN_70E = "NFPA 70E table 130.4(E)(a), 2024 (a training lesson; above 750 V from memory)"
_TABLE_S5 = "29 CFR 1910.333(c)(3)(ii) table S-5"
_VOLTS = Input("voltage", "voltage", Turn.RISES)

FORMULAS = (
    Formula(
        name="to-ground", inputs=(Input("system", "text", words=SYSTEMS), Input("between", "voltage", Turn.RISES)), gives="voltage", unit="V",
        words="grounded wye: / 1.732; split phase: / 2; high leg: x 0.866; else the whole voltage between conductors",
        source="29 CFR 1910.399, voltage to ground; the divisions are geometry", status=Status.PUBLISHED,
        domain="sound system; with a fault on it a conductor can stand higher: then take ungrounded", work=to_ground,
    ),
    Formula(
        name="restricted-distance", inputs=(_VOLTS,), gives="length", unit="cm",
        words="the larger of both tables' rows for the voltage between phases; 0 cm: avoid contact",
        source=f"{_TABLE_S5}; {_KNOWN_70E}", status=Status.SECONDARY, domain="AC, between phases, up to 15 kV", work=restricted_distance,
    ),
    Formula(
        name="limited-distance", inputs=(Input("part", "text", words=PARTS), _VOLTS), gives="length", unit="cm",
        words="the table's row for the voltage between phases", source=_KNOWN_70E, status=Status.SECONDARY,
        domain="AC, between phases, 50 V to 15 kV", work=limited_distance,
    ),
    Formula(
        name="glove-class", inputs=(_VOLTS,), gives="text", words="lowest class whose maximum use voltage is not below the voltage",
        source="29 CFR 1910.137 table I-4", status=Status.PUBLISHED, domain="AC rms, between phases, leather over rubber", work=glove_class,
    ),
    Formula(
        name="gloves-cover",
        inputs=(Input("worn", "text", words=GLOVE_WORDS), _VOLTS, Input("leather", "text", words=("with-leather", "without-leather")), Input("kind", "text", words=("ac", "dc"))),
        gives="truth",
        words="with leather: voltage up to the class's maximum; without: class 00 up to 250 V AC or 375 V DC, class 0 as it is, others one class higher",
        source="29 CFR 1910.137 table I-4 and (c)(2)(vii)", status=Status.PUBLISHED,
        domain="after use without leather no further use before an electrical test, (c)(2)(vii)(D)", work=gloves_cover,
    ),
    Formula(
        name="working-depth", inputs=(Input("ground", "voltage", Turn.RISES), Input("condition", "text", words=("nothing-opposite", "grounded-opposite", "live-both-sides"))),
        gives="length", unit="ft", words="to 150 V 3 ft; to 600 V 3, 3.5 or 4 ft; to 1000 V 3, 4 or 5 ft",
        source="29 CFR 1910.303 table S-1; from 601 V NEC 110.26(A)(1)", status=Status.PUBLISHED,
        domain="built since 1981-04-16; nothing, something grounded, or live parts opposite", work=working_depth,
    ),
    Formula(
        name="hazard-of", inputs=(Input("ground", "voltage", Turn.RISES), Input("burn", "text", words=("no-burn", "can-burn", "not-known"))), gives="text",
        words="low below 50 V to ground where nothing can burn or arc, else shock",
        source="29 CFR 1910.333(a)(1)", status=Status.PUBLISHED, domain="both conditions are needed", work=hazard_of,
    ),
    Formula(
        name="meter-covers",
        inputs=(Input("category", "number"), Input("rated", "voltage", Turn.RISES), Input("needed", "number"), Input("ground", "voltage", Turn.FALLS)), gives="truth",
        words="category at least that of the place, then rated voltage at least the voltage to ground",
        source="IEC 61010-2-030 test voltages (a maker's manual); 29 CFR 1910.334(c)(3)", status=Status.SECONDARY,
        domain="lowest category and voltage of instrument, leads and probes", work=meter_covers,
    ),
    Formula(
        name="place-category", inputs=(Input("place", "text", words=tuple(_PLACES)),), gives="number",
        words="socket load 2, building wiring 3, outdoor unit 3, service entrance 4",
        source="IEC 61010 categories (a meter maker's guide); outdoor unit derived", status=Status.SECONDARY, domain="the higher one where in doubt", work=place_category,
    ),
    Formula(
        name="resolves", inputs=(Input("resolution", "voltage or current or resistance or capacitance"), Input("limit", "voltage or current or resistance or capacitance")), gives="truth",
        words="resolution at most a tenth of the limit", source="rule of thumb for instruments", status=Status.PRACTICE, domain="last digit of the range in use", work=resolves,
    ),
    Formula(
        name="ghost-or-fed", inputs=(Input("high-impedance", "voltage", Turn.RISES), Input("low-impedance", "voltage", Turn.RISES)), gives="text",
        words="low impedance 3 V or more: fed; else high impedance 3 V or more: ghost; else nothing",
        source="coupled voltage collapses on low impedance (trade pages); 3 V is ours", status=Status.SECONDARY,
        domain="the same points, one after the other; the low-impedance function proved before and after", work=ghost_or_fed,
    ),
)  # fmt: skip
