"""The chart with what the rules ask of it in Promela, for a model checker that shares no code with this one.

One process, one loop: a move of the table chosen by nobody in particular, then all that follows by itself in
one step; so the checker's stored states are the positions with their observers. A broken rule is printed once.
"""

from collections.abc import Iterator

from ohmward.chart.layout import ALWAYS, Condition
from ohmward.chart.table import CHECK, STAY, Assign, Row, Table
from ohmward.proof.forget import Forgetting
from ohmward.proof.obligations import Check, Obligations
from ohmward.proof.watchers import Credit

MOST_AT_ONCE = 60  # statements and ways in one step: SPIN refuses longer ones, and counts them in its own way


def to_promela(table: Table, asked: Obligations, credit: Credit, forgetting: Forgetting | None = None) -> str:
    """The whole model as text. `credit`: progress that a correction cannot come with less of, as `Search` found it.

    `forgetting`: what may be set to rest where nothing ahead reads it; the model is much smaller with it.
    """
    return "\n".join(_Model(table, asked, credit, forgetting).lines()) + "\n"


class _Model:
    def __init__(
        self, table: Table, asked: Obligations, credit: Credit, forgetting: Forgetting | None
    ) -> None:
        self.table, self.asked, self.credit = table, asked, credit
        self.forgotten: dict[int, list[tuple[str, tuple[str, ...]]]] = {}
        for node, bound, names in forgetting.told() if forgetting else ():
            self.forgotten.setdefault(node, []).append((bound, names))
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
        for at, each in enumerate(table.nodes):
            self.kinds.setdefault(each.kind, []).append(at)

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
        yield from self._moves()
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
        if self.table.consequences:
            yield "  d_step {"
            yield from (f"    {self._assign(assign)}" for assign in self.table.consequences)
            yield "  };"
        alone: dict[int, list[str]] = {}
        for row in self.table.rows:
            if not row.trigger:
                at = self.numbers[row.at]
                way = f"  :: node == {at} && {self._condition(row.when)} -> {self._action(row)}"
                alone.setdefault(at, [f"if :: node != {at} -> break"]).append(way)
        yield from self._tree({n: [*ways, "fi"] for n, ways in alone.items()}, sorted(alone))
        yield "od;"
        yield from self._moot()
        here = self._watched()
        for number in self.forgotten:
            here.setdefault(number, []).extend(self._forget(number))
        once = {n: [f"if :: node == {n} ->", *self._at_once(does), ":: else fi"] for n, does in here.items()}
        if once:
            yield from self._tree(once, sorted(once))
        yield "skip"

    def _tree(self, leaves: dict[int, list[str]], numbers: list[int]) -> Iterator[str]:
        """What is done at each node, found by halving them: a checker tries guards one after another."""
        if len(numbers) == 1:
            yield from leaves[numbers[0]]
            return
        half = len(numbers) // 2
        yield f"if :: node < {numbers[half]} ->"
        yield from self._tree(leaves, numbers[:half])
        yield ":: else ->"
        yield from self._tree(leaves, numbers[half:])
        yield "fi"

    @staticmethod
    def _at_once(does: list[str]) -> Iterator[str]:
        """One step of the checker, which is faster, unless it is longer than the checker takes."""
        small = sum(line.count(";") + line.count("::") for line in does) < MOST_AT_ONCE
        yield "d_step {" if small else ""
        yield from does
        yield "skip; }" if small else "skip"

    def _forget(self, node: int) -> list[str]:
        """What nothing ahead of a node reads, set to rest."""
        always = set.intersection(*(set(names) for _, names in self.forgotten[node]))
        by_rest: dict[str, list[str]] = {}
        for bound, names in self.forgotten[node]:
            rest = " ".join(f"{self.names[name]} = 0;" for name in names if name not in always)
            if rest:
                value = f"{self.names['bound']} == {self._value('bound', bound)}"
                by_rest.setdefault(rest, []).append(value)
        ways = [f"  :: {' || '.join(bounds)} -> {rest}" for rest, bounds in by_rest.items()]
        first = " ".join(f"{self.names[name]} = 0;" for name in sorted(always))
        return [*(["if", *ways, "  :: else", "fi;"] if ways else []), first]

    def _moot(self) -> Iterator[str]:
        """Progress that no closing can rest on is forgotten."""
        for number, order in enumerate(self.asked.orders):
            name = f"order {order.device}"
            if order.device and name in self.names:
                kept = self._value(name, "kept")
                yield f"  if :: {self.names[name]} != {kept} -> o{number} = 0 :: else fi;"

    def _watched(self) -> dict[int, list[str]]:
        """What must hold where the run stands, by node."""
        here: dict[int, list[str]] = {}
        for check in self.asked.checks:
            if not check.trigger:
                broken = f"if :: {self._broken(check)} -> {self._tell(check.rule)} :: else fi;"
                here.setdefault(self.numbers[check.node], []).append(broken)
        for item in self.asked.released:
            bit = f"r{self.devices.index(item.device)}"
            for name in item.nodes:
                broken = f"if :: {bit} -> {self._tell(item.rule)} :: else fi;"
                here.setdefault(self.numbers[name], []).append(broken)
        return here

    def _moves(self) -> Iterator[str]:
        """Each row with its checks: those of a kind of node once, those of one node below it, found by halving."""
        everywhere: dict[str, list[str]] = {}
        here: dict[int, list[str]] = {}
        for row in self.table.rows:
            if row.trigger:
                for number in self._places(row):
                    ways = (
                        everywhere.setdefault(row.at, []) if number is None else here.setdefault(number, [])
                    )
                    ways.append(f"      :: {self._condition(row.when)} -> {self._step(row, number)}")
        for at, ways in everywhere.items():
            yield f"      :: {' || '.join(self._ranges(self.kinds[at[4:]]))} -> if"
            yield from ways
            yield "      fi"
        yield f"      :: {' || '.join(self._ranges(sorted(here)))} ->"
        yield from self._tree({n: ["if", *ways, "fi"] for n, ways in here.items()}, sorted(here))

    def _places(self, row: Row) -> list[int] | list[None]:
        """The nodes of a row, none for one that is the same at every node of its kind."""
        if not row.at.startswith("any "):
            return [self.numbers[row.at]]
        numbers = self.kinds.get(row.at[4:], [])
        return numbers if row.to == CHECK else [None] * bool(numbers)

    def _step(self, row: Row, number: int | None) -> str:
        if row.to == CHECK and number is not None:
            return self._action(row, self.numbers[self.table.nodes[number].check])
        return self._before(row) + self._action(row)

    @staticmethod
    def _ranges(numbers: list[int]) -> Iterator[str]:
        """Runs of numbers as comparisons."""
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
        return f"d_step {{ {' '.join(parts) or 'skip;'} }}"

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
