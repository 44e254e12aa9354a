"""Which corrections can be: only what was answered in a run can be corrected in it.

What somebody could not answer, or answered with something else, is held and asked again: nothing to correct.

The rows of a correction are written for every question. Here they are left at the questions that can still be asked
after the step was answered. Over nodes alone, so a row more than can be may stay, never one less.
"""

from collections.abc import Iterator, Sequence
from dataclasses import replace

from ohmward.chart.table import CHECK, STAY, Node, Row

ASKING = "any ask"


def possible(nodes: Sequence[Node], rows: Sequence[Row]) -> Iterator[Row]:
    """The rows in their order, those of corrections at the questions where somebody can ask for them."""
    links = _Links(nodes, rows)
    asked = {step: found & links.asking for step, found in links.fixpoint().items()}
    for row in rows:
        here = asked.get(links.corrects(row), links.asking)
        if here == links.asking:
            yield row
        else:
            yield from (replace(row, at=node.name) for node in nodes if links.bits[node.name] & here)


class _Links:
    """Where the rows lead from each node, and where each step's answers do. A set of nodes has a bit for each."""

    def __init__(self, nodes: Sequence[Node], rows: Sequence[Row]) -> None:
        self.bits = {node.name: 1 << number for number, node in enumerate(nodes)}
        self.asking = sum(self.bits[node.name] for node in nodes if f"any {node.kind}" == ASKING)
        places = {node.name: [node.name] for node in nodes}
        for node in nodes:
            places.setdefault(f"any {node.kind}", []).append(node.name)
        check = {node.name: node.check for node in nodes}
        onward = dict.fromkeys(self.bits, 0)
        self.after: dict[str, int] = {}
        self.gone: dict[str, str] = {}  # step, to where its correction leads
        for row in rows:
            word, _, rest = row.trigger.partition("@")
            if step := self.corrects(row):
                self.gone[step] = row.to
                continue
            for at in places.get(row.at, ()):
                to = at if row.to == STAY else check.get(at, "") if row.to == CHECK else row.to
                onward[at] |= self.bits.get(to, 0)
                if word.startswith("answered") and not to.startswith("hold "):
                    asked = rest.partition("=")[0]
                    self.after[asked] = self.after.get(asked, 0) | self.bits.get(to, 0)
        self.onward = tuple(onward.values())

    @staticmethod
    def corrects(row: Row) -> str:
        """The step that a row corrects; '' for every other row."""
        word, _, step = row.trigger.partition("@")
        return step if word == "correct" and row.at == ASKING else ""

    def fixpoint(self) -> dict[str, int]:
        """For each step the nodes at which a run can stand once it was answered; grows until nothing is new."""
        gone = {step: self._from(self.bits.get(to, 0)) for step, to in self.gone.items()}
        reached = {step: self._from(self.after.get(step, 0)) for step in gone}
        while True:
            more = {}
            for step, found in reached.items():
                more[step] = found
                for other, beyond in gone.items():  # corrected where both can have been answered
                    if found & reached[other] & self.asking:
                        more[step] |= beyond
            if more == reached:
                return reached
            reached = more

    def _from(self, starts: int) -> int:
        seen = waiting = starts
        while waiting:
            lowest = waiting & -waiting
            more = self.onward[lowest.bit_length() - 1] & ~seen
            seen |= more
            waiting = waiting ^ lowest | more
        return seen
