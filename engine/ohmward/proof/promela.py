"""The chart with what the rules ask of it in Promela, for a model checker that shares no code with this one.

One process, one loop: a move of the table chosen by nobody in particular, then all that follows by itself in
one step; so the checker's stored states are the positions with their observers. A broken rule is printed once.
"""

from collections.abc import Iterator

from ohmward.chart.layout import ALWAYS, Condition
from ohmward.chart.table import CHECK, STAY, Assign, Row, Table
from ohmward.proof.obligations import Check, Obligations
from ohmward.proof.watchers import Credit


def to_promela(table: Table, asked: Obligations, credit: Credit) -> str:
    """The whole model as text. `credit`: progress that a correction cannot come with less of, as `Search` found it."""
    return "\n".join(_Model(table, asked, credit).lines()) + "\n"


class _Model:
    def __init__(self, table: Table, asked: Obligations, credit: Credit) -> None:
        self.table, self.asked, self.credit = table, asked, credit
        self.names = {v.name: f"v{n}" for n, v in enumerate(table.layout.variables)}
        self.numbers = {n.name: i for i, n in enumerate(table.nodes)}
        self.rules = list(
            dict.fromkeys(
                [
                    *(c.rule for c in asked.checks),
                    *(o.rule for o in asked.orders),
                    *(r.rule for r in asked.released),
                ]
            )
        )
        self.devices = tuple(dict.fromkeys(r.device for r in asked.released))
        self.width = max((len(o.marks).bit_length() for o in asked.orders), default=0)
        self.kinds: dict[str, list[int]] = {}
        for number, node in enumerate(table.nodes):
            self.kinds.setdefault(node.kind, []).append(number)

    def lines(self) -> Iterator[str]:
        yield f"/* {_inert(self.table.procedure)}, revision {self.table.revision}: {len(self.table.nodes)} nodes, {len(self.table.rows)} rows */"
        yield f"c_decl {{ static unsigned char told[{len(self.rules) + 1}]; }}"
        yield "short node = 0;"
        for variable in self.table.layout.variables:
            kind = "bit" if len(variable.values) == 2 else "byte"
            yield f"{kind} {self.names[variable.name]} = {self._first(variable.name)}; /* {_inert(variable.name)}: {_inert(', '.join(variable.values))} */"
        for number, order in enumerate(self.asked.orders):
            yield f"byte o{number} = 0; /* {_inert(', '.join(order.marks))} before {_inert(order.before)} */"
        for number, device in enumerate(self.devices):
            yield f"bit r{number} = 0; /* {_inert(device)} stands released */"
        yield "active proctype walk() {"
        yield "  atomic {"
        for name in self.table.free:
            values = ("none", "unanswered") if name.startswith("trip ") else self.table.layout.values[name]
            ways = " ".join(f":: {self.names[name]} = {self._value(name, v)}" for v in values)
            yield f"    if {ways} fi;"
        yield from self._settling()
        yield "  };"
        yield "end_of_run: do"
        yield "  :: atomic {"
        yield "      if"
        for row in self.table.rows:
            if row.trigger:
                yield from self._option(row)
        yield "      fi;"
        yield from self._settling()
        yield "    }"
        yield "  od"
        yield "}"

    def _first(self, name: str) -> int:
        return self._value(name, self.table.start.get(name, self.table.layout.values[name][0]))

    def _value(self, name: str, value: str) -> int:
        return self.table.layout.values[name].index(value)

    def _settling(self) -> Iterator[str]:
        """All that follows by itself, and what is watched where that ends. Written out, and not as one step: a checker limits the
        length of both; states inside `atomic` are not stored either way."""
        yield "do :: "
        yield from (f"  {self._assign(assign)}" for assign in self.table.consequences)
        alone: dict[int, list[Row]] = {}
        for row in self.table.rows:
            if not row.trigger:
                alone.setdefault(self.numbers[row.at], []).append(row)
        yield from self._tree(alone, sorted(alone))
        yield "od;"
        yield from self._watched()
        yield "skip"

    def _tree(self, alone: dict[int, list[Row]], numbers: list[int]) -> Iterator[str]:
        """The moves by themselves, found by halving the nodes: a checker tries guards one after another."""
        if len(numbers) == 1:
            yield f"if :: node != {numbers[0]} -> break"
            for row in alone[numbers[0]]:
                yield f"  :: node == {numbers[0]} && {self._condition(row.when)} -> {self._action(row)}"
            yield "fi"
            return
        half = len(numbers) // 2
        yield f"if :: node < {numbers[half]} ->"
        yield from self._tree(alone, numbers[:half])
        yield ":: else ->"
        yield from self._tree(alone, numbers[half:])
        yield "fi"

    def _watched(self) -> Iterator[str]:
        """What is forgotten of the orders, and what must hold where the run stands."""
        for number, order in enumerate(self.asked.orders):
            name = f"order {order.device}"
            if order.device and name in self.names:
                kept = self._value(name, "kept")
                yield f"  if :: {self.names[name]} != {kept} -> o{number} = 0 :: else fi;"
        for check in self.asked.checks:
            if not check.trigger:
                at = f"node == {self.numbers[check.node]}"
                yield f"  if :: {at} && {self._broken(check)} -> {self._tell(check.rule)} :: else fi;"
        for item in self.asked.released:
            bit = f"r{self.devices.index(item.device)}"
            for name in item.nodes:
                at = f"node == {self.numbers[name]}"
                yield f"  if :: {at} && {bit} -> {self._tell(item.rule)} :: else fi;"

    def _option(self, row: Row) -> Iterator[str]:
        """A row with its checks; one for each node where it leads to each node's own check."""
        if row.to == CHECK:
            for number in self.kinds.get(row.at[4:], []):
                to = self.numbers[self.table.nodes[number].check]
                yield f"      :: node == {number} && {self._condition(row.when)} -> {self._action(row, to)}"
            return
        yield f"      :: {self._where(row)} && {self._condition(row.when)} -> {self._before(row)}{self._action(row)}"

    def _where(self, row: Row) -> str:
        if not row.at.startswith("any "):
            return f"node == {self.numbers[row.at]}"
        return "(" + " || ".join(self._ranges(self.kinds.get(row.at[4:], []))) + ")"

    @staticmethod
    def _ranges(numbers: list[int]) -> Iterator[str]:
        """Runs of numbers as comparisons; never true for none."""
        if not numbers:
            yield "false"
        start = None
        for number in numbers:
            if start is None:
                start = number
            if number + 1 not in numbers:
                yield f"node == {start}" if start == number else f"(node >= {start} && node <= {number})"
                start = None

    def _condition(self, condition: Condition) -> str:
        if condition == ALWAYS:
            return "true"
        cubes = []
        for parts in self.table.layout.words(condition):
            alls = []
            for name, allowed in parts:
                values = [self._value(str(name), str(a)) for a in allowed]  # type: ignore[attr-defined]
                alls.append("(" + " || ".join(f"{self.names[str(name)]} == {v}" for v in values) + ")")
            cubes.append(" && ".join(alls) or "true")
        return "(" + (" || ".join(f"({c})" for c in cubes) or "false") + ")"

    def _assign(self, assign: Assign) -> str:
        puts = "; ".join(f"{self.names[n]} = {self._value(n, v)}" for n, v in assign.values)
        if assign.when == ALWAYS:
            return f"{puts};"
        return f"if :: {self._condition(assign.when)} -> {puts} :: else fi;"

    def _action(self, row: Row, to: int | None = None) -> str:
        """Assignments, marks, and the next node."""
        parts = [self._assign(a) for a in row.assigns]
        step = row.trigger.removeprefix("correct@")
        if step in self.credit and step != row.trigger:
            parts += self._credited(self.credit[step])
        parts += [p for mark in row.marks for p in self._marked(mark)]
        if to is not None or row.to != STAY:
            parts.append(f"node = {self.numbers[row.to] if to is None else to};")
        return " ".join(parts) or "skip;"

    def _credited(self, seen: int) -> Iterator[str]:
        for number in range(len(self.asked.orders)):
            least = seen >> (number * self.width) & ((1 << self.width) - 1)
            if least:
                yield f"if :: o{number} < {least} -> o{number} = {least} :: else fi;"

    def _marked(self, mark: str) -> Iterator[str]:
        for number, order in enumerate(self.asked.orders):
            if order.reset and mark == order.reset:
                yield f"o{number} = 0;"
                continue
            at = [n for n, m in enumerate(order.marks) if m == mark]
            if at:
                ways = " ".join(f":: o{number} == {n} -> o{number} = {n + 1}" for n in at)
                yield f"if {ways} :: else fi;"
        for number, device in enumerate(self.devices):
            if mark in {f"release {device}", f"close {device}"}:
                yield f"r{number} = 1;"
            elif mark in {f"hold off {device}", f"stands held off {device}"}:
                yield f"r{number} = 0;"

    def _before(self, row: Row) -> str:
        """What must hold before a move."""
        mine = (c for c in self.asked.checks if c.trigger == row.trigger and c.node == row.at)
        parts = [f"if :: {self._broken(c)} -> {self._tell(c.rule)} :: else fi;" for c in mine]
        for number, order in enumerate(self.asked.orders):
            if row.trigger in order.moves:
                parts.append(f"if :: o{number} < {len(order.marks)} -> {self._tell(order.rule)} :: else fi;")
        return " ".join([*parts, ""]) if parts else ""

    def _broken(self, check: Check) -> str:
        return f"!{self._condition(check.must)}" if check.must != ALWAYS else "false"

    def _tell(self, rule: str) -> str:
        number = self.rules.index(rule)
        return f'c_code {{ if (!told[{number}]) {{ told[{number}] = 1; printf("broken: {rule}\\n"); }} }}'


def _inert(text: str) -> str:
    """Text that cannot end a comment."""
    return "".join(c if c.isalnum() or c in " ,.:;()=-_" else "?" for c in text)
