"""Every position that a table can reach, with the rules checked on the way; shortest way first.

A state is a position with its observers: how far each required order has come since the device was last
held off, and which devices stand released. A kept state stands for all that it may lapse to where the run
stands (`covering`); a `Plain` search keeps every one, and is what the tests hold the covering one against.
"""

import heapq
from collections.abc import Callable
from dataclasses import dataclass, field

from ohmward.chart.layout import Condition, holds
from ohmward.chart.table import NODE_BITS, NODE_MASK, Position, Table
from ohmward.proof.covering import Covering
from ohmward.proof.obligations import Check, Obligations
from ohmward.proof.watchers import Anywhere, Credit, Observers, State

MOST_STATES = 3_000_000
Link = tuple[State, tuple[str, ...]]
Forget = Callable[[Position], Position]


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


@dataclass(frozen=True, slots=True)
class _Watched:
    """One check, with the condition of its being broken."""

    check: Check
    broken: Condition


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
        self.only = only
        self.anywhere = Anywhere(table)
        self.covering = covering or Covering(table)
        self.plain = plain or not self.covering.exact
        self.found = Explored()
        self.waiting: list[tuple[int, int, State]] = []
        self.alike: dict[int, list[tuple[int, State]]] = {}  # with what each holds
        self.at: dict[tuple[int, str], list[_Watched]] = {}
        for check in asked.checks:
            watched = _Watched(check, table.layout.opposite(check.must))
            self.at.setdefault((table.index[check.node], check.trigger), []).append(watched)

    def run(
        self, starts: list[Position], *, most: int = MOST_STATES, until: tuple[str, ...] = ()
    ) -> Explored:
        """Searches to the fixpoint, until `most` states are known, or until every rule of `until` is broken."""
        for position in starts:
            self._arrive((self.forget(position), 0), None, 0)
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
        asking = self.table.node(state[0]).kind == "ask"
        known = self.anywhere.triggers if asking and self.anywhere.again(state) else frozenset()
        self._look(state, cost, "")
        for trigger in self.covering.triggers(state[0]):
            if trigger not in known and (self.only is None or self.only(trigger)):
                self._look(state, cost, trigger)

    def _look(self, state: State, cost: int, trigger: str) -> None:
        """A move (none: standing there), from a state and from what it may lapse to as far as that is noticed."""
        noticed, pinned = self._at(state, state[0], (), trigger, cost)
        if self.plain or not noticed | pinned:
            return
        known = {state[0]}
        waiting: list[tuple[Position, tuple[str, ...], int, int]] = [(state[0], (), noticed, pinned)]
        for at, events, noticed, pinned in waiting:
            for event, to in self.covering.lapses(at, noticed, pinned):
                if to not in known:
                    known.add(to)
                    more = (*events, event)
                    waiting.append((to, more, *self._at(state, to, more, trigger, cost)))

    def _at(
        self, state: State, at: Position, events: tuple[str, ...], trigger: str, cost: int
    ) -> tuple[int, int]:
        """What was noticed and pinned by one move from `at`, to which `state` lapsed with these events."""
        noticed = self._checks(at, state, events, trigger)
        if not trigger:
            return noticed, 0
        self.found.moves += 1
        move, way = self.covering.trace(at, trigger)
        after = self.observers.after(state[1], trigger, way.marks, move >> NODE_BITS)
        to = self.forget(move)
        if self.plain or way.node != at & NODE_MASK or trigger not in self.covering.direct:
            self._arrive((to, after), (state, (*events, trigger)), cost + len(events) + 1)
        return noticed | way.noticed | self.covering.last(to), way.pinned

    def _arrive(self, state: State, link: Link | None, cost: int) -> None:
        if state in self.found.came:
            return
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

    def _checks(self, at: Position, state: State, events: tuple[str, ...], trigger: str) -> int:
        """What must hold at a position, or there before a move; the bits whose loss could break it."""
        noticed = 0
        for watched in self.at.get((at & NODE_MASK, trigger), ()):
            noticed |= self.covering.lapsing(watched.broken, at)
            if not holds(watched.check.must, at >> NODE_BITS):
                self._breach(watched.check.rule, watched.check.words, state, events, trigger)
        for rule, words in self.observers.lacking(state[1], trigger):
            self._breach(rule, words, state, events, trigger)
        if not trigger and self.table.node(at).kind == "end":
            self._left_released(state, events)
        return noticed

    def _left_released(self, state: State, events: tuple[str, ...]) -> None:
        name = self.table.node(state[0]).name
        for item in self.asked.released:
            if name in item.nodes and self.observers.released(state[1], item.device):
                self._breach(item.rule, f"{item.device} is held off again", state, events, "")

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
