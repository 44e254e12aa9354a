"""How steps come out and when they are worked: outcomes, targets, limits, conditions. Every fault with its place."""

import re
from collections.abc import Callable
from dataclasses import replace

from ohmward.chart.names import any_variable
from ohmward.chart.plan import CANNOT, ELSE, NOT_DECIDED, Data, Leads, Outcome, Passing
from ohmward.chart.resolve_limits import Limits
from ohmward.chart.resolve_names import Where
from ohmward.language.effects import Counts, Effect
from ohmward.language.expression import ExpressionError, Literal, names_in, parse_expression
from ohmward.language.steps import Band, Step, Way
from ohmward.language.suggest import remedy_for
from ohmward.trade.formula import TRUTH
from ohmward.trade.quantity import Quantity, parse_quantity

ROUTINE_TARGETS = ("held", "repeat", "fail")
GOOD = {
    "action": "done",
    "confirm": "confirmed",
    "gear": "suits",
    "person": "named",
    "fact": "known",
    "sign": "signed",
    "photo": "taken",
}
HELD_WHEN_NOT = frozenset({"action", "confirm", "photo"})
# How something stands, as `when:` asks it on arrival: words after the name -> kind of name.
STANDS = {
    "is held off": "circuit",
    "is discharged": "stored",
    "is in place": "temporary",
    "is not there": "temporary",
    "has tripped": "device",
}
RETURNS = " can return"
IS_THERE = " is there"
_LIST = re.compile(r"fact\.([a-z0-9-]{1,40})")


class Ways(Limits):
    """Outcomes and conditions of steps."""

    conditions: dict[str, Data]
    lists: dict[str, int]

    # -- when -------------------------------------------------------------------------------------------

    def passing(self, where: Where, step: Step, steps: int) -> tuple[Passing, ...]:
        """The condition under which a step, or all steps of a group, are worked."""
        if step.when is None:
            return ()
        at = where.at("when")
        if step.when.endswith(RETURNS):
            return ()  # decided by what is declared, see `is_there`
        if step.when.endswith(IS_THERE):
            name = self.name(at, step.when.removesuffix(IS_THERE), "counted")
            return (Passing(variable=any_variable(name), steps=steps),)
        for words, kind in STANDS.items():
            if step.when.endswith(f" {words}"):
                name = self.name(at, step.when.removesuffix(f" {words}").strip(), kind)
                return (Passing(phrase=(words, name), steps=steps),)
        self.expression(at, step.when, TRUTH)
        self._known_from_the_start(at, step.when)
        variable = f"data {' '.join(step.when.split())}"
        self.conditions[variable] = Data(limit=step.when)
        return (Passing(variable=variable, steps=steps),)

    def _known_from_the_start(self, at: Where, text: str) -> None:
        """A condition by data is decided once, when the run is opened: it reads facts and circuits only."""
        try:
            names = names_in(parse_expression(text))
        except ExpressionError:
            return
        words = {w for f in self.model.facts.values() for w in f.one_of or ()}
        circuits = {n for n, s in self.model.sources.items() if s.kind == "circuit"}
        for name in names:
            head, _, rest = name.name.partition(".")
            asked = any(s.fact == rest for s in self.model.steps.values())
            if (head == "fact" and asked) or not (head in {"fact", *circuits} or name.name in words):
                at.file.fault(
                    at.path,
                    "when-too-late",
                    f"'{name.name}' is not known before the first step",
                    "use facts that are not asked by a step, or circuits of the job sheet",
                    within=(name.column, len(name.name)),
                )

    def is_there(self, where: Where, step: Step) -> bool:
        """Whether a step belongs to this procedure at all: one for charge that can return only where it can."""
        if step.when is None or not step.when.endswith(RETURNS):
            return True
        name = self.name(where.at("when"), step.when.removesuffix(RETURNS), "stored")
        return name not in self.known("stored") or self.model.sources[name].can_return is not None

    def items(self, where: Where, step: Step) -> tuple[str, int]:
        """The list and the most items of a `for_each:`; ('', 0) with a fault when it is none."""
        match = _LIST.fullmatch(step.for_each or "")
        fact = self.model.facts.get(match.group(1)) if match else None
        if match is None or fact is None or fact.list_of is None:
            lists = [f"fact.{n}" for n, f in self.model.facts.items() if f.list_of]
            where.at("for_each").fault(
                "no-list",
                f"'{step.for_each}' is not a list that this procedure declares",
                remedy_for(step.for_each or "", lists, what="lists"),
            )
            return "", 0
        if any(s.fact == match.group(1) for s in self.model.steps.values()):
            where.at("for_each").fault(
                "when-too-late",
                f"'{step.for_each}' is asked by a step; a list must be known before the first one",
                "let the job sheet say it, or have it asked first",
            )
        most = 4 if step.most is None else max(1, step.most)
        self.lists[match.group(1)] = min(most, self.lists.get(match.group(1), most))
        return match.group(1), most

    # -- targets ----------------------------------------------------------------------------------------

    def target(self, where: Where, target: str | None) -> str:
        """The step or end that a written target means, '' for none; a fault when it means nothing here."""
        if target is None:
            return ""
        if target in where.siblings:
            return where.siblings[target]
        if target in where.outside:
            return where.outside[target]
        known = {*where.siblings, *where.outside, *(ROUTINE_TARGETS if where.owner else self.model.ends)}
        if target not in known:
            where.fault(
                "unknown-target",
                f"'{target}' is not a place to go from here",
                remedy_for(target, known, what="targets"),
            )
        return target

    # -- outcomes ---------------------------------------------------------------------------------------

    def outcomes(self, where: Where, kind: str, step: Step) -> tuple[Outcome, ...]:
        then, finding = self.target(where.at("then"), step.then), step.finding or ""
        if where.owner and step.not_decided not in {None, "fail"}:
            where.at("not_decided").fault(
                "undecided-holds",
                f"what is not decided leads on to '{step.not_decided}'",
                "leave it out: in a gate's routine it is `fail`",
            )
        unsure = Outcome(
            name=NOT_DECIDED,
            leads=Leads.AGAIN,
            then=self.target(where.at("not_decided"), step.not_decided) or ("fail" if where.owner else ""),
        )
        if kind in HELD_WHEN_NOT:
            good = Outcome(name=GOOD[kind], leads=Leads.ON, then=then, finding=finding, usual=True)
            return (good, Outcome(name=CANNOT, leads=Leads.HELD))
        if kind in GOOD:
            return (Outcome(name=GOOD[kind], leads=Leads.ON, then=then, usual=True), unsure)
        if kind == "reading":
            return (*self._ways(where, step, "bands", step.bands, then), unsure)
        self._options(where, step)
        return (
            *self._ways(where, step, "options", step.options, then),
            Outcome(name=ELSE, leads=Leads.HELD),
        )

    def _options(self, where: Where, step: Step) -> None:
        for index, option in enumerate(step.options):
            at = where.at("options", index)
            if (option.only_if is None) != (option.otherwise is None):
                at.fault(
                    "half-a-condition",
                    f"'{option.name}' has only one of only_if: and otherwise:",
                    "write both, so that a refusal says what to do",
                )
            if option.only_if is not None:
                self.expression(at.at("only_if"), option.only_if, TRUTH)
                self.holes(at.at("otherwise"), option.otherwise or "")

    def _ways(
        self, where: Where, step: Step, word: str, ways: tuple[Way, ...], then: str
    ) -> tuple[Outcome, ...]:
        if not ways:
            where.fault(f"no-{word}", f"this step has no {word}", f"add {word}:", key=True)
        taken = {NOT_DECIDED, CANNOT, ELSE}
        made: list[Outcome] = []
        for index, way in enumerate(ways):
            at = where.at(word, index)
            if way.name in taken:
                at.at("name").fault(
                    "duplicate-name", f"'{way.name}' is taken", "give each outcome its own name"
                )
            taken.add(way.name)
            made.append(self._way(at, step, way, then))
        usual = _usual(ways)
        return tuple(replace(o, usual=n == usual) for n, o in enumerate(made))

    def _way(self, at: Where, step: Step, way: Way, then: str) -> Outcome:
        effects = self.effects(at.at("changes"), way.changes)
        for effect in effects:
            if effect.verb == "discharge" and not _reads_empty(step, way):
                not_read_empty(at.at("changes"), effect)
            if effect.counts is Counts.BEGUN:
                at.at("changes").fault(
                    "raises-too-late",
                    f"'{effect}' moves the hand before the answer",
                    "put it into the step's own changes:",
                )
        if (
            (way.repeats is None) != (way.exhausted is None)
            or way.repeats == 0
            or (way.repeats and not way.then)
        ):
            at.fault(
                "half-a-repeat",
                f"'{way.name}' needs then:, repeats: from 1 and exhausted: together",
                "say where to go back to, how often, and where to go afterwards",
            )
        if at.owner and way.counts is not None and way.then in {"fail", "repeat"}:
            at.at("counts").fault(
                "refused-counts",
                f"'{way.name}' keeps its gate from being held and counts all the same",
                "remove `counts:`: an answer that is kept would hold the gate the next time",
                key=True,
            )
        return Outcome(
            name=way.name,
            leads=Leads.ON,
            then=self.target(at.at("then"), way.then) or then,
            effects=effects,
            finding=way.finding or step.finding or "",
            work=way.work or "",
            counts=way.counts is not None or (way.then is None and not way.changes),
            repeats=way.repeats or 0,
            exhausted=self.target(at.at("exhausted"), way.exhausted),
        )


