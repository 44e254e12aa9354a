"""How many questions come before somebody reads or touches, on the usual way: a limit on ticking through.

Source: ours. A first draft asked 25 questions before a 24 V reading; they would be ticked through.
"""

from dataclasses import dataclass
from typing import Any

from ohmward.chart.table import Table
from ohmward.chart.usual import usual_way

LOW, SHOCK, HANDS, TEXTS = 8, 12, 26, 3
LOW_READING, LIVE_READING = "a reading on a limited circuit", "a reading that can shock"
HANDS_IN = "hands on dead parts"


@dataclass(frozen=True, slots=True, kw_only=True)
class Spent:
    """What the usual way asks before one thing is done. None where it is not done on that way."""

    what: str
    asked: int
    most: int

    @property
    def over(self) -> bool:
        return self.asked > self.most


def spent_by(table: Table) -> tuple[Spent, ...]:
    """Questions before the first reading (by the tier it is taken in), and before hands on dead parts.

    Answers that what is in use gives by itself are no questions. A reading after something was held off is no live
    one. Typed texts are counted up to the first reading or touch.
    """
    steps: Any = table.data["steps"]
    found: dict[str, int] = {}
    asked = texts = 0
    held = False
    for question in usual_way(table):
        step = steps[question.step]
        what = _reached(table, step, held=held)
        if what and not (what.startswith("a reading") and found):
            found.setdefault(what, asked)
        if question.carried:
            continue
        asked += 1
        texts += not found and step["kind"] in {"confirm", "fact"}
        held = held or any(
            "hold off" in e for o in step["outcomes"] for e in (*step["confirmed"], *o["effects"])
        )
    limits = {LOW_READING: LOW, LIVE_READING: SHOCK, HANDS_IN: HANDS}
    made = [Spent(what=what, asked=found[what], most=most) for what, most in limits.items() if what in found]
    return (*made, Spent(what="a first reading or touch, in typed texts", asked=texts, most=TEXTS))


def _reached(table: Table, step: Any, *, held: bool) -> str:  # noqa: ANN401  plain data of the table
    """What a step does for the first time: a reading, by what is bare within reach, or hands; '' for neither."""
    data: Any = table.data
    if step["hands"]:
        return HANDS_IN
    if step["kind"] != "reading" or not step["probes"]:
        return ""
    bare = {*step["probes"], *data["places"][step["place"]]["holds"]}
    if all("limited" in data["sources"][s] for s in bare):
        return LOW_READING
    return "" if held else LIVE_READING
