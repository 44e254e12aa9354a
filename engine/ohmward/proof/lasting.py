"""Gates that cannot last: what a step and the routines before it usually take is longer than a gate holds.

Such a gate is not lost by chance: it is lost each time, brought in again, and the step is never done with it held.
"""

from collections.abc import Iterator
from typing import Any

from ohmward.chart.rows import SHIFT
from ohmward.chart.table import Table
from ohmward.language.fields import seconds


def too_short(table: Table) -> Iterator[tuple[str, str, str, int]]:
    """(gate, step, how long the gate holds, seconds that it would have to).

    Gates are brought in longest-lived first, so the routines of shorter-lived ones come between; a gate that
    was lost meanwhile is brought in alone, and then only the step itself comes after it.
    """
    data: Any = table.data
    for name, step in data["steps"].items():
        timed = [k for k in step["needs"] if data["gates"][k]["lifetime"] < SHIFT]
        for key in timed:
            lives = data["gates"][key]["lifetime"]
            alone = _takes(step)
            others = [
                k for k in timed if k != key and data["gates"][k]["lifetime"] <= alone + _routine(data, key)
            ]
            needed = alone + max((_routine(data, k) for k in others), default=0)
            if needed > lives:
                yield key, name, data["gates"][key]["holds_for"], needed


def _routine(data: Any, key: str) -> int:  # noqa: ANN401  plain data of the table
    return sum(_takes(data["steps"][name]) for name in data["gates"][key]["steps"])


def _takes(step: Any) -> int:  # noqa: ANN401
    """Seconds: what a step usually takes, at least what it must wait."""
    return max(seconds(step.get(word, "0 s")) for word in ("takes", "wait"))
