"""One position for all that it may lapse to while the run stands where it stands.

An event only takes gates and kept answers away. Where it leads back to the node, the position after it is
covered by the one before it: it need not be kept, only the moves in which what was lost makes a difference.
`trace` finds them: it goes one move and tells what was *noticed*, gates and answers whose loss would have
led another way, and what was *pinned*, those that the move itself sets so that a later event cannot stand
for an earlier one. Exact for a table with `exact`: what reads a gate or a kept answer reads nothing else into it.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from ohmward.chart.layout import ALWAYS, Condition
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

_MOST_REMEMBERED = 64  # positions whose lapses are at hand: one is asked for them once for each of its moves


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """A move as masks, whatever else holds: what it keeps of the bits, what it puts, where it leads.

    `noticed` and `pinned` are bits of gates held and answers kept.
    """

    keep: int
    put: int
    node: int
    marks: tuple[str, ...]
    noticed: int
    pinned: int


Lapse = tuple[str, Position]  # an event that leaves the run where it stands, and what it leaves


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
        self._following = self._spans_of(c for when, _, _ in table.packed_consequences for c in when)
        self._distinct: list[tuple[str, ...] | None] = [None for _ in table.nodes]
        self._reads: dict[int, int] = {}  # by the identity of rows, which live as long as the table
        self._lapsed: dict[Position, list[tuple[int, int, Lapse]]] = {}
        self._ways: dict[tuple[int, str], dict[int, dict[int, Way]]] = {}

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

    def triggers(self, position: Position) -> tuple[str, ...]:
        """One trigger of each kind of move offered here; those that change nothing are left out."""
        node = position & NODE_MASK
        if self._distinct[node] is None:
            rows = self.table.packed[node]
            still = ((ALWAYS, (), node, ()),)
            self._distinct[node] = tuple({r: t for t, r in reversed(rows.items()) if r != still}.values())[
                ::-1
            ]
        return self._distinct[node] or ()

    def key(self, position: Position) -> int:
        """What two positions share when one may stand for the other."""
        return position & ~(self.spans << NODE_BITS)

    def bits(self, position: Position) -> int:
        """The gates held and the answers kept."""
        return position >> NODE_BITS & self.held

    def lapses(self, position: Position, noticed: int = -1, pinned: int = 0) -> list[Lapse]:
        """Each event that leaves the run where it stands and takes something that was noticed, or would be pinned."""
        known = self._lapsed.get(position)
        if known is None:
            if len(self._lapsed) > _MOST_REMEMBERED:
                self._lapsed.clear()
            known = self._lapsed[position] = list(self._losing(position))
        return [lapse for lost, most, lapse in known if lost & noticed or most & pinned]

    def _losing(self, position: Position) -> Iterator[tuple[int, int, Lapse]]:
        """What each event loses here, the most that it loses anywhere, and where it leads: if it leaves the run here."""
        before = position >> NODE_BITS & self.held
        for event in self._at[position & NODE_MASK]:
            most = self.most[event]
            if most & before:
                after = self._after(position, event)
                if after is not None and after != position:
                    yield before & ~self.bits(after), most, (event, after)

    def _after(self, position: Position, event: str) -> Position | None:
        """Where an event leads, None when it leads away from the node."""
        after, _ = self.trace(position, event)
        return after if after & NODE_MASK == position & NODE_MASK else None

    def covers(self, more: Position, less: Position) -> bool:
        """Whether events that leave the run where it stands lead from `more` to exactly `less`."""
        keep = self.bits(less)
        if keep & ~self.bits(more):
            return False
        for event in self._at[more & NODE_MASK]:
            lost = self.direct[event]
            if not lost & keep and lost & self.bits(more):
                after = self._after(more, event)
                if after is not None and not keep & ~self.bits(after):
                    more = after
        return more == less

    def below(self, position: Position) -> set[Position]:
        """Every position that this one stands for, itself included."""
        known = {position}
        waiting = [position]
        while waiting:
            for _, to in self.lapses(waiting.pop()):
                if to not in known:
                    known.add(to)
                    waiting.append(to)
        return known

    def last(self, position: Position) -> int:
        """What nothing can be lost from any more, where no event is offered: no position stands for another there."""
        return 0 if self._at[position & NODE_MASK] else self.bits(position)

    def trace(self, position: Position, trigger: str) -> tuple[Position, Way]:
        """One move, as `advance` makes it. Raises BrokenError where the table leads nowhere.

        Moves that read the same bits are the same move: the way is looked up by what it read.
        """
        bits, node = position >> NODE_BITS, position & NODE_MASK
        ways = self._ways.get((node, trigger))
        if ways is None:
            ways = self._ways[node, trigger] = {}
        for read, known in ways.items():
            way = known.get(bits & read)
            if way is not None:
                break
        else:
            way, read = self._go(node, trigger, bits)
            ways.setdefault(read, {})[bits & read] = way
        return Position((bits & way.keep | way.put) << NODE_BITS | way.node), way

    def _go(self, node: int, trigger: str, bits: int) -> tuple[Way, int]:
        read = noticed = pinned = put = 0
        keep = -1
        marks: tuple[str, ...] = ()
        for _ in range(MOST_HOPS + 1):
            rows = self.table.packed[node].get(trigger, ())
            (_, assigns, node, more), seen = self._pick(node, trigger, rows, bits)
            read |= self._read_by(rows)
            noticed |= seen
            if assigns:
                read |= self._following
                for part, value in self._taken(bits, assigns):
                    keep, put, bits = keep & part, put & part | value, bits & part | value
                for _, _, value in assigns:
                    pinned |= value
            marks, trigger = marks + more, ""
            if self.table.waiting[node]:
                stays, also = self._standing(node, bits)
                way = Way(
                    keep=keep,
                    put=put,
                    node=node,
                    marks=marks,
                    noticed=noticed | stays,
                    pinned=pinned & self.held,
                )
                return way, read | also
        raise BrokenError(f"{self.table.nodes[node].name}: more than {MOST_HOPS} moves by themselves")

    def _taken(self, bits: int, assigns: tuple[tuple[Condition, int, int], ...]) -> Iterator[tuple[int, int]]:
        """What a row sets at these bits, with what follows by itself, in order."""
        for when, part, value in (*assigns, *self.table.packed_consequences):
            for cube in when:
                if not bits & cube:
                    bits = bits & part | value
                    yield part, value
                    break

    def _standing(self, node: int, bits: int) -> tuple[int, int]:
        """What decides whether the run stays at a node when something is lost there, and all that decides it."""
        at = self._check[node] if self._at[node] else -1
        noticed = read = 0
        while at >= 0 and not self.table.waiting[at]:
            rows = self.table.packed[at][""]
            (_, assigns, to, _), seen = self._pick(at, "", rows, bits)
            noticed |= seen
            read |= self._read_by(rows)
            if assigns:
                read |= self._following
                for part, value in self._taken(bits, assigns):
                    bits = bits & part | value
            at = to
        if at >= 0 and at != node:  # what it needs is gone already: any event leads away, whatever it takes
            return bits & self.held, read | self.spans
        return noticed, read

    def _read_by(self, rows: tuple[Packed, ...]) -> int:
        """The spans that rows read, their assignments included."""
        read = self._reads.get(id(rows))
        if read is None:
            conditions = (w for when, assigns, _, _ in rows for w in (when, *(a[0] for a in assigns)))
            read = self._reads[id(rows)] = self._spans_of(c for w in conditions for c in w)
        return read

    def _spans_of(self, cubes: Iterable[int]) -> int:
        read = 0
        for cube in cubes:
            read |= cube
        return sum(span for span in self.table.layout.spans if span & read)

    def _pick(self, node: int, trigger: str, rows: tuple[Packed, ...], bits: int) -> tuple[Packed, int]:
        """The enabled row, and the bits for want of whose loss another row is not enabled."""
        enabled: Packed | None = None
        noticed = 0
        for row in rows:
            for cube in row[0]:
                hit = bits & cube
                if not hit:
                    enabled = enabled or row
                elif not hit & ~self.held:
                    noticed |= hit
        if enabled is None:
            raise BrokenError(f"{self.table.nodes[node].name}: {trigger or 'by itself'}: no row is enabled")
        return enabled, noticed

    def lapsing(self, condition: tuple[int, ...], position: Position) -> int:
        """The bits for want of whose loss a condition does not hold; all others meet it."""
        noticed = 0
        for cube in condition:
            hit = position >> NODE_BITS & cube
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
