"""Which fields of a rule speak in which of its situations. One that says nothing there is a fault, never a silence."""

from typing import get_args

from ohmward.language.effects import LOWERING, RAISING, REPORTED
from ohmward.language.expression import ExpressionError, parse_expression
from ohmward.language.library import Source
from ohmward.language.models import Rule
from ohmward.language.steps import Function
from ohmward.language.suggest import remedy_for
from ohmward.proof.demands import EVERY, OUTSIDE, OWN, UNSAID
from ohmward.proof.on_the_way import ENDS, GATE, READING

_TOUCHING = frozenset(
    {
        "hands on circuit",
        "hands on stored",
        "probes on circuit",
        "near moving",
        "fit lead",
        "take down lead",
        "fit bypass",
        "uncover guard",
        "reading ohms",
        "reading microfarads",
        "reading insulation",
        "reading voltage",
    }
)
_HANDLES = frozenset({"close device", "release device"})
_MOVING = _HANDLES | {"turn moving"}
_GATE = "gate NAME"
_OUTSIDE = f"{OUTSIDE}NAME"
# What narrows a rule must speak in every situation that it watches; else it would speak of less than it says.
TAGGED = (
    "reads_between",
    "read_by_two",
    "reads_with",
    "shows",
    "bounds",
    "counts_from",
    "waits",
    "proved_by",
    "held_by",
    "needs",
    "offers",
)
_AS_WRITTEN = frozenset({OWN, EVERY, _OUTSIDE})
_WHERE = {
    "it drives a part": _TOUCHING,
    "a disconnect or plug starts a part": _MOVING,
    UNSAID: frozenset({"close device"}),
    "the store can return": frozenset({_GATE}),
}
# What adds to a rule must speak in one of them.
_ADDS = {
    "in_order": _TOUCHING | _MOVING | {_GATE},
    "must_contain": frozenset({_GATE}),
    "never": frozenset({_GATE}),
    "refuses": frozenset({_GATE}),
    "lost_by": frozenset({_GATE}),
    "suits": frozenset({_GATE}),
    "read_by_two": frozenset({_GATE}),
    "holds_at_most": frozenset({_GATE}),
    **dict.fromkeys(("reads_with", "reads_between", "counts_from", "waits"), _AS_WRITTEN | {_GATE}),
    "proved_by": frozenset({_GATE}),
    "names": frozenset({_GATE}),
    "held_by": frozenset({_GATE}),
    "shows": frozenset({_GATE}),
    **dict.fromkeys(("only_by", "only_where"), _AS_WRITTEN | {_GATE}),
    **dict.fromkeys(("stops", "stops_by", "stays_off", "tells", "tells_by"), _AS_WRITTEN),
    "on_the_way": frozenset({OWN}),
    **dict.fromkeys(("needs", "offers", "told_apart"), _AS_WRITTEN),
    "bounds": frozenset({_GATE}),
}


def silent_fields(source: Source[Rule]) -> None:
    """Adds a fault for each field that its `whenever:` gives no meaning."""
    rule = source.model
    watched = {
        _GATE if s.startswith("gate ") else _OUTSIDE if s.startswith(OUTSIDE) else s for s in rule.situations
    }
    if rule.where is not None:
        _narrows(source, "where", watched, _WHERE[rule.where])
    if rule.unless is not None:
        _narrows(source, "unless", watched, _TOUCHING | {"place", _GATE})
    if rule.since != "the run began":
        _narrows(source, "since", watched, _HANDLES)
        if not rule.in_order:
            source.fault(
                ("since",),
                "says-nothing",
                "`since:` counts the marks of `in_order:`; there are none",
                "add `in_order:`, or remove it",
                key=True,
            )
    if rule.must:
        _narrows(source, "must", watched & _AS_WRITTEN, _TOUCHING | _MOVING | {_GATE, "end"})
    _known_effects(source)
    _limits(source)
    for word, speaks in _ADDS.items():
        if getattr(rule, word) and not watched & speaks:
            _fault(source, word, watched, speaks)


def _known_effects(source: Source[Rule]) -> None:
    """A verb that nothing has would be a rule that never speaks."""
    verbs = {**RAISING, **LOWERING, **REPORTED}
    named = [(word, effect) for word in ("only_by", "tells", "tells_by") for effect in getattr(source.model, word)]
    named += [("told_apart", effect) for effect in source.model.told_apart]
    for word, effect in named:
        if effect not in verbs:
            remedy = remedy_for(effect, verbs, what="effects")
            source.fault((word, effect), "unknown-effect", f"'{effect}' is not an effect", remedy, key=True)
    for index, way in enumerate(source.model.on_the_way):
        for number, to in enumerate(way.to):
            known = (*ENDS, *RAISING, *(f"{READING}{f}" for f in get_args(Function)))
            if to not in known and not to.startswith(GATE):
                remedy = remedy_for(to, known, what="things that a way leads to")
                source.fault(("on_the_way", index, "to", number), "unknown-words", f"'{to}' is nothing that a way leads to", remedy)


def _limits(source: Source[Rule]) -> None:
    """A limit that cannot be read would be met by nothing, or by everything."""
    rule = source.model
    texts: list[tuple[tuple[str | int, ...], str]] = [(("suits", n), text) for n, text in enumerate(rule.suits)]
    texts += [(("counts_from", tag, n), text) for tag, limits in rule.counts_from.items() for n, text in enumerate(limits)]
    for word in ("only_where", "read_by_two"):
        texts += [((word, key), text) for key, text in getattr(rule, word).items()]
    for path, text in texts:
        try:
            parse_expression(text)
        except ExpressionError as error:
            source.fault(path, "limit", error.problem, error.remedy, within=(error.column, max(1, error.width)))


def _narrows(source: Source[Rule], word: str, watched: set[str], speaks: frozenset[str]) -> None:
    silent = watched - speaks
    if silent:
        _fault(source, word, silent, speaks)


def _fault(source: Source[Rule], word: str, silent: set[str], speaks: frozenset[str]) -> None:
    source.fault(
        (word,),
        "says-nothing",
        f"`{word}:` says nothing about: {', '.join(sorted(silent))}",
        f"it speaks with: {', '.join(sorted(speaks))}; write a rule of its own for the rest",
        key=True,
    )


def passed_tags(rule: Rule) -> list[tuple[tuple[str | int, ...], str]]:
    """(path in the file, evidence) for each evidence that must lie on a way; effects are no evidence."""
    return [
        (("on_the_way", index, "passes", number), word)
        for index, way in enumerate(rule.on_the_way)
        for number, words in enumerate(way.passes)
        for word in words.split(" or ")
        if word.removesuffix(" it") not in {**RAISING, **LOWERING, **REPORTED}
    ]
