"""One position for all that it may lapse to while the run stands where it stands.

An event only takes gates and kept answers away. Where it leads back to the node, the position after it is
covered by the one before it: it need not be kept, only the moves in which what was lost makes a difference.
`way` finds them: it goes one move and tells what was *noticed*, gates and answers whose loss would have
led another way, and what was *pinned*, those that the move itself sets so that a later event cannot stand
for an earlier one. Exact for a table with `exact`: what reads a gate or a kept answer reads nothing else into it.
"""

from collections import defaultdict
from dataclasses import dataclass

from ohmward.chart.layout import ALWAYS, Condition, all_of
from ohmward.chart.table import (
    CHECK,
    MOST_HOPS,
    NODE_BITS,
    NODE_MASK,
    STAY,
    Packed,
    Position,
    Row,
    Table,
)
from ohmward.errors import BrokenError
from ohmward.proof.known import Known


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """A move as masks, whatever else holds: what it keeps of the bits, what it puts, where it leads.

    `noticed` and `pinned` are bits of gates held and answers kept; `carried` those that are noticed if they were there
    before. `read`: the bits that decide which way it is; `hops`: how many rows it takes.
    """

    keep: int
    put: int
    node: int
    marks: tuple[str, ...]
    noticed: int
    carried: int
    pinned: int
    read: int
    hops: int


_Assigns = tuple[tuple[Condition, int, int], ...]


@dataclass(frozen=True, slots=True)
class Loss:
    """An event that leaves the run where it stands: what it loses there, the most that it loses anywhere, as masks."""

    event: str
    lost: int
    most: int
    keep: int
    put: int

    def left(self, position: Position) -> Position:
        """What it leaves of a position."""
        bits = position >> NODE_BITS & self.keep | self.put
        return Position(bits << NODE_BITS | position & NODE_MASK)

    def matters(self, noticed: int, pinned: int) -> bool:
        """Whether it takes something that was noticed, or would be pinned."""
        return bool(self.lost & noticed or self.most & pinned)


