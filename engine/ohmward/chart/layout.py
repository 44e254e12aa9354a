"""Positions as packed bits, and conditions over them as a closed algebra.

Each variable takes one bit per value, exactly one of which is set. A *cube* is the set of bits that it
forbids; a condition is a tuple of cubes and holds when a position has no bit of some cube: one
operation per cube. `()` never holds, `(0,)` always.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

Condition = tuple[int, ...]
NEVER: Condition = ()
ALWAYS: Condition = (0,)


@dataclass(frozen=True, slots=True)
class Variable:
    """A named variable; its first value is the one at rest, to which it is set when forgotten."""

    name: str
    values: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Layout:
    """Where each variable's bits are."""

    variables: tuple[Variable, ...]
    shifts: Mapping[str, int] = field(init=False, repr=False, compare=False)
    values: Mapping[str, tuple[str, ...]] = field(init=False, repr=False, compare=False)
    bits: Mapping[str, Mapping[str, int]] = field(init=False, repr=False, compare=False)
    spans: tuple[int, ...] = field(init=False, repr=False, compare=False)
    lows: int = field(init=False, repr=False, compare=False)
    pads: int = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        shifts: dict[str, int] = {}
        bits: dict[str, Mapping[str, int]] = {}
        spans: list[int] = []
        at = 0
        for variable in self.variables:
            shifts[variable.name] = at
            bits[variable.name] = {v: 1 << at + variable.values.index(v) for v in variable.values}
            spans.append(((1 << len(variable.values)) - 1) << at)
            at += len(variable.values) + 1  # a bit to spare, into which a full variable carries
        object.__setattr__(self, "shifts", shifts)
        object.__setattr__(self, "values", {v.name: v.values for v in self.variables})
        object.__setattr__(self, "bits", bits)
        object.__setattr__(self, "spans", tuple(spans))
        object.__setattr__(self, "lows", sum(1 << shift for shift in shifts.values()))
        object.__setattr__(self, "pads", sum(1 << shifts[v.name] + len(v.values) for v in self.variables))

    def span(self, name: str) -> int:
        """All bits of a variable."""
        return ((1 << len(self.values[name])) - 1) << self.shifts[name]

    def bit(self, name: str, value: str) -> int:
        """The bit of one value. Raises KeyError for what is not in the layout."""
        return self.bits[name][value]

    def pack(self, values: Mapping[str, str]) -> int:
        """The bits of a position; variables not named are at rest."""
        bits = 0
        for variable in self.variables:
            bits |= self.bit(variable.name, values.get(variable.name, variable.values[0]))
        return bits

    def value(self, bits: int, name: str) -> str:
        """The value of one variable."""
        at = self.shifts[name]
        mine = (bits >> at) & ((1 << len(self.values[name])) - 1)
        return self.values[name][mine.bit_length() - 1]

    def read(self, bits: int) -> dict[str, str]:
        """Every variable's value."""
        return {v.name: self.value(bits, v.name) for v in self.variables}

    def being(self, name: str, *values: str) -> Condition:
        """The condition that a variable has one of the values."""
        allowed = 0
        for value in values:
            allowed |= self.bit(name, value)
        return self.tidy((self.span(name) & ~allowed,))

    def impossible(self, cube: int) -> bool:
        """Whether a cube forbids every value of some variable: then adding one to it carries."""
        return bool(cube + self.lows & self.pads)

    def tidy(self, cubes: tuple[int, ...]) -> Condition:
        """Without impossible cubes and without cubes that another one covers; sorted."""
        kept: list[int] = []
        for cube in sorted(set(cubes), key=lambda c: (c.bit_count(), c)):
            if not self.impossible(cube) and not any(cube | other == cube for other in kept):
                kept.append(cube)
        return tuple(sorted(kept))

    def both(self, *conditions: Condition) -> Condition:
        """All of the conditions."""
        result = ALWAYS
        for condition in conditions:
            result = self.tidy(tuple(a | b for a in result for b in condition))
        return result

    def either(self, *conditions: Condition) -> Condition:
        """Any of the conditions."""
        return self.tidy(tuple(cube for condition in conditions for cube in condition))

    def opposite(self, condition: Condition) -> Condition:
        """The condition that this one does not hold."""
        result = ALWAYS
        for cube in condition:
            parts = tuple(span & ~cube for span in self.spans if cube & span)
            result = self.both(result, self.tidy(parts))
        return result

    def after(self, condition: Condition, changes: Mapping[str, str]) -> Condition:
        """The condition, judged as if the variables named in `changes` already had those values."""
        cubes = []
        for cube in condition:
            reduced = cube
            possible = True
            for name, value in changes.items():
                possible = possible and not cube & self.bit(name, value)
                reduced &= ~self.span(name)
            if possible:
                cubes.append(reduced)
        return self.tidy(tuple(cubes))

    def without(self, condition: Condition, names: tuple[str, ...]) -> Condition:
        """The condition with what it says of some variables taken out: it holds at least as often."""
        spans = 0
        for name in names:
            spans |= self.span(name)
        return self.tidy(tuple(cube & ~spans for cube in condition))

    def words(self, condition: Condition) -> list[list[list[object]]]:
        """The condition as data: any of (all of ([variable, allowed values]))."""
        return [
            [
                [v.name, [value for value in v.values if not cube & self.bits[v.name][value]]]
                for v, span in zip(self.variables, self.spans, strict=True)
                if cube & span
            ]
            for cube in condition
        ]

    def from_words(self, words: list[list[list[object]]]) -> Condition:
        """The opposite of `words`. Raises KeyError for what is not in the layout, ValueError for another shape."""
        cubes = []
        for parts in words:
            cube = 0
            for name, allowed in parts:
                if not isinstance(name, str) or not isinstance(allowed, list):
                    raise ValueError("a condition is made of [variable, [values]]")  # noqa: TRY004
                cube |= self.span(name) & ~all_of(self.bit(name, str(value)) for value in allowed)
            cubes.append(cube)
        return tuple(cubes)


