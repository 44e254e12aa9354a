"""Every position that a table can reach, with the rules checked on the way; shortest way first.

A state is a position with its observers: how far each required order has come since the device was last
held off, and which devices stand released. A kept state stands for all that it may lapse to where the run
stands (`covering`); a `Plain` search keeps every one, and is what the tests hold the covering one against.
"""

import heapq
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

from ohmward.chart.table import NODE_BITS, NODE_MASK, Position, Table
from ohmward.proof.covering import Covering
from ohmward.proof.forget import Forget
from ohmward.proof.leaps import Leap, Leaps, Offer
from ohmward.proof.obligations import Obligations
from ohmward.proof.watchers import Anywhere, Credit, Observers, State

MOST_STATES = 3_000_000
Link = tuple[State, tuple[str, ...]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Breach:
    """A rule broken: where, and the triggers that lead there."""

    rule: str
    words: str
    path: tuple[str, ...]
    start: Position
    at: str
    trigger: str


@dataclass(slots=True)
class Explored:
    """What the search found. `came` maps a state to its predecessor and the triggers between them."""

    came: dict[State, Link | None] = field(default_factory=dict)
    kept: set[State] = field(default_factory=set)
    breaches: dict[str, Breach] = field(default_factory=dict)
    moves: int = 0
    complete: bool = True

    @property
    def positions(self) -> set[Position]:
        """The positions of the kept states."""
        return {position for position, _ in self.kept}

    def path_to(self, state: State) -> tuple[Position, tuple[str, ...]]:
        """The start and the triggers of a shortest way to a state."""
        links: list[tuple[str, ...]] = []
        while (link := self.came[state]) is not None:
            state, triggers = link
            links.append(triggers)
        return state[0], tuple(t for triggers in reversed(links) for t in triggers)


class Explorer:
    """One search over one table."""

    def __init__(
        self,
        table: Table,
        asked: Obligations,
        forget: Forget,
        *,
        plain: bool = False,
        covering: Covering | None = None,
        credit: Credit | None = None,
        only: Callable[[str], bool] | None = None,
    ) -> None:
        self.table, self.asked, self.forget = table, asked, forget
        self.observers = Observers(table, asked, credit or {})
        self.anywhere = Anywhere(table, (c.trigger for c in asked.checks))
        self.covering = covering or Covering(table)
        self.plain = plain or not self.covering.exact
        self.found = Explored()
        self.known: set[State] = set()  # every state that came, also those that another stands for
        self.waiting: list[tuple[int, int, State]] = []
        self.alike: dict[int, list[tuple[int, State]]] = {}  # with what each holds
        self.leaps = Leaps(asked.checks, self.observers, self.covering, forget, only)

    def run(
        self, starts: list[Position], *, most: int = MOST_STATES, until: tuple[str, ...] = ()
    ) -> Explored:
        """Searches to the fixpoint, until `most` states are known, or until every rule of `until` is broken."""
        for position in starts:
            first = (self.forget(position), 0)
            if first not in self.known:
                self._arrive(first, None, 0)
        while self.waiting:
            cost, _, state = heapq.heappop(self.waiting)
            if state not in self.found.kept:
                continue
            enough = bool(until) and all(rule in self.found.breaches for rule in until)
            if enough or len(self.found.came) > most:
                self.found.complete = False
                break
            self._leave(state, cost)
        return self.found

    def _leave(self, state: State, cost: int) -> None:
        losses = () if self.plain else self.covering.losses(state[0])
        for offer in self._offers(state):
            noticed, pinned = self._at(state, state[0], (), offer, cost)
            if noticed | pinned and any(loss.matters(noticed, pinned) for loss in losses):
                self._lapsing(state, cost, offer, noticed, pinned)

    def _offers(self, state: State) -> list[Offer]:
        """What is to be tried from a state: without corrections that were tried from one that does not differ for them,
        and of the events that take the same here and go on alike, one."""
        node, bits = state[0] & NODE_MASK, state[0] >> NODE_BITS
        offers = self.leaps.at(node)
        if self.table.nodes[node].kind == "ask" and self.anywhere.again(state):
            offers = [o for o in offers if o.trigger not in self.anywhere.triggers]
        if self.plain:
            return offers
        first: dict[tuple[int, int], Offer] = {}
        return [o for o in offers if not o.takes or first.setdefault((o.takes & bits, o.to), o) is o]

    def _lapsing(self, state: State, cost: int, offer: Offer, noticed: int, pinned: int) -> None:
        """The same move from what the state may lapse to, as far as it is noticed that something is gone."""
        known = {state[0]}
        waiting: list[tuple[Position, tuple[str, ...], int, int]] = [(state[0], (), noticed, pinned)]
        for at, events, seen, sets in waiting:
            for loss in self.covering.losses(at):
                if loss.matters(seen, sets):
                    to = loss.left(at)
                    if to not in known:
                        known.add(to)
                        more = (*events, loss.event)
                        waiting.append((to, more, *self._at(state, to, more, offer, cost)))

    def _at(
        self, state: State, at: Position, events: tuple[str, ...], offer: Offer, cost: int
    ) -> tuple[int, int]:
        """What was noticed and pinned by one move from `at`, to which `state` lapsed with these events."""
        bits = at >> NODE_BITS
        leap = self.leaps.find(offer, bits)
        after = leap.seen.get(state[1], -1)
        if after < 0:
            after = self._first(state, events, offer, leap)
        if not offer.trigger:
            return leap.noticed, 0
        self.found.moves += 1
        there = bits & leap.keep | leap.put
        to = (Position(there << NODE_BITS | leap.node), after)
        if to not in self.known and (self.plain or leap.node != offer.node or not offer.loses):
            self._arrive(to, (state, (*events, offer.trigger)), cost + len(events) + 1)
        return leap.noticed | bits & leap.carried, leap.pinned

    def _first(self, state: State, events: tuple[str, ...], offer: Offer, leap: Leap) -> int:
        """What the observers know after a leap that was not taken with what they knew; looked at once if nothing is broken."""
        seen = state[1]
        broken = (*leap.broken, *self.observers.lacking(seen, offer.trigger), *self._left_released(seen, offer))
        for rule, words in broken:
            self._breach(rule, words, state, events, offer.trigger)
        after = self.observers.after(seen, offer.trigger, leap.marks) & leap.moot
        if not broken:
            leap.seen[seen] = after
        return after

    def _arrive(self, state: State, link: Link | None, cost: int) -> None:
        self.known.add(state)
        if not self.plain:
            bits = self.covering.bits(state[0])
            alike = self.alike.setdefault(self.covering.key(state[0]), [])
            for more, other in alike:
                if not bits & ~more and self._covers(other, state):
                    return
            for less in [s for s in alike if not s[0] & ~bits and self._covers(state, s[1])]:
                alike.remove(less)
                self.found.kept.discard(less[1])
            alike.append((bits, state))
        self.found.came[state] = link
        self.found.kept.add(state)
        heapq.heappush(self.waiting, (cost, len(self.found.came), state))

    def _covers(self, more: State, less: State) -> bool:
        """Whether all that can go wrong from `less` goes wrong from `more`, a few lapses later."""
        if not self.observers.no_better(more[1], less[1]):
            return False
        return more[0] == less[0] or self.covering.covers(more[0], less[0])

    # -- checks -----------------------------------------------------------------------------------------

    def _left_released(self, seen: int, offer: Offer) -> Iterator[tuple[str, str]]:
        """Each device that is left released at an end where it must not be."""
        node = self.table.nodes[offer.node]
        if not offer.trigger and node.kind == "end":
            for item in self.asked.released:
                if node.name in item.nodes and self.observers.released(seen, item.device):
                    yield item.rule, f"{item.device} is held off again"

    def _breach(self, rule: str, words: str, kept: State, events: tuple[str, ...], trigger: str) -> None:
        start, path = self.found.path_to(kept)
        known = self.found.breaches.get(rule)
        if known is not None and len(known.path) <= len(path) + len(events):
            return
        self.found.breaches[rule] = Breach(
            rule=rule,
            words=words,
            path=(*path, *events),
            start=start,
            at=self.table.node(kept[0]).name,
            trigger=trigger,
        )