class Covering:
    """What can be lost on one table, by which events, and which position stands for which."""

    def __init__(self, table: Table) -> None:
        self.table = table
        direct = _events(table)
        layout = table.layout
        names = sorted({name for lost in direct.values() for name in lost})
        self.held = sum(layout.bit(n, layout.values[n][1]) for n in names)
        self.spans = sum(layout.span(n) for n in names)
        self.direct = {e: sum(layout.bit(n, layout.values[n][1]) for n in lost) for e, lost in direct.items()}
        self.most = {e: self._with_resting(bits) for e, bits in self.direct.items()}
        self.exact = bool(direct) and self._exact()
        self._at = [tuple(e for e in direct if e in offered) for offered in table.packed]
        self._check = [table.index[n.check] if n.check else -1 for n in table.nodes]
        self._spared: list[dict[int, tuple[tuple[str, ...], int]]] = [{} for _ in table.nodes]
        self._lost: list[Known[tuple[Loss, ...]]] = [Known() for _ in table.nodes]
        self._ways: defaultdict[tuple[int, str], Known[Way]] = defaultdict(Known)

    def _with_resting(self, bits: int) -> int:
        """What may go with these bits through what follows by itself."""
        grew = True
        while grew:
            before = bits
            for when, keep, _ in self.table.packed_consequences:
                if any(cube & bits for cube in when):
                    bits |= ~keep & self.held
            grew = bits != before
        return bits

    def _exact(self) -> bool:
        """No assignment asks for a gate; what follows by itself only takes, for one gate or answer at a time."""
        for rows in (r for offered in self.table.packed for r in offered.values()):
            if any(cube & self.spans for _, assigns, _, _ in rows for when, _, _ in assigns for cube in when):
                return False
        for when, keep, put in self.table.packed_consequences:
            reads = [cube & self.spans for cube in when]
            if put & self.held or any(r & ~self.held or r.bit_count() > 1 for r in reads):
                return False
            if any(reads) and ~keep & ~self.spans:
                return False
        return True

    def triggers(self, node: int) -> tuple[str, ...]:
        """One trigger of each kind of move offered at a node; those that change nothing are left out."""
        rows = self.table.packed[node]
        still = ((ALWAYS, (), node, ()),)
        return tuple({r: t for t, r in reversed(rows.items()) if r != still}.values())[::-1]

    def key(self, position: Position) -> int:
        """What two positions share when one may stand for the other."""
        return position & ~(self.spans << NODE_BITS)

    def bits(self, position: Position) -> int:
        """The gates held and the answers kept."""
        return position >> NODE_BITS & self.held

    def losses(self, position: Position) -> tuple[Loss, ...]:
        """What each event loses that leaves the run here. Worked out once for all positions alike in what decides it.

        Raises BrokenError where such an event changes anything else: no position could stand for another.
        """
        bits, node = position >> NODE_BITS, position & NODE_MASK
        known = self._lost[node].get(bits)
        if known is not None:
            return known
        read = self.held
        losses: tuple[Loss, ...] = ()
        for event in self._at[node]:
            if self.most[event] & bits:
                way = self.way(node, event, bits)
                read |= way.read | ~way.keep
                after = bits & way.keep | way.put
                if way.node == node and after != bits:
                    lost = self.held & bits & ~after
                    if (after ^ bits) & ~self.spans or after & self.held & ~bits:
                        raise BrokenError(f"{self.table.nodes[node].name}: {event}: more changes than what is lost")
                    losses += (Loss(event, lost, self.most[event], way.keep, way.put),)
        return self._lost[node].keep(read, bits, losses)

    def covers(self, more: Position, less: Position) -> bool:
        """Whether events that leave the run where it stands lead from `more` to exactly `less`."""
        bits, node, keep = more >> NODE_BITS, more & NODE_MASK, self.bits(less)
        events, most = self._sparing(node, keep)
        if keep & ~bits or bits & self.held & ~keep & ~most:
            return False
        for event in events:
            if self.direct[event] & bits:
                loss = next((x for x in self.losses(more) if x.event == event), None)
                if loss is not None and not keep & loss.lost:
                    bits = bits & loss.keep | loss.put
                    more = Position(bits << NODE_BITS | node)
        return more == less

    def _sparing(self, node: int, keep: int) -> tuple[tuple[str, ...], int]:
        """The events at a node that do not take these bits themselves, and the most that they take together."""
        known = self._spared[node].get(keep)
        if known is None:
            events = tuple(e for e in self._at[node] if not self.direct[e] & keep)
            known = self._spared[node][keep] = events, all_of(self.most[e] for e in events)
        return known

    def below(self, position: Position) -> set[Position]:
        """Every position that this one stands for, itself included."""
        known = {position}
        waiting = [position]
        while waiting:
            position = waiting.pop()
            for to in (loss.left(position) for loss in self.losses(position)):
                if to not in known:
                    known.add(to)
                    waiting.append(to)
        return known

    def last(self, node: int) -> int:
        """What cannot be lost at a node any more, where no event is offered: no position stands for another there."""
        return 0 if self._at[node] else self.held

    def way(self, node: int, trigger: str, bits: int, gone: int = 0) -> Way:
        """The move from a node, as `advance` makes it, worked out once for all bits alike in what it reads.

        `gone`: rows that were taken on the way here. Raises BrokenError where the table leads nowhere.
        """
        ways = self._ways[node, trigger]
        way = ways.get(bits)
        if way is None:
            way = self._go(node, trigger, bits, gone)
            ways.keep(way.read, bits, way)
        return way

    def _go(self, node: int, trigger: str, bits: int, gone: int) -> Way:
        """The first row, and the way on from where it leads."""
        rows = self.table.packed[node].get(trigger, ())
        (_, assigns, to, marks), noticed, read = self._pick(node, trigger, rows, bits)
        keep, put, pinned = -1, 0, 0
        if assigns:
            keep, put, also = self._taken(bits, assigns)
            bits, read = bits & keep | put, read | also
            for _, _, value in assigns:
                pinned |= value & self.held
        on = None
        if gone < MOST_HOPS:
            on = self._stands(to, bits) if self.table.waiting[to] else self.way(to, "", bits, gone + 1)
        if on is None or on.hops >= MOST_HOPS:  # what is left of a way may be remembered from a shorter one
            raise BrokenError(f"{self.table.nodes[node].name}: more than {MOST_HOPS} moves by themselves")
        return Way(
            keep=keep & on.keep,
            put=put & on.keep | on.put,
            node=on.node,
            marks=marks + on.marks,
            noticed=noticed | on.noticed | put & on.carried,
            carried=keep & on.carried,
            pinned=pinned | on.pinned,
            read=read | keep & on.read,  # what was set on the way is decided by what was read before
            hops=on.hops + 1,
        )

    def _stands(self, node: int, bits: int) -> Way:
        noticed, read, carried = self._standing(node, bits)
        return Way(
            keep=-1, put=0, node=node, marks=(), noticed=noticed, carried=carried, pinned=0, read=read, hops=0
        )

    def _taken(self, bits: int, assigns: _Assigns) -> tuple[int, int, int]:
        """What a row sets at these bits, with what follows by itself: what is kept, what is put, what decides it."""
        keep, put, read = -1, 0, 0
        for when, part, value in (*assigns, *self.table.packed_consequences):
            for cube in when:
                hit = bits & cube
                if not hit:
                    read |= cube & keep
                    keep, put, bits = keep & part, put & part | value, bits & part | value
                    break
                if not hit & (read | ~keep):
                    read |= hit & -hit  # one bit that stands in its way is enough
        return keep, put, read

    def _standing(self, node: int, bits: int) -> tuple[int, int, int]:
        """What decides whether the run stays at a node when something is lost there, all that decides it, and what
        does whatever it is: where nothing can be lost any more, or where what the node needs is gone already."""
        if not self._at[node]:
            return 0, 0, 0
        at = self._check[node]
        noticed = read = 0
        while at >= 0 and not self.table.waiting[at]:
            rows = self.table.packed[at][""]
            (_, assigns, at, _), seen, more = self._pick(at, "", rows, bits)
            noticed, read = noticed | seen, read | more
            if assigns:
                keep, put, more = self._taken(bits, assigns)
                bits, read = bits & keep | put, read | more
        away = at >= 0 and at != node  # what it needs is gone already: any event leads away, whatever it takes
        return (0, read, self.held) if away else (noticed, read, 0)

    def _pick(self, node: int, trigger: str, rows: tuple[Packed, ...], bits: int) -> tuple[Packed, int, int]:
        """The enabled row, the bits for want of whose loss another row is not enabled, and what decides both."""
        enabled: Packed | None = None
        noticed = read = 0
        for row in rows:
            for cube in row[0]:
                hit = bits & cube
                other = hit & ~self.held
                if other:
                    read |= 0 if other & read else other & -other  # one bit that stands in its way is enough
                else:
                    noticed |= hit
                    read |= cube
                    enabled = enabled or (None if hit else row)
        if enabled is None:
            raise BrokenError(f"{self.table.nodes[node].name}: {trigger or 'by itself'}: no row is enabled")
        return enabled, noticed, read

    def lapsing(self, condition: tuple[int, ...], bits: int) -> int:
        """The bits for want of whose loss a condition does not hold; all others meet it."""
        noticed = 0
        for cube in condition:
            hit = bits & cube
            if hit and not hit & ~self.held:
                noticed |= hit
        return noticed


def _events(table: Table) -> dict[str, tuple[str, ...]]:
    """The triggers that, wherever they are offered, only set two-valued variables to rest: to the names they set."""
    found: dict[str, tuple[str, ...]] = {}
    other: set[str] = set()
    for row in table.rows:
        lost = _only_losses(table, row)
        if lost is None or found.setdefault(row.trigger, lost) != lost:
            other.add(row.trigger)
    return {t: names for t, names in found.items() if t not in other and names}


def _only_losses(table: Table, row: Row) -> tuple[str, ...] | None:
    if not row.at.startswith("any ") or row.to not in {CHECK, STAY} or row.when != ALWAYS or row.marks:
        return None
    values = [pair for a in row.assigns for pair in a.values]
    known = table.layout.values
    lossy = all(len(known[n]) == 2 and v == known[n][0] for n, v in values)
    plain = all(a.when == ALWAYS for a in row.assigns)
    return tuple(n for n, _ in values) if lossy and plain else None
