"""Limits and what a kind of step asks for besides: bands, functions, what values are worked out to. Faults with their place."""

from itertools import takewhile
from typing import get_args

from ohmward.chart.resolve_names import Names, Where, limit_fault
from ohmward.language.evaluate import kind_of
from ohmward.language.expression import ExpressionError, Literal, Name, names_in, parse_expression
from ohmward.language.fields import dimension
from ohmward.language.lists import SLOTS
from ohmward.language.steps import Band, Function, Require, Step
from ohmward.language.suggest import remedy_for
from ohmward.language.vocabulary import kinds_for
from ohmward.language.working import holes_in
from ohmward.trade.formula import TEXT, TRUTH
from ohmward.trade.quantity import DIFFERENCE, TEMPERATURE, Quantity

FUNCTIONS = get_args(Function)


# What has no meaning on a reading that reads nothing.
_TAKEN = frozenset(
    {
        *("between", "function", "functions", "unit", "slot", "second_within", "evidence", "expect", "wait"),
        *("at", "hands", "probes", "near", "changes", "needs"),
    }
)


def steps_before(where: Where, step: Step) -> dict[str, Step]:
    """The steps that stand before one in its own file, by their names."""
    own: dict[str, Step] = getattr(where.file.model, "steps", {})
    return dict(takewhile(lambda pair: pair[1] is not step, own.items()))


def _can_be_used(step: Step) -> bool:
    """Whether what is read at a step has as many values as are written: one kind, one function, read once."""
    plain = step.reading is not None and isinstance(step.between, tuple) and not step.functions
    return plain and not step.uses and step.for_each is None and step.second_within is None