def holds(condition: Condition, bits: int) -> bool:
    """Whether a position's bits meet the condition."""
    return any(not bits & cube for cube in condition)


def all_of(masks: Iterable[int]) -> int:
    """The bits of any of these masks; of cubes, what their conditions read."""
    bits = 0
    for mask in masks:
        bits |= mask
    return bits


def exactly_one(layout: Layout, conditions: Sequence[Condition]) -> tuple[str, dict[str, str]] | None:
    """None when for every combination of values exactly one condition holds; else what fails, and where.

    Exact: splits on one variable after another (Shannon expansion) until each condition is decided. What is left to
    decide after other values were taken is decided once: `clean` keeps what was found in order.
    """
    spans = [(v, layout.span(v.name)) for v in layout.variables]
    return _split(spans, layout, tuple(tuple(c) for c in conditions), {}, set())


_Left = tuple[tuple[int, ...], ...]


def _split(
    spans: Sequence[tuple[Variable, int]],
    layout: Layout,
    conditions: _Left,
    known: dict[str, str],
    clean: set[_Left],
) -> tuple[str, dict[str, str]] | None:
    alive = tuple(c for c in conditions if c)
    if alive in clean:
        return None
    sure = [c for c in alive if 0 in c]
    if len(sure) > 1:
        return "two rows", known
    if not alive:
        return "no row", known
    if len(sure) == 1 and len(alive) == 1:
        return None
    cube = next(cube for c in alive if 0 not in c for cube in c)
    variable, span = next((v, s) for v, s in spans if cube & s)
    for value in variable.values:
        bit = layout.bit(variable.name, value)
        rest = tuple(tuple([cube & ~span for cube in c if not cube & bit]) for c in alive)
        found = _split(spans, layout, rest, {**known, variable.name: value}, clean)
        if found is not None:
            return found
    clean.add(alive)
    return None
