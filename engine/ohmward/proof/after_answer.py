"""What can follow an answer, whatever is answered next: the ways of a procedure as written, gates and interruptions with them."""

from collections.abc import Iterable, Iterator
from enum import StrEnum
from typing import Any, NamedTuple

from ohmward.chart.plan import OTHERS, Leads
from ohmward.chart.table import Table
from ohmward.errors import BrokenError
from ohmward.proof.leaving import answer_reaches_held


class Work(StrEnum):
    """What becomes of the work after an answer."""

    ENDS = "ends"  # only opening, holding off, covering, telling
    STAYS_OFF = "stays off"  # nothing is fed again


class Way(NamedTuple):
    """One answer to one step."""

    step: str
    outcome: Any


_FEEDS = ("close ", "release ", "turn ", "fit ")
_RAISES = {Work.STAYS_OFF: _FEEDS, Work.ENDS: (*_FEEDS, "uncover ")}
_EXPOSES = ("hands", "probes", "near")


def way_after(table: Table, way: Way, work: Work, *, again: bool) -> Iterator[str]:
    """What is wrong with the way that an answer leads, as words; at most one thing. `again`: in a gate it may be asked anew."""
    data: Any = table.data
    owner = data["steps"][way.step]["owner"]
    if owner and answer_reaches_held(table, owner, way.step, way.outcome["name"], again=again):
        yield "does not keep its gate from being held"
        return
    to, more = way.outcome["then"], way.outcome.get("exhausted", "")
    first = where_not_held(data, owner) if owner else [*([to] if to else _next(data, way.step)), more]
    for name in _ahead(data, first):
        end = data["ends"].get(name)
        wrong = _in_service(end) if end is not None else _wrong(data["steps"][name], work)
        if wrong:
            yield f"leads on to '{(end or {}).get('title') or data['steps'][name]['prompt']}' ({wrong})"
            return


def _in_service(end: Any) -> str:  # noqa: ANN401
    """What an end leaves live; '' for nothing. What feeds a circuit that it holds off may stay live."""
    if "held off" in end["leaves"].values():
        return ""
    return next((f"{name} is left live" for name, how in end["leaves"].items() if how == "live"), "")


def _wrong(step: Any, work: Work) -> str:  # noqa: ANN401
    """The first thing in a step that nobody does any more; '' for none."""
    raised: list[str] = [e for e in step["begun"] if e.startswith(_RAISES[work])]
    exposed = [f"{how} on {step[how][0]}" for how in _EXPOSES if step[how]] if work is Work.ENDS else []
    return next(iter((*raised, *exposed)), "")


def _ahead(data: Any, first: list[str]) -> list[str]:  # noqa: ANN401
    """Steps and ends that can follow: of the procedure, and the routines of every gate that one of them needs.

    Raises BrokenError for a name that is neither: a way that nobody looks at would be a permit.
    """
    known = {**data["steps"], **data["ends"]}
    found = [name for name in dict.fromkeys(first) if name]
    for name in found:
        if name not in known:
            raise BrokenError(f"'{name}' is neither a step nor an end of this table")
        after = _ways(data, name) if name in data["order"] else []
        for key in with_asked(data, known[name].get("needs", ())):
            after += data["gates"][key]["steps"] + where_not_held(data, key)
        found += [s for s in dict.fromkeys(after) if s and s not in found]
    return found


def _ways(data: Any, name: str) -> list[str]:  # noqa: ANN401
    """Where a step of the procedure can lead, its interruption and its being passed over included."""
    ways = not_answered(data, name)
    for outcome in data["steps"][name]["outcomes"]:
        ways += leads_of(data, name, outcome)
    return ways


def leads_of(data: Any, name: str, outcome: Any) -> list[str]:  # noqa: ANN401
    """Where one answer leads."""
    on = outcome["leads"] == Leads.ON.value
    following = [outcome["then"]] if outcome["then"] else _next(data, name) if on else []
    return [*following, *((outcome["exhausted"],) if "exhausted" in outcome else ())]


def not_answered(data: Any, name: str, *, over: bool = True) -> list[str]:  # noqa: ANN401
    """Where a step leads without an answer: interrupted, absent, and where it is passed over (`over`)."""
    step = data["steps"][name]
    ways = [w for w in (step.get("if_interrupted", ""), step.get("absent", "")) if w]
    for length in step.get("passes", ()) if over else ():
        ways += _next(data, name, length)
    return ways


def _next(data: Any, name: str, by: int = 1) -> list[str]:  # noqa: ANN401
    order: list[str] = data["order"]
    at = order.index(name) + by
    return order[at : at + 1]


def with_asked(data: Any, calls: Iterable[str]) -> list[str]:  # noqa: ANN401
    """Gates, by their keys as they are written, with all that they ask for."""
    wanted = {call.replace(" ", "") for call in calls}
    found = [key for key in data["gates"] if key.replace(" ", "") in wanted]
    for key in found:
        found += [k for k in data["gates"][key]["asks"] if k not in found]
    return found


def where_not_held(data: Any, key: str) -> list[str]:  # noqa: ANN401
    """Where a gate that cannot be held leads."""
    written = data["landings"]
    return [written.get(data["gates"][key]["gate"], written.get(OTHERS, ""))]
