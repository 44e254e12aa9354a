"""From what was typed to an outcome: readings against bands, within what the instrument can vouch for."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal
from typing import Any

from ohmward.language.evaluate import decide, evaluate
from ohmward.language.expression import Truth, Value, parse_expression
from ohmward.record.entry import Reading
from ohmward.trade.quantity import Quantity, QuantityError, parse_quantity, with_unit
from ohmward.trade.span import Interval

OVER_RANGE = "OL"
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
    """The magnitude of a typed value; None for over range. A bare number takes the step's unit.

    Raises QuantityError, in words, for anything else. A minus sign on a meter is its polarity.
    """
    text = said.strip()
    if text.upper() == OVER_RANGE:
        return None
    value = parse_quantity(with_unit(text, unit))
    value.must_match(Quantity(Decimal(0), unit))
    return Quantity(abs(value.value), value.unit)


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
    judged = [_band(step, span, names) for span in _deciding(spans, step.get("decided_by", "largest"))]
    outcome, why = _together(step, judged)
    return Judged(outcome=outcome, why=why, values=tuple(values))


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
    if value.dimension != accuracy.resolution.dimension:
        raise QuantityError(f"{value} is not what this function of the instrument shows")
    span = Interval.around(
        value, percent=accuracy.percent, counts=accuracy.counts, resolution=accuracy.resolution
    )
    return span if span.low.value >= 0 else Interval(Quantity(Decimal(0), span.low.unit), span.high)


def _shown(span: Interval | None, accuracy: Accuracy | None) -> tuple[str, str]:
    """The interval as it is printed: rounded outwards to a tenth of a count, so that it never looks narrower."""
    if span is None:
        return "", ""
    if accuracy is None:
        return str(span.low), str(span.high)
    step = accuracy.resolution.to(span.low.unit).value / 10
    low = (span.low.value / step).to_integral_value(rounding=ROUND_FLOOR) * step
    high = (span.high.value / step).to_integral_value(rounding=ROUND_CEILING) * step
    return str(Quantity(low, span.low.unit)), str(Quantity(high, span.high.unit))


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
        return NOT_DECIDED, f"the instrument cannot tell '{low}' from '{high}' here ({span})"
    return low, f"{span}"


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
            return suit["require"], suit["otherwise"] + (f" ({why})" if why else "")
    return "", ""
