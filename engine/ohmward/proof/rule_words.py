"""The words in a rule's fields. One that nothing has would be a rule that never speaks, or one that nobody can keep."""

import re
from collections.abc import Iterator, Mapping
from typing import Any, NamedTuple, get_args

from ohmward.chart.plan import NOT_DECIDED
from ohmward.language.effects import LOWERING, RAISING, REPORTED
from ohmward.language.expression import ExpressionError, parse_expression
from ohmward.language.library import Library, Source
from ohmward.language.models import OnTheWay, Rule
from ohmward.language.steps import Function, Step
from ohmward.language.suggest import remedy_for
from ohmward.proof.on_the_way import ALL_OFF, BEGAN, ENDS, GATE, IT, READING, VERBS
from ohmward.proof.reading_rules import POINTS

_LISTS = r"(pairs|each)\(.+\)"
_TAGGED = (
    "reads_between",
    "read_by_two",
    "reads_with",
    "shows",
    "bounds",
    "counts_from",
    "counts_to",
    "waits",
    "proved_by",
    "held_by",
    "needs",
    "offers",
    "told_by",
    "means",
    "reads_also",
)
_RELEASED = "released"
_NEXT = " is next"
Path = tuple[str | int, ...]


def unread_words(source: Source[Rule]) -> None:
    """Faults that the file shows by itself: no effects, limits that cannot be read, lists without anything in them."""
    rule = source.model
    _effects(source)
    _limits(source)
    for tag, lists in rule.reads_between.items():
        for number, text in enumerate(lists):
            if not re.fullmatch(f"{POINTS}|{_LISTS}", text):
                remedy = "write `at least N points`, N from 2 to 9, `pairs(...)` or `each(...)` as the reading has it"
                _words(source, ("reads_between", tag, number), text, "no list of points", remedy)
    for index, way in enumerate(rule.on_the_way):
        _way(source, index, way)
    for path in _empty(rule):
        source.fault(path, "says-nothing", "this list is empty: it asks for nothing", "name what it asks for, or remove it")


def _effects(source: Source[Rule]) -> None:
    named: list[tuple[Path, str, frozenset[str]]] = [((word, effect), effect, VERBS) for word in ("only_by", "tells", "tells_by") for effect in getattr(source.model, word)]
    named += [(("means", tag, n), effect, VERBS) for tag, effects in source.model.means.items() for n, effect in enumerate(effects)]
    for word in ("told_apart", "denied_by"):
        after = frozenset({**LOWERING, **REPORTED})  # what an answer can have; the rest counts when a step is begun
        named += [((word, effect), effect, after) for effect in getattr(source.model, word)]
    for path, effect, known in named:
        if effect not in known:
            remedy = remedy_for(effect, known, what="effects")
            source.fault(path, "unknown-effect", f"'{effect}' is not an effect that this speaks of", remedy, key=len(path) < 3)


def _limits(source: Source[Rule]) -> None:
    rule = source.model
    texts: list[tuple[Path, str]] = [(("suits", n), text) for n, text in enumerate(rule.suits)]
    for word, table in (("counts_from", rule.counts_from), ("counts_to", rule.counts_to)):
        texts += [((word, tag, n), text) for tag, limits in table.items() for n, text in enumerate(limits)]
    for word in ("only_where", "read_by_two"):
        texts += [((word, key), text) for key, text in getattr(rule, word).items()]
    for path, text in texts:
        try:
            parse_expression(text)
        except ExpressionError as error:
            source.fault(path, "limit", error.problem, error.remedy, within=(error.column, max(1, error.width)))


def _way(source: Source[Rule], index: int, way: OnTheWay) -> None:
    known = (*sorted(ENDS), *RAISING, *(f"{READING}{f}" for f in get_args(Function)))
    for number, to in enumerate(way.to):
        if to not in known and not to.startswith(GATE):
            remedy = remedy_for(to, known, what="things that a way leads to")
            _words(source, ("on_the_way", index, "to", number), to, "nothing that a way leads to", remedy)
    for number, words in enumerate(way.passes):
        if IT.search(words) and not set(way.after) <= VERBS:
            remedy = "let the ways begin with effects alone, or leave `it` out"
            _words(source, ("on_the_way", index, "passes", number), words, "about nothing where a way begins with an answer", remedy)


