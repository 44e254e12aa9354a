"""From what was typed to an outcome: readings against bands, within what the instrument can vouch for."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal
from typing import Any

from ohmward.language.evaluate import decide, evaluate
from ohmward.language.expression import Call, Expression, Name, Truth, Value, names_in, parse_expression
from ohmward.language.working import filled, shown
from ohmward.record.entry import Entry, Reading
from ohmward.trade.catalogue import FORMULAS
from ohmward.trade.formula import Turn
from ohmward.trade.quantity import (
    DIFFERENCE,
    DIFFERENCE_UNIT,
    TEMPERATURE,
    Quantity,
    QuantityError,
    parse_quantity,
    with_unit,
)
from ohmward.trade.span import Interval, spanned

OVER_RANGE = "OL"
_SIGNED = frozenset({TEMPERATURE, "gauge pressure"})
NOT_DECIDED = "not decided"


@dataclass(frozen=True, slots=True, kw_only=True)
class Accuracy:
    """± percent of reading + counts × resolution, as on the instrument's data sheet."""

    percent: Decimal
    counts: int
    resolution: Quantity
    up_to: Quantity | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """The outcome's name and the reason in words."""

    outcome: str
    why: str
    values: tuple[Reading, ...] = ()


def parse_value(said: str, unit: str) -> Quantity | None:
    """A typed value; None for over range. A bare number takes the step's unit.

    A minus sign on a meter is its polarity and goes; on a thermometer or a gauge it stays.

    Raises QuantityError, in words, for anything else.
    """
    text = said.strip()
    if text.upper() == OVER_RANGE:
        return None
    value = parse_quantity(with_unit(text, unit))
    value.must_match(Quantity(Decimal(0), unit))
    if value.dimension == TEMPERATURE and value.base < 0:
        raise QuantityError(f"{value} is below absolute zero")
    return value if value.dimension in _SIGNED else Quantity(abs(value.value), value.unit)


def judge_reading(
    step: Mapping[str, Any],
    said: Sequence[tuple[str, str]],
    accuracy: Accuracy | Sequence[Accuracy | None] | None,
    names: Mapping[str, Value],
) -> Judged:
    """The band of a reading: `said` gives (point, text); `accuracy` one for all or one for each.

    Raises QuantityError for text that is no value.
    """
    vouched = list(accuracy) if isinstance(accuracy, Sequence) else [accuracy] * len(said)
    values: list[Reading] = []
    spans: list[Interval | None] = []
    for (point, text), known in zip(said, vouched, strict=True):
        value = parse_value(text, step["unit"])
        span = None if value is None else _span(value, known)
        spans.append(span)
        low, high = _shown(span, known)
        values.append(Reading(point=point, said=text.strip(), low=low, high=high))
    if None in vouched and step.get("slot"):
        return Judged(
            outcome=NOT_DECIDED,
            why="the register does not say how accurate the instrument is on this function",
            values=tuple(values),
        )
    above = _above_range(values, vouched)
    if above:
        return Judged(outcome=NOT_DECIDED, why=above, values=tuple(values))
    worked = _worked_out(step, spans, names)
    if isinstance(worked, str):
        return Judged(outcome=NOT_DECIDED, why=worked, values=tuple(values))
    if not _reaches(step, spans, vouched, names):
        why = "over range, and the range of the instrument does not reach what is asked; choose another"
        return Judged(outcome=NOT_DECIDED, why=why, values=tuple(values))
    outcome, why = _outcome(step, worked, names)
    return Judged(outcome=outcome, why=why, values=tuple(values))


def judge_spans(
    step: Mapping[str, Any], spans: Sequence[Interval | None], names: Mapping[str, Value]
) -> tuple[str, str]:
    """The band of what is worked out from spans that are known, and why. Over range says nothing here."""
    if None in spans:
        return NOT_DECIDED, "one value is over range: nothing is worked out from it"
    worked = _worked_out(step, spans, names)
    return (NOT_DECIDED, worked) if isinstance(worked, str) else _outcome(step, worked, names)


