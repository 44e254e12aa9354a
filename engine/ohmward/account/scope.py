"""Whether a procedure fits a job: its scope, and circuits that count as limited."""

from collections.abc import Mapping
from typing import Any

from ohmward.account.names import names_for
from ohmward.chart.table import Table
from ohmward.language.evaluate import decide
from ohmward.language.expression import Truth, Value, parse_expression
from ohmward.language.working import filled, told
from ohmward.trade.quantity import Quantity
from ohmward.trade.shock import SHOCK_LIMIT


def unfit(table: Table, job: Mapping[str, Any], day: str) -> list[str]:
    """Every condition of the scope that the job does not meet, in words; empty when it fits."""
    wrong = []
    names = names_for({"job": job, "gear": {}}, {}, {"env": {}}, table.data, day)
    scope: Any = table.data["scope"]
    for require in scope:
        truth, why = decide(parse_expression(require["require"]), names)
        if truth is not Truth.YES:
            wrong.append(
                f"{filled(require['otherwise'], names)} (needed: {told(require['require'], names)}{'; ' + why if why else ''})"
            )
    return wrong + _not_limited(table, names)


def _not_limited(table: Table, names: Mapping[str, Value]) -> list[str]:
    """A circuit counts as limited only where the job sheet says that it is below 50 V (29 CFR 1910.333(a)(1))."""
    sources: Any = table.data["sources"]
    wrong = []
    for name, source in sources.items():
        if "limited" not in source:
            continue
        said = [names.get(f"{name}.{word}") for word in ("to-ground", "phase-to-phase")]
        if not all(isinstance(v, Quantity) and v.compare(SHOCK_LIMIT) < 0 for v in said):
            wrong.append(
                f"{source['label']} counts as limited here ({source['limited']}); the job sheet must give it under "
                f"circuits: {name}, below {SHOCK_LIMIT} to ground and between conductors"
            )
    return wrong