_EMPTY = parse_quantity("3 V")  # as absence of voltage is read: common practice, no source


def _reads_empty(step: Step, way: Way) -> bool:
    """Whether an outcome is a DC reading, as it stands on the display, that ends at 3 V or lower."""
    if step.reading is None or step.function != "dc volts" or step.functions or step.computes is not None:
        return False
    text = (way.below or way.up_to) if isinstance(way, Band) else None
    try:
        tree = parse_expression(text) if text and step.decided_by == "largest" else None
    except ExpressionError:
        return False
    limit = tree.value if isinstance(tree, Literal) else None
    return isinstance(limit, Quantity) and limit.dimension == _EMPTY.dimension and limit.compare(_EMPTY) <= 0


def not_read_empty(at: Where, effect: Effect) -> None:
    """The fault of a charge that counts as gone without having been read. Basis: 29 CFR 1910.333(b)(2)(ii)(C)."""
    at.fault(
        "not-read-empty",
        f"'{effect}' counts without a reading that says so",
        "let the lowest band of a reading with `function: dc volts` say it, `below: 3 V` or lower",
    )


def _usual(ways: tuple[Way, ...]) -> int:
    """The place of the way that is expected: one that counts by its own word, one that goes on, else the first."""
    wanted: tuple[Callable[[Way], bool], ...] = (
        lambda w: w.counts is not None,
        lambda w: w.then is None and not w.changes,
        lambda w: w.then is None,
        lambda w: w.then not in {"fail", "repeat"},
    )
    for fits in wanted:
        found = next((n for n, w in enumerate(ways) if fits(w)), None)
        if found is not None:
            return found
    return 0
