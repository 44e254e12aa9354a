"""What is worked out once for all positions that agree in the bits that decided it."""

from typing import Generic, TypeVar

from ohmward.chart.layout import all_of

MOST_GROUPS = 8
T = TypeVar("T")


class Known(Generic[T]):
    """Results by the bits that each read. In few groups, since each is looked through."""

    __slots__ = ("groups",)

    def __init__(self) -> None:
        self.groups: dict[int, dict[int, T]] = {}

    def get(self, bits: int) -> T | None:
        """What was worked out for bits like these, or None."""
        for read, known in self.groups.items():
            what = known.get(bits & read)
            if what is not None:
                return what
        return None

    def keep(self, read: int, bits: int, what: T) -> T:
        """Keeps what was worked out for all bits that agree with these in what was read; gives it back."""
        if len(self.groups) >= MOST_GROUPS and read not in self.groups:
            read = all_of((read, *self.groups))
        self.groups.setdefault(read, {})[bits & read] = what
        return what