def _words(source: Source[Rule], path: Path, text: str, what: str, remedy: str) -> None:
    source.fault(path, "unknown-words", f"'{text}' is {what}", remedy)


def _empty(rule: Rule) -> Iterator[Path]:
    for field in type(rule).model_fields:
        value: Any = getattr(rule, field)
        if isinstance(value, Mapping):
            yield from ((field, key) for key, asked in value.items() if not asked)
    for index, way in enumerate(rule.on_the_way):
        yield from (("on_the_way", index, word) for word in ("after", "to", "passes") if not getattr(way, word))


# -- words that some other file must have --------------------------------------------------------------------


class _Known(NamedTuple):
    """What the files of a library give."""

    evidence: set[str]
    beginnings: set[str]
    facts: set[str]
    procedures: set[str]


def unknown_words(library: Library) -> None:
    """Faults of all rules whose evidence no step gives, whose answers nobody can give, whose facts and procedures are not there."""
    steps = [s for models in (library.procedures, library.gates, library.groups) for m in models.values() for s in m.model.steps.values()]
    known = _Known(
        evidence={s.evidence for s in steps if s.evidence} | {_RELEASED},
        beginnings={name for s in steps for name in _answers(s)} | {NOT_DECIDED, BEGAN, *VERBS},
        facts={name for m in library.procedures.values() for name in m.model.facts},
        procedures={*library.procedures, *(b.removeprefix("procedure ") for b in library.broken)},
    )
    for source in library.rules.values():
        for path, tag in _evidence(source.model):
            _given(source, path, tag, known.evidence)
        for index, way in enumerate(source.model.on_the_way):
            _known_way(source, ("on_the_way", index), way, known)
        for number, phrase in enumerate(source.model.must):
            for word in (p.removesuffix(_NEXT) for p in phrase.split(" or ") if p.endswith(_NEXT)):
                _there(source, ("must", number), word, known.procedures, "procedures")


def _known_way(source: Source[Rule], at: Path, way: OnTheWay, known: _Known) -> None:
    for number, word in enumerate(way.after):
        _there(source, (*at, "after", number), word, known.beginnings, "answers and effects")
    for number, words in enumerate(way.passes):
        for word in words.split(" or "):
            if word != ALL_OFF and not any(word == verb or word.startswith(f"{verb} ") for verb in VERBS):
                _given(source, (*at, "passes", number), word, known.evidence | VERBS)
    if way.asks_for is not None:
        _there(source, (*at, "asks_for"), way.asks_for, known.facts, "facts")
    for number, word in enumerate(way.only_in):
        _there(source, (*at, "only_in", number), word, known.procedures, "procedures")


def _given(source: Source[Rule], path: Path, tag: str, known: set[str]) -> None:
    if tag not in known:
        near = remedy_for(tag, known, what="evidence")
        remedy = f"let a step say `evidence: {tag}` where the rule looks for it, or mend the word: {near}"
        source.fault(path, "unknown-evidence", f"no step gives the evidence '{tag}'", remedy)


def _there(source: Source[Rule], path: Path, word: str, known: set[str], what: str) -> None:
    if word not in known:
        _words(source, path, word, f"none of the {what} that there are", remedy_for(word, known, what=what))


def _answers(step: Step) -> Iterator[str]:
    yield from (o.name for o in step.options)
    yield from (b.name for b in step.bands)


def _evidence(rule: Rule) -> Iterator[tuple[Path, str]]:
    yield from ((("in_order", i), tag) for i, tag in enumerate(rule.in_order))
    yield from ((("must_contain", i), tag) for i, tag in enumerate(rule.must_contain))
    for word in _TAGGED:
        yield from (((word, tag), tag) for tag in getattr(rule, word))
    yield from ((("proved_by", tag), proof) for tag, proof in rule.proved_by.items())
