"""What a meter, its leads and a lead's fuse must be good for."""

from ohmward.trade.quantity import Quantity


def rating_covers(*, category: int, rated_for: Quantity, needed_category: int, to_ground: Quantity) -> bool:
    """Category before voltage, by place in the installation: II socket loads, III building wiring and panels, IV origin.

    A CAT II 1000 V meter does not cover a CAT III 300 V place.

    A higher category at the needed voltage covers a lower one. Source: IEC 61010 test voltages (secondary):
    the impulse source of CAT II is 12 ohm, of CAT III and IV 2 ohm.
    """
    return category >= needed_category and rated_for.compare(to_ground) >= 0


def lowest_rating(parts: tuple[tuple[int, Quantity], ...]) -> tuple[int, Quantity]:
    """Category and voltage of a chain of meter, leads and probes: the lowest of each.

    Source: a meter maker's manual (secondary): do not exceed the lowest rated component.
    Raises ValueError for an empty chain: no rating is no permit.
    """
    if not parts:
        raise ValueError("a chain without parts has no rating")
    lowest = parts[0][1]
    for _, volts in parts[1:]:
        lowest = volts if volts.compare(lowest) < 0 else lowest
    return min(category for category, _ in parts), lowest
