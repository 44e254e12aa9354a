"""The moves of a search, each worked out once for all positions that are alike in what it reads.

A leap is a move as masks with everything that a search does about it: where it leads, nodes that go on by
themselves and what is forgotten there included, which checks it breaks, what is noticed and pinned, and what
the observers make of it. What decides a leap is a few bits; positions with the same few take the same leap.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

from ohmward.chart.layout import Condition, all_of, holds
from ohmward.proof.covering import Covering, Way
from ohmward.proof.forget import Forget
from ohmward.proof.known import Known
from ohmward.proof.obligations import Check
from ohmward.proof.watchers import Observers


@dataclass(frozen=True, slots=True, kw_only=True)
class Leap(Way):
    """A way with what a search does about it; standing still is one too. `broken`: the checks that forbid it.

    `moot`: what observers keep of what they know; `seen`: what they knew before, to what they know after. Left out
    there is what must be looked at each time: where a check, an order or an end is broken.
    """

    moot: int
    broken: tuple[tuple[str, str], ...]
    seen: dict[int, int] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Offer:
    """What can be done at a node: a trigger, or nothing ('').

    `loses`: whether it only takes gates and kept answers away; `takes`: which, if none of it is watched, and `to`: where
    its row leads.
    """

    node: int
    trigger: str
    loses: bool
    takes: int
    to: int
    leaps: Known[Leap] = field(default_factory=Known)


@dataclass(frozen=True, slots=True)
class _Watched:
    """One check, with the condition of its being broken."""

    check: Check
    broken: Condition


class Leaps:
    """The leaps of one search over one table."""

    def __init__(
        self,
        checks: tuple[Check, ...],
        observers: Observers,
        covering: Covering,
        forget: Forget,
        only: Callable[[str], bool] | None,
    ) -> None:
        self.observers, self.covering, self.forget, self.only = observers, covering, forget, only
        table = covering.table
        self.watched: dict[tuple[int, str], list[_Watched]] = {}
        for check in checks:
            watched = _Watched(check, table.layout.opposite(check.must))
            self.watched.setdefault((table.index[check.node], check.trigger), []).append(watched)
        self.offers: dict[int, list[Offer]] = {}

    def at(self, node: int) -> list[Offer]:
        """Standing at a node first, then one trigger of each kind of move and those that a rule watches: of those
        that the search is about."""
        offers = self.offers.get(node)
        if offers is None:
            first = self.covering.triggers(node)
            more = (t for t in self.covering.table.packed[node] if t not in first and self._is_watched(node, t))
            triggers = ("", *(t for t in (*first, *more) if self.only is None or self.only(t)))
            offers = self.offers[node] = [self._offer(node, trigger) for trigger in triggers]
        return offers

    def _is_watched(self, node: int, trigger: str) -> bool:
        return (node, trigger) in self.watched or trigger in self.observers.before

    def _offer(self, node: int, trigger: str) -> Offer:
        loses = self.covering.direct.get(trigger, 0)
        watched = self._is_watched(node, trigger)
        to = self.covering.table.packed[node][trigger][0][2] if loses else node
        return Offer(node=node, trigger=trigger, loses=bool(loses), takes=0 if watched else loses, to=to)

    def find(self, offer: Offer, bits: int) -> Leap:
        """The leap that an offer is at these bits. Raises BrokenError where the table leads nowhere."""
        leap = offer.leaps.get(bits)
        if leap is None:
            leap = self._moving(offer, bits) if offer.trigger else self._standing(offer, bits)
            offer.leaps.keep(leap.read, bits, leap)
        return leap

    def _standing(self, offer: Offer, bits: int) -> Leap:
        noticed, broken, read = self._checked(offer, bits)
        return Leap(
            keep=-1,
            put=0,
            node=offer.node,
            marks=(),
            noticed=noticed,
            carried=0,
            pinned=0,
            read=read,
            hops=0,
            moot=-1,
            broken=broken,
        )

    def _moving(self, offer: Offer, bits: int) -> Leap:
        noticed, broken, read = self._checked(offer, bits)
        way = self.covering.way(offer.node, offer.trigger, bits)
        there = bits & way.keep | way.put
        keep, put = self.forget.masks(way.node, there)
        last = self.covering.last(way.node)
        return Leap(
            keep=way.keep & keep,
            put=way.put & keep | put,
            node=way.node,
            marks=way.marks,
            noticed=noticed | way.noticed | (way.put & keep | put) & last,
            carried=way.carried | way.keep & keep & last,
            pinned=way.pinned,
            read=read | way.read | way.keep & (self.forget.reads(way.node) | self.observers.reads),
            hops=way.hops,
            moot=self.observers.needed(there),
            broken=broken,
        )

    def _checked(self, offer: Offer, bits: int) -> tuple[int, tuple[tuple[str, str], ...], int]:
        """The bits whose loss could break a check, the checks that are broken, and what all this reads."""
        watched = self.watched.get((offer.node, offer.trigger), ())
        noticed = read = 0
        for one in watched:
            noticed |= self.covering.lapsing(one.broken, bits)
            read |= all_of((*one.broken, *one.check.must))
        return noticed, tuple(self._broken(watched, bits)), read

    def _broken(self, watched: list[_Watched] | tuple[()], bits: int) -> Iterator[tuple[str, str]]:
        for one in watched:
            if not holds(one.check.must, bits):
                yield one.check.rule, one.check.words
