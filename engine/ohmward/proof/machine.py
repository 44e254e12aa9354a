"""Which circuits a procedure's work is about, what stands behind a temporary, and when a circuit is off, by what is written."""

from collections.abc import Collection, Mapping
from typing import Any


def touched(data: Any) -> list[str]:  # noqa: ANN401  plain data of the table
    """Circuits that can shock and that a step of the procedure touches, or that stand where it works; none that is counted."""
    steps = [data["steps"][name] for name in data["order"]]
    names = [s for step in steps for s in (*step["hands"], *step["probes"])]
    names += [s for step in steps if step["place"] for s in data["places"][step["place"]]["holds"]]
    return [c for c in _shocking(data, names) if "count" not in data["sources"][c]]


def of_machine(data: Any) -> frozenset[str]:  # noqa: ANN401
    """The circuits that move something; where nothing moves those that are touched; else all that can shock and feed no other."""
    sources = data["sources"]
    moving = [s["driven_by"] for s in sources.values() if "driven_by" in s]
    every = _shocking(data, sources)
    feeding = {feeder for c in every for feeder in sources[c]["fed_by"]}
    return frozenset(_shocking(data, moving) or touched(data) or [c for c in every if c not in feeding])


def driving(data: Any, temporary: Mapping[str, Any]) -> frozenset[str]:  # noqa: ANN401
    """The circuits that move what stands in the place of a temporary."""
    there = (data["sources"][s] for s in within(data, temporary))
    return frozenset(_shocking(data, [s["driven_by"] for s in there if "driven_by" in s]))


def behind(data: Any, temporary: Mapping[str, Any]) -> frozenset[str]:  # noqa: ANN401
    """The circuits that can shock of all that a temporary bares or is on; of a store what charges it."""
    return frozenset(_shocking(data, (*temporary["on"], *within(data, temporary))))


def within(data: Any, temporary: Mapping[str, Any]) -> tuple[str, ...]:  # noqa: ANN401
    """What stands in the place that a temporary bares or stands in."""
    place = temporary.get("at", "")
    return tuple(data["places"][place]["holds"]) if place else ()


def is_off(
    data: Any,  # noqa: ANN401
    circuit: str,
    *,
    devices: Collection[str] = (),
    circuits: Collection[str] = (),
) -> bool:
    """Whether a circuit is off where these devices, or these circuits, are held off: by one of its own, or by every feeder."""
    source = data["sources"][circuit]
    own = circuit in circuits or not set(source["through"]).isdisjoint(devices)
    feeders = source["fed_by"]
    return own or (bool(feeders) and all(is_off(data, f, devices=devices, circuits=circuits) for f in feeders))


def _shocking(data: Any, names: Collection[str]) -> list[str]:  # noqa: ANN401
    """Each circuit that is not limited, once; for a store the one that charges it."""
    sources = data["sources"]
    fed = dict.fromkeys(sources[name].get("charged_by", name) for name in names)
    return [c for c in fed if sources[c]["kind"] == "circuit" and "limited" not in sources[c]]