def _outcome(
    step: Mapping[str, Any], worked: list[Interval | None], names: Mapping[str, Value]
) -> tuple[str, str]:
    deciding = _deciding(worked, step.get("decided_by", "largest"))
    return _together(step, [_band(step, span, names) for span in deciding])


def _above_range(values: Sequence[Reading], vouched: Sequence[Accuracy | None]) -> str:
    """Why a value cannot be what the instrument shows; '' when every value is within its range."""
    for taken, known in zip(values, vouched, strict=True):
        top = known.up_to if known is not None else None
        if top is not None and taken.low and parse_quantity(taken.low).compare(top) > 0:
            return f"{taken.said} at {taken.point} is above the range of the instrument ({top})"
    return ""


def _span(value: Quantity, accuracy: Accuracy | None) -> Interval:
    if accuracy is None:
        return Interval(value, value)
    shows = accuracy.resolution.dimension
    if value.dimension != (TEMPERATURE if shows == DIFFERENCE else shows):
        raise QuantityError(f"{value} is not what this function of the instrument shows")
    span = Interval.around(
        value, percent=accuracy.percent, counts=accuracy.counts, resolution=accuracy.resolution
    )
    if span.low.value >= 0 or value.dimension in _SIGNED:
        return span
    return Interval(Quantity(Decimal(0), span.low.unit), span.high)


def _shown(span: Interval | None, accuracy: Accuracy | None) -> tuple[str, str]:
    """The interval as it is printed: rounded outwards to a tenth of a count, so that it never looks narrower."""
    if span is None:
        return "", ""
    if accuracy is None:
        return str(span.low), str(span.high)
    unit = DIFFERENCE_UNIT.get(span.low.unit, span.low.unit)
    step = accuracy.resolution.to(unit).value / 10
    low = (span.low.value / step).to_integral_value(rounding=ROUND_FLOOR) * step
    high = (span.high.value / step).to_integral_value(rounding=ROUND_CEILING) * step
    return str(Quantity(low, span.low.unit)), str(Quantity(high, span.high.unit))


def _worked_out(
    step: Mapping[str, Any], spans: Sequence[Interval | None], names: Mapping[str, Value]
) -> list[Interval | None] | str:
    """What the bands judge: what was read, or what `computes:` makes of it; why it makes nothing, in words."""
    if "computes" not in step:
        return list(spans)
    tree = parse_expression(step["computes"])
    if None in spans and not rises(tree):
        return "one value is over range, and what is worked out need not be; choose another range"
    made: list[Interval | None] = []
    for given in given_values(tree, spans):
        if given is None:
            made.append(None)
            continue
        result = evaluate(tree, {**names, **given})
        if not isinstance(result, Quantity | Interval):
            return getattr(result, "why", f"{result} is no number")
        made.append(result if isinstance(result, Interval) else Interval(result, result))
    return made


def given_values(
    tree: Expression, spans: Sequence[Interval | None]
) -> tuple[Mapping[str, Value] | None, ...]:
    """The names under which `computes:` finds what was read: one set for all, or one for each value.

    None stands for a set with a value over range.
    """
    read = {n.name for n in names_in(tree)}
    if "value" in read:
        return tuple(None if s is None else {"value": _narrow(s)} for s in spans)
    known = [s for s in spans if s is not None]
    together = {f"value-{n}": _narrow(s) for n, s in enumerate(known, 1)}
    return (together if len(known) == len(spans) else None,)


def _reaches(
    step: Mapping[str, Any],
    spans: Sequence[Interval | None],
    vouched: Sequence[Accuracy | None],
    names: Mapping[str, Value],
) -> bool:
    """Whether over range is as far as the last band: the top of a known range, worked out, falls into it."""
    for span, known in zip(spans, vouched, strict=True):
        if span is not None or known is None or known.up_to is None:
            continue
        text = step.get("computes", "value")
        top = evaluate(parse_expression(text), {**names, "value": known.up_to})
        if not isinstance(top, Quantity) or _where(step["bands"], top, names)[0] != step["bands"][-1]["name"]:
            return False
    return True