class Limits(Names):
    """What a step demands of numbers, gear and people."""

    def texts(self, where: Where, kind: str, step: Step) -> None:
        """Slots, limits and what the kind of step asks for besides."""
        for index, require in enumerate(step.suits):
            self.demanded(where.at("suits", index), require)
        if kind in {"gear", "reading"} and step.slot is None and not step.uses:
            where.fault("no-slot", f"this {kind} does not say which gear", "add `slot:`", key=True)
        slot = where.env.get(step.slot or "", step.slot or "")
        if slot and slot not in SLOTS:
            where.at("slot").fault(
                "unknown-slot", f"'{slot}' is not a gear slot", remedy_for(slot, SLOTS, what="slots")
            )
        if kind == "reading":
            self._reading(where, step)
        elif step.second_within is not None:
            remedy = "remove second_within:, or let a reading of its own be read by two"
            where.at("second_within").fault("no-reading", f"a {kind} is not read by two", remedy, key=True)
        if kind == "sign" and (step.role is None or step.means is None):
            where.fault("no-meaning", "a signature needs its role: and what it means:", "add both", key=True)
        if kind == "fact":
            self._fact(where, step)

    def _fact(self, where: Where, step: Step) -> None:
        known = self.model.facts.get(step.fact or "")
        if known is None:
            where.at("fact").fault(
                "unknown-name",
                f"'{step.fact}' is not a declared fact",
                remedy_for(step.fact or "", self.model.facts, what="facts"),
            )
        elif known.ask is None:
            where.at("fact").fault(
                "no-question", f"the fact '{step.fact}' has no question", "add `ask:` to it under facts:"
            )

    def _reading(self, where: Where, step: Step) -> None:
        if step.uses:
            self._used(where, step)
        else:
            self._read(where, step)
        kind = self._worked_out(where, step)
        for index, band in enumerate(step.bands):
            self._band(where.at("bands", index), kind, band, last=index == len(step.bands) - 1)

    def _used(self, where: Where, step: Step) -> None:
        """Readings before this one in the same file, each of written points; nothing else is read or touched here."""
        for word in sorted(_TAKEN & step.model_fields_set):
            said = f"`{word}:` has no meaning where nothing is read"
            where.at(word).fault("reads-nothing", said, "remove it", key=True)
        if step.computes is None or step.not_decided is None:
            remedy = "add both: what is worked out, and where to go when that cannot be told"
            where.fault("reads-nothing", "this says no computes: or no not_decided:", remedy, key=True)
        usable = [n for n, s in steps_before(where, step).items() if _can_be_used(s)]
        for index, name in enumerate(step.uses):
            if name not in usable:
                said = f"'{name}' is no reading of written points before this step"
                remedy = remedy_for(name, usable, what="readings")
                where.at("uses", index).fault("not-read-before", said, remedy)

    def _read(self, where: Where, step: Step) -> None:
        for word in ("unit", "between"):
            if getattr(step, word) is None:
                where.fault(f"no-{word}", f"this reading does not say its {word}", f"add `{word}:`", key=True)
        if (step.function is None) == (not step.functions):
            where.fault(
                "no-function",
                "this reading does not say its one function: or its functions:",
                "add one of the two",
                key=True,
            )
        for index, text in enumerate(step.functions):
            self._one_function(where.at("functions", index), text)
        self._by_two(where, step)
        if step.function in {"ohms", "insulation"} and not (step.bands and step.bands[-1].over_range):
            remedy = "add `over_range: here` to the last band"
            where.at("bands").fault("no-over-range", "ohms do not say where OL belongs", remedy)

    def _by_two(self, where: Where, step: Step) -> None:
        """How far the values of two people may lie apart: a difference of what is read, above 0."""
        if step.second_within is None:
            return
        at = where.at("second_within")
        read = dimension(step.unit)
        self.expression(at, step.second_within, DIFFERENCE if read == TEMPERATURE else read)
        try:
            tree = parse_expression(step.second_within)
        except ExpressionError:
            return
        if isinstance(tree, Literal) and isinstance(tree.value, Quantity) and tree.value.base <= 0:
            at.fault("no-difference", "two readings are never equal to the last digit", "give what is left to two instruments' displays, such as 1 V")

    def _one_function(self, at: Where, text: str) -> None:
        word, where_, limit = text.partition(" where ")
        if word not in FUNCTIONS:
            at.fault(
                "unknown-word",
                f"'{word}' is not a function of an instrument",
                remedy_for(word, FUNCTIONS, what="functions"),
            )
        if where_:
            self.expression(at, limit, TRUTH, shift=len(word) + len(where_))

    def _worked_out(self, where: Where, step: Step) -> str:
        """The kind of value that the bands judge: what was read, or what `computes:` makes of it."""
        read = dimension(step.unit)
        if step.computes is None:
            return read
        at = where.at("computes")
        if where.owner or any(band.changes for band in step.bands):
            said = "a gate, and what changes how something stands, is judged by what is read"
            at.fault(
                "not-worked-out", said, "remove computes:, or put the reading into the procedure", key=True
            )
        together = self._values(where, step)
        alone = {} if step.uses else {"value": read}
        kinds = {**kinds_for(self.model, where.env), **alone, **together}
        try:
            tree = parse_expression(step.computes)
            kind = kind_of(tree, kinds)
        except ExpressionError as error:
            limit_fault(at, error)
            return read
        used = {n.name for n in names_in(tree)}
        if not used & {"value", *together} or (used & set(together) and used & {"value"}):
            remedy = "`value` for each value by itself, or all of `value-1`, `value-2` together"
            at.fault("not-worked-out", "this is not worked out from what was read", remedy)
        elif used & set(together) and not set(together) <= used:
            left = ", ".join(sorted(set(together) - used))
            at.fault("not-worked-out", f"{left} is read and not used", "use every value, or do not read it")
        if kind in {TRUTH, TEXT}:
            at.fault("not-worked-out", f"bands judge a number, not a {kind}", "let it give a number")
            return read
        return kind

    @staticmethod
    def _values(where: Where, step: Step) -> dict[str, str]:
        """`value-1`, `value-2` … with their kinds: the points of this reading, or of those that it uses."""
        own = getattr(where.file.model, "steps", {})
        sources = [own[n] for n in step.uses if n in own] if step.uses else [step]
        kinds = [
            dimension(s.unit)
            for s in sources
            if isinstance(s.between, tuple) and not s.functions
            for _ in s.between
        ]
        return {f"value-{n}": kind for n, kind in enumerate(kinds, 1)}

    def demanded(self, where: Where, require: Require) -> None:
        """A condition, and the values that its text shows."""
        self.expression(where.at("require"), require.require, TRUTH)
        self.holes(where.at("otherwise"), require.otherwise)

    def holes(self, where: Where, text: str) -> None:
        """Each `{name}` in a text is a name that is known there."""
        kinds = kinds_for(self.model, where.env)
        for name, column in holes_in(text):
            try:
                kind_of(Name(name, column), kinds)
            except ExpressionError as error:
                limit_fault(where, error)

    def _band(self, where: Where, kind: str, band: Band, *, last: bool) -> None:
        limits = [w for w in ("below", "up_to", "over_range") if getattr(band, w) is not None]
        fits = limits in ([], ["over_range"]) if last else len(limits) == 1 and limits != ["over_range"]
        if not fits:
            wanted = "no limit, or over_range" if last else "exactly one of below and up_to"
            where.fault(
                "band-limits",
                f"band '{band.name}' needs {wanted}",
                "bands ascend; only the last is open above",
            )
        for word in limits:
            if word != "over_range":
                self.expression(where.at(word), str(getattr(band, word)), kind)
