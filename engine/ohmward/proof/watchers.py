"""What a search keeps beside a position: how far each required order has come, and which devices stand released."""

from collections.abc import Callable, Iterable, Iterator, Mapping

from ohmward.chart.layout import ALWAYS, all_of, holds
from ohmward.chart.table import CHECK, NODE_BITS, STAY, Position, Table
from ohmward.proof.obligations import Obligations

State = tuple[Position, int]
Credit = Mapping[str, int]


class Observers:
    """Packs the progress of every order, each as wide as the longest needs, and one bit per released device.

    Only what was answered can be corrected. `credit` is the progress that orders from the beginning of the run
    had at least whenever a step was answered: a correction of it cannot come with less. `low` is what this
    search saw; where it is below the credit, the search is to be made again with the lower one.
    """

    def __init__(self, table: Table, asked: Obligations, credit: Credit) -> None:
        self.orders = asked.orders
        self.credit = {f"correct@{step}": seen for step, seen in credit.items()}
        self.low: dict[str, int] = {}
        self.said: dict[str, str] = {}
        self.before: dict[str, list[int]] = {}
        for number, order in enumerate(self.orders):
            for move in order.moves:
                self.before.setdefault(move, []).append(number)
        self.devices = tuple(dict.fromkeys(r.device for r in asked.released))
        self.width = max((len(o.marks).bit_length() for o in self.orders), default=0)
        self.mask = (1 << self.width) - 1
        self.lasting = tuple(n * self.width for n, o in enumerate(self.orders) if not o.reset)
        self.moot = [
            (
                table.layout.being(f"order {o.device}", "interrupted", "corrected"),
                ~(self.mask << (n * self.width)),
            )
            for n, o in enumerate(self.orders)
            if o.device and f"order {o.device}" in table.layout.values
        ]
        self.reads = all_of(cube for when, _ in self.moot for cube in when)
        self.cache: dict[tuple[int, tuple[str, ...]], int] = {}

    def after(self, seen: int, trigger: str, marks: tuple[str, ...]) -> int:
        """What is known after a move that left `marks`; where it led, what is not `needed` is forgotten."""
        if self.lasting:
            if trigger in self.credit:
                seen = self._of_both(seen, self.credit[trigger], max)
            elif trigger.startswith("answered"):
                self._answered(trigger, seen)
        return self._after(seen, marks) if marks else seen

    def _answered(self, trigger: str, seen: int) -> None:
        step = self.said.get(trigger)
        if step is None:
            step = self.said[trigger] = trigger.partition("@")[2].partition("=")[0]
        known = self.low.get(step)
        if known != seen:
            self.low[step] = seen if known is None else self._of_both(known, seen, min)

    def _of_both(self, one: int, other: int, pick: Callable[[int, int], int]) -> int:
        """The larger or the smaller progress of each order that counts from the beginning."""
        for at in self.lasting:
            best = pick((one >> at) & self.mask, (other >> at) & self.mask)
            one = one & ~(self.mask << at) | best << at
        return one

    def lowered(self, credit: Credit) -> Credit:
        """The credit with what this search saw; equal to it when the search stands."""
        return {s: self._of_both(c, self.low.get(s, c), min) for s, c in credit.items()}

    def full(self, steps: Iterable[str]) -> Credit:
        """The highest credit for every step; what was seen lowers it."""
        every = sum(len(self.orders[at // self.width].marks) << at for at in self.lasting)
        return dict.fromkeys(steps, every)

    def _after(self, seen: int, marks: tuple[str, ...]) -> int:
        found = self.cache.get((seen, marks))
        if found is None:
            found = seen
            for mark in marks:
                found = self._one(found, mark)
            self.cache[(seen, marks)] = found
        return found

    def needed(self, bits: int) -> int:
        """What is kept of what is known: progress that no closing can rest on is forgotten, where the table closes
        nothing before a new hold-off. Decided by the bits in `reads`."""
        needed = -1
        for when, keep in self.moot:
            if holds(when, bits):
                needed &= keep
        return needed

    def _one(self, seen: int, mark: str) -> int:
        for number, order in enumerate(self.orders):
            at = number * self.width
            done = (seen >> at) & self.mask
            if order.reset and mark == order.reset:
                seen &= ~(self.mask << at)
            elif done < len(order.marks) and mark == order.marks[done]:
                seen += 1 << at
        for number, device in enumerate(self.devices):
            bit = 1 << (len(self.orders) * self.width + number)
            if mark in {f"release {device}", f"close {device}"}:
                seen |= bit
            elif mark in {f"hold off {device}", f"stands held off {device}"}:
                seen &= ~bit
        return seen

    def no_better(self, one: int, other: int) -> bool:
        """Whether `one` has come no further in any order than `other`, and stands released wherever it does.

        Then whatever breaks a rule after `other` breaks it after `one` too: later marks move both on alike.
        """
        if one == other:
            return True
        at = len(self.orders) * self.width
        if other >> at & ~(one >> at):
            return False
        steps = range(0, at, self.width or 1)
        return all((one >> n) & self.mask <= (other >> n) & self.mask for n in steps)

    def lacking(self, seen: int, move: str) -> Iterator[tuple[str, str]]:
        """Each order that is not complete before a move: rule, and what is missing before what."""
        for number in self.before.get(move, ()):
            order = self.orders[number]
            done = (seen >> (number * self.width)) & self.mask
            if done < len(order.marks):
                yield order.rule, f"'{order.marks[done]}' before '{order.before}'"

    def released(self, seen: int, device: str) -> bool:
        """Whether a device stands released, and was not held off since."""
        number = self.devices.index(device)
        return bool(seen >> (len(self.orders) * self.width + number) & 1)


class Anywhere:
    """Moves that are the same wherever a run waits: corrections.

    Such a row belongs to a whole kind of node, leads to a fixed one, and overwrites some variables whatever
    they were. Two states that differ only in those go the same way, so the second need not try it. Exact:
    no condition of these rows reads what they overwrite (else nothing is overwritten here), and no check is
    at one of them (`watched`), which may read it and belongs to one node.
    """

    def __init__(self, table: Table, watched: Iterable[str]) -> None:
        rows = [r for r in table.rows if r.at == "any ask" and r.to not in {STAY, CHECK}]
        stops = {"unsafe", "emergency"}
        stops.update(watched)
        rows = [r for r in rows if r.trigger not in stops and r.when == ALWAYS]
        self.triggers = frozenset(r.trigger for r in rows)
        written: set[str] | None = None
        read = 0
        for row in rows:
            sure = {name for a in row.assigns if a.when == ALWAYS for name, _ in a.values}
            written = sure if written is None else written & sure
            read |= all_of(cube for a in row.assigns for cube in a.when)
        spans = [table.layout.span(name) for name in written or ()]
        self.mask = ~sum(span for span in spans if not span & read)
        self.done: set[tuple[int, int]] = set()

    def again(self, state: State) -> bool:
        """Whether these moves were tried from a state that does not differ for them."""
        key = ((state[0] >> NODE_BITS) & self.mask, state[1])
        known = key in self.done
        self.done.add(key)
        return known