def rises(tree: Expression) -> bool:
    """Whether what is worked out of one `value` is over range when that is: it rises with it and nothing else."""
    match tree:
        case Name(name="value"):
            return True
        case Call(name=name, arguments=arguments) if name in FORMULAS:
            pairs = list(zip(FORMULAS[name].inputs, arguments, strict=True))
            holding = [(i, a) for i, a in pairs if any(n.name == "value" for n in names_in(a))]
            return len(holding) == 1 and holding[0][0].turn is Turn.RISES and rises(holding[0][1])
        case _:
            return False


def spans_of(entry: Entry) -> tuple[Interval | None, ...]:
    """What an entry's values could have been, as it keeps them; None for over range."""
    return tuple(
        Interval(parse_quantity(v.low), parse_quantity(v.high)) if v.low else None for v in entry.values
    )


def _narrow(span: Interval) -> Quantity | Interval:
    return spanned(span.low, span.high)


def _deciding(spans: list[Interval | None], how: str) -> list[Interval | None]:
    """The spans that decide: over range is larger than anything."""
    if how == "each" or len(spans) <= 1:
        return spans
    known = [s for s in spans if s is not None]
    over = len(known) < len(spans)
    if how == "largest":
        return [None] if over else [max(known, key=lambda s: s.high.base)]
    return [min(known, key=lambda s: s.low.base)] if known else [None]


def _band(step: Mapping[str, Any], span: Interval | None, names: Mapping[str, Value]) -> tuple[str, str]:
    bands = step["bands"]
    if span is None:
        last = bands[-1]
        return (
            (last["name"], "over range")
            if "over_range" in last
            else (NOT_DECIDED, "the display shows over range; choose another range or function")
        )
    low, why_low = _where(bands, span.low, names)
    high, why_high = _where(bands, span.high, names)
    if not low or not high:
        return NOT_DECIDED, why_low or why_high
    if low != high:
        return NOT_DECIDED, f"the instrument cannot tell '{low}' from '{high}' here ({shown(span)})"
    return low, shown(span)


def _where(
    bands: Sequence[Mapping[str, str]], value: Quantity, names: Mapping[str, Value]
) -> tuple[str, str]:
    for band in bands:
        text, inclusive = (band["below"], False) if "below" in band else (band.get("up_to", ""), True)
        if not text:
            return band["name"], ""
        limit = evaluate(parse_expression(text), names)
        if not isinstance(limit, Quantity):
            return "", f"the limit of '{band['name']}' is not known: {getattr(limit, 'why', limit)}"
        order = value.compare(limit)
        if order < 0 or (inclusive and order == 0):
            return band["name"], ""
    return "", "no band takes this value"


def _together(step: Mapping[str, Any], judged: list[tuple[str, str]]) -> tuple[str, str]:
    """One outcome from several: undecided first, then the lowest band that leaves the usual way."""
    if not judged:
        return NOT_DECIDED, "no value was given"
    for outcome, why in judged:
        if outcome == NOT_DECIDED:
            return outcome, why
    order = [b["name"] for b in step["bands"]]
    leaving = {o["name"] for o in step["outcomes"] if o["then"] or o["effects"]}
    worst = sorted(judged, key=lambda j: (j[0] not in leaving, order.index(j[0])))
    return worst[0]


def first_unmet(suits: Sequence[Mapping[str, str]], names: Mapping[str, Value]) -> tuple[str, str]:
    """The first condition that is not true: its text and what to do; ('', '') when all are true."""
    for suit in suits:
        truth, why = decide(parse_expression(suit["require"]), names)
        if truth is not Truth.YES:
            return suit["require"], filled(suit["otherwise"], names) + (f" ({why})" if why else "")
    return "", ""
