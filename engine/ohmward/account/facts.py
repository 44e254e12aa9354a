"""Facts of a job as a procedure believes them, and the conditions that they decide once a run. Pure."""

from collections.abc import Mapping
from datetime import date
from typing import Any

from ohmward.account.names import names_for
from ohmward.account.words import items_of
from ohmward.chart.table import Table
from ohmward.language.evaluate import decide
from ohmward.language.expression import Truth, parse_expression
from ohmward.trade.quantity import Quantity, QuantityError, parse_quantity, with_unit


def check_fact(table: Table, name: str, text: str) -> str | list[str]:
    """The fact as a table's procedure declares it. Raises QuantityError in words."""
    facts: Any = table.data["facts"]
    return check_declared(facts[name], name, text)


def check_declared(declared: Mapping[str, Any], name: str, text: str) -> str | list[str]:
    """The fact as it is kept: a number with its unit, a word, a day, a list. Raises QuantityError in words."""
    if "list_of" in declared:
        parts = [part.strip() for part in text.split(",") if part.strip()]
        if not parts or len(set(parts)) != len(parts):
            raise QuantityError(f"{name}: at least one, each named once")
        return parts
    if "one_of" in declared:
        if text not in declared["one_of"]:
            raise QuantityError(f"'{text}' is not one of: {', '.join(declared['one_of'])}")
        return text
    if "kind" in declared:
        return _text_or_date(name, text, declared["kind"])
    unit = declared.get("unit", "")
    value = parse_quantity(with_unit(text, unit))
    value.must_match(Quantity(value.value, unit))
    for word, sign in (("from", -1), ("up_to", 1)):
        if word in declared and value.compare(parse_quantity(declared[word])) * sign > 0:
            raise QuantityError(
                f"{name}: {value} is outside what is believed ({declared.get('from', '')} to {declared.get('up_to', '')})"
            )
    return str(value)


def _text_or_date(name: str, text: str, kind: str) -> str:
    if not text.strip():
        raise QuantityError(f"{name}: something must be said")
    if kind == "date":
        try:
            return date.fromisoformat(text.strip()).isoformat()
        except ValueError:
            raise QuantityError(f"{name}: '{text}' is not a day such as 2026-03-01") from None
    return text.strip()


def decided_conditions(
    table: Table, job: Mapping[str, Any], day: str
) -> tuple[dict[str, str], dict[str, str]]:
    """Every condition by data as yes or no, and why those that cannot be decided cannot."""
    decided: dict[str, str] = {}
    open_: dict[str, str] = {}
    known: Any = table.data["conditions"]
    names = names_for({"job": job, "gear": {}}, {}, {"env": {}}, table.data, day) if known else {}
    for variable, condition in known.items():
        if "supplies" in condition:
            decided[variable] = "yes" if job.get("supplies", {}).get(condition["supplies"]) else "no"
            continue
        if "fact" in condition:
            items = items_of(job["facts"], condition["fact"])
            decided[variable] = "yes" if len(items) >= condition["at least"] else "no"
            continue
        truth, why = decide(parse_expression(condition["limit"]), names)
        if truth is Truth.UNDECIDED:
            open_[condition["limit"]] = why
        decided[variable] = "yes" if truth is Truth.YES else "no"
    return decided, open_
