"""Which corrections can be: only what was answered in a run can be corrected in it.

What somebody could not answer, or answered with something else, is held and asked again: nothing to correct.

The rows of a correction are written for every question. Here they are left at the questions that can still be asked
after the step was answered. Over nodes alone, so a row more than can be may stay, never one less.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

from ohmward.chart.table import CHECK, STAY, Node, Row

ASKING = "any ask"


def possible(nodes: Sequence[Node], rows: Sequence[Row]) -> Iterator[Row]:
    """The rows in their order, those of corrections at the questions where somebody can ask for them."""
    links = _Links(nodes, rows)
    asked = {step: nodes & links.asking for step, nodes in links.fixpoint().items()}
    for row in rows:
        here = asked.get(links.corrects(row), links.asking)
        if here == links.asking:
            yield row
        else:
            yield from (replace(row, at=node.name) for node in nodes if node.name in here)


class _Links:
    """Where the rows lead from each node, and where each step's answers do."""

    def __init__(self, nodes: Sequence[Node], rows: Sequence[Row]) -> None:
        kinds: dict[str, list[str]] = {}
        for node in nodes:
            kinds.setdefault(f"any {node.kind}", []).append(node.name)
        check = {node.name: node.check for node in nodes}
        self.asking = frozenset(kinds.get(ASKING, ()))
        self.onward: dict[str, set[str]] = {}
        self.after: dict[str, set[str]] = {}
        self.gone: dict[str, str] = {}  # step, to where its correction leads
        for row in rows:
            word, _, rest = row.trigger.partition("@")
            if step := self.corrects(row):
                self.gone[step] = row.to
                continue
            for at in kinds.get(row.at, [row.at]):
                to = at if row.to == STAY else check.get(at, "") if row.to == CHECK else row.to
                self.onward.setdefault(at, set()).add(to)
                if word.startswith("answered") and not to.startswith("hold "):
                    self.after.setdefault(rest.partition("=")[0], set()).add(to)

    @staticmethod
    def corrects(row: Row) -> str:
        """The step that a row corrects; '' for every other row."""
        word, _, step = row.trigger.partition("@")
        return step if word == "correct" and row.at == ASKING else ""

    def fixpoint(self) -> dict[str, set[str]]:
        """For each step the nodes at which a run can stand once it was answered; grows until nothing is new."""
        reached = {step: self._from(self.after.get(step, set()), {}) for step in self.gone}
        while True:
            ways: dict[str, set[str]] = {}
            for step, nodes in reached.items():
                for node in nodes & self.asking:
                    ways.setdefault(node, set()).add(self.gone[step])
            more = {step: self._from(nodes, ways) for step, nodes in reached.items()}
            if more == reached:
                return reached
            reached = more

    def _from(self, starts: set[str], ways: Mapping[str, set[str]]) -> set[str]:
        seen, waiting = set(starts), list(starts)
        while waiting:
            node = waiting.pop()
            more = (self.onward.get(node, set()) | ways.get(node, set())) - seen
            seen |= more
            waiting += more
        return seen
