"""Which fields of a rule speak in which of its situations. One that says nothing there is a fault, never a silence."""

from ohmward.language.library import Source
from ohmward.language.models import Rule
from ohmward.proof.demands import EVERY, OUTSIDE, OWN, UNSAID
from ohmward.proof.rule_words import unread_words

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
    **dict.fromkeys(("reads_with", "reads_between", "counts_from", "counts_to", "waits"), _AS_WRITTEN | {_GATE}),
    **dict.fromkeys(("proved_by", "reads_also"), frozenset({_GATE})),
    "names": frozenset({_GATE}),
    "held_by": frozenset({_GATE}),
    "shows": frozenset({_GATE}),
    **dict.fromkeys(("only_by", "only_where"), _AS_WRITTEN | {_GATE}),
    **dict.fromkeys(("stops", "stops_by", "stays_off", "tells", "tells_by"), _AS_WRITTEN),
    "on_the_way": frozenset({OWN}),
    **dict.fromkeys(("needs", "means", "offers", "told_apart", "told_by", "denied_by"), _AS_WRITTEN),
    "bounds": frozenset({_GATE}),
}


def silent_fields(source: Source[Rule]) -> None:
    """Adds a fault for each field that its `whenever:` gives no meaning."""
    rule = source.model
    watched = {
        _GATE if s.startswith("gate ") else _OUTSIDE if s.startswith(OUTSIDE) else s for s in rule.situations
    }
    _narrowed(source, watched)
    unread_words(source)
    if not rule.must and not any(getattr(rule, word) for word in _ADDS):
        source.fault(("whenever",), "says-nothing", "this rule asks for nothing", "say what must be so there")
    for word, speaks in _ADDS.items():
        if getattr(rule, word) and not watched & speaks:
            _fault(source, word, watched, speaks)


def _narrowed(source: Source[Rule], watched: set[str]) -> None:
    """What narrows a rule, or `must:`, in a situation where it says nothing."""
    rule = source.model
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
