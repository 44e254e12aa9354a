"""Effects and events: the words, what they touch, and when they count."""

from dataclasses import dataclass
from enum import StrEnum

from ohmward.language.suggest import remedy_for

# verb -> (what it acts on). Raising effects count when the step is begun, lowering ones when confirmed,
# reported ones with the answer that says so.
RAISING = {
    "close": "device",
    "release": "device",
    "fit": "temporary",
    "uncover": "temporary",
    "turn": "moving",
}
LOWERING = {
    "open": "device",
    "hold off": "device",
    "discharge": "stored",
    "still": "moving",
    "take down": "temporary",
    "cover": "temporary",
    "answer": "device",
}
REPORTED = {"trip": "device", "found live": "circuit", "found charged": "stored"}
_VERBS = {**RAISING, **LOWERING, **REPORTED}
_PAST = {
    "closed": "close",
    "released": "release",
    "fitted": "fit",
    "uncovered": "uncover",
    "turned": "turn",
    "opened": "open",
    "held off": "hold off",
    "taken down": "take down",
    "covered": "cover",
    "tripped": "trip",
    "found live": "found live",
    "found charged": "found charged",
}
SECOND_LEFT = "second left"
PLAIN_EVENTS = ("left site", "worker changed", "supervisor left", SECOND_LEFT, "shift ended", "hands in")
UPSTREAM = "upstream"


class Counts(StrEnum):
    """When an effect counts."""

    BEGUN = "begun"
    CONFIRMED = "confirmed"
    REPORTED = "reported"


class EffectError(ValueError):
    """The words are no effect or event; `remedy` says what would be."""

    def __init__(self, problem: str, remedy: str) -> None:
        super().__init__(problem)
        self.problem, self.remedy = problem, remedy


@dataclass(frozen=True, slots=True, order=True)
class Effect:
    """One effect on one declared thing, such as `close disconnect`."""

    verb: str
    object: str

    @property
    def counts(self) -> Counts:
        if self.verb in RAISING:
            return Counts.BEGUN
        return Counts.CONFIRMED if self.verb in LOWERING else Counts.REPORTED

    @property
    def acts_on(self) -> str:
        return _VERBS[self.verb]

    def __str__(self) -> str:
        return f"{self.verb} {self.object}"


@dataclass(frozen=True, slots=True)
class Event:
    """What loses a gate: the past of an effect on an object (or `any`), or an event of people and gear."""

    word: str
    verb: str | None
    object: str


def parse_effect(text: str) -> Effect:
    """`hold off disconnect` and its like. Raises EffectError."""
    for verb in sorted(_VERBS, key=len, reverse=True):
        if text.startswith(verb + " "):
            return Effect(verb, text[len(verb) + 1 :].strip())
    raise EffectError(
        f"'{text}' is not an effect", remedy_for(text.split(" ", maxsplit=1)[0], _VERBS, what="effects")
    )


def parse_event(text: str) -> Event:
    """`closed it`, `left site`, `voltmeter changed`, `voltmeter found bad`. Raises EffectError."""
    if text in PLAIN_EVENTS:
        return Event(text, None, "")
    for ending in (" found bad", " changed"):
        if text.endswith(ending) and " " not in text.removesuffix(ending):
            return Event(text, None, text.removesuffix(ending))
    for past in sorted(_PAST, key=len, reverse=True):
        if text.startswith(past + " "):
            return Event(text, _PAST[past], text[len(past) + 1 :].strip())
    raise EffectError(
        f"'{text}' is not an event",
        remedy_for(text, (*PLAIN_EVENTS, *(f"{p} it" for p in _PAST)), what="events"),
    )
