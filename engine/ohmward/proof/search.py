"""One table searched: with the credit for corrections that holds up, and for the shortest way to a harm."""

from collections.abc import Callable

from ohmward.chart.compile import starts, uninterrupted
from ohmward.chart.table import Position, Table
from ohmward.language.library import Library
from ohmward.proof.explore import Breach, Explored, Explorer
from ohmward.proof.forget import Everything, Forget, forgetter, reads_by_node
from ohmward.proof.obligations import Obligations, obligations
from ohmward.proof.watchers import Credit

MOST_LOOKED_AT = 60_000  # states of the search that looks for a shorter way to a known harm


class Search:
    """Searches over one table from its beginnings. `last` is the search that stood."""

    def __init__(self, table: Table, asked: Obligations, forget: Forget, beginnings: list[Position]) -> None:
        self.table, self.asked, self.forget, self.beginnings = table, asked, forget, beginnings
        self.credit: Credit = {}
        self.last = self.explorer()

    def explorer(self, *, plain: bool = False, only: Callable[[str], bool] | None = None) -> Explorer:
        """A search with the credit found last."""
        return Explorer(self.table, self.asked, self.forget, plain=plain, credit=self.credit, only=only)

    def run(self, most: int, until: tuple[str, ...] = ()) -> Explored:
        """The credit comes from a walk in which nothing goes wrong; the search itself confirms it, or lowers it.

        A way to harm that is found with too much credit is one all the same: real progress is at least that.
        """
        first = Explorer(self.table, self.asked, self.forget, plain=True, only=uninterrupted)
        if first.observers.lasting:
            first.run(self.beginnings)
            steps: dict[str, object] = self.table.data["steps"]  # type: ignore[assignment]
            self.credit = first.observers.lowered(first.observers.full(steps))
        while True:
            self.last = self.explorer()
            found = self.last.run(self.beginnings, most=most, until=until)
            lower = self.last.observers.lowered(self.credit)
            if lower == self.credit or found.breaches or not found.complete:
                return found
            self.credit = lower

    def usual(self) -> dict[str, Breach]:
        """What rules ask for when nothing goes wrong: broken by answers alone, without a lapse, a break or a correction."""
        asked = Obligations(checks=self.asked.usual, orders=(), released=())
        looked = Explorer(self.table, asked, Everything(), plain=True, only=uninterrupted)
        return looked.run(self.beginnings).breaches if asked.checks else {}

    def shorten(self, found: Explored, most: int) -> None:
        """Takes the shortest way to harm of three searches: covering may lengthen one by a lapse, and a way in which
        something is corrected that nobody answered on it only stands where no other was found."""
        for only in (None, _as_answered):
            looked = self.explorer(plain=True, only=only)
            known = looked.run(self.beginnings, most=min(most, MOST_LOOKED_AT), until=tuple(found.breaches))
            for rule, breach in known.breaches.items():
                if rule in found.breaches and told_by(breach) < told_by(found.breaches[rule]):
                    found.breaches[rule] = breach


def _as_answered(trigger: str) -> bool:
    return not trigger.startswith("correct@")


def told_by(breach: Breach) -> tuple[bool, int]:
    """Whether a correction on the way is of something that was not answered on it, and how long the way is."""
    answered: set[str] = set()
    early = False
    for trigger in (*breach.path, breach.trigger):
        word, _, rest = trigger.partition("@")
        if word.startswith("answered"):
            answered.add(rest.partition("=")[0])
        early = early or (word == "correct" and rest not in answered)
    return early, len(breach.path)


def prepare(table: Table, library: Library) -> Search:
    """A search under a library's rules, from every beginning. Raises FaultyFileError for a rule that cannot be read."""
    asked = obligations(table, library.rules, frozenset(library.gates))
    beginnings = starts(table)
    forget = forgetter(table, beginnings, reads_by_node(table, asked))
    return Search(table, asked, forget, beginnings)
