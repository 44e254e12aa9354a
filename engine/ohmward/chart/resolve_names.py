"""Names in files to declared ids: sources, places, devices, effects, events. Faults with their place."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from ohmward.chart.plan import HOLDING
from ohmward.language.effects import UPSTREAM, Effect, EffectError, Event, parse_effect, parse_event
from ohmward.language.evaluate import kind_of
from ohmward.language.expression import ExpressionError, parse_expression
from ohmward.language.library import Source
from ohmward.language.lists import SLOTS
from ohmward.language.models import Gate, Group, Procedure
from ohmward.language.steps import Model
from ohmward.language.suggest import remedy_for
from ohmward.language.typed import Path
from ohmward.language.vocabulary import kinds_for

File = Source[Procedure] | Source[Gate] | Source[Group]


@dataclass(frozen=True, slots=True, kw_only=True)
class Where:
    """A place in a file, and what names mean there."""

    file: Source[Model]
    path: Path = ()
    env: Mapping[str, str] = field(default_factory=dict)
    owner: str = ""
    siblings: Mapping[str, str] = field(default_factory=dict)
    outside: Mapping[str, str] = field(default_factory=dict)

    def at(self, *more: int | str) -> "Where":
        return replace(self, path=(*self.path, *more))

    def fault(self, code: str, problem: str, remedy: str, *, key: bool = False) -> None:
        self.file.fault(self.path, code, problem, remedy, key=key)


def limit_fault(where: Where, error: ExpressionError, shift: int = 0) -> None:
    """What is wrong with a limit, under its caret; `shift` where its text begins in the field."""
    within = (shift + error.column, max(1, error.width))
    where.file.fault(where.path, "limit", error.problem, error.remedy, within=within)


class Names:
    """What a procedure declares, and how words reach it."""

    def __init__(self, model: Procedure) -> None:
        self.model = model

    def known(self, what: str) -> set[str]:
        """The ids of one kind: device, temporary, circuit, stored, moving, place, slot, source."""
        match what:
            case "device":
                return set(self.model.devices) | {UPSTREAM}
            case "temporary":
                return set(self.model.temporary)
            case "place":
                return set(self.model.places)
            case "slot":
                return set(SLOTS)
            case "source":
                return set(self.model.sources)
            case "counted":
                return {n for n, s in self.model.sources.items() if s.count is not None}
            case _:
                return {n for n, s in self.model.sources.items() if s.kind == what}

    def name(self, where: Where, word: str, what: str) -> str:
        """The id that a word means; a fault when there is none of that kind."""
        name = self._means(word, where.env)
        known = self.known(what)
        if name not in known:
            said = (
                f"'{word}' is not declared"
                if name == word
                else f"'{word}' is '{name}', which does not fit here"
            )
            where.fault("unknown-name", said, remedy_for(name, known | set(where.env), what=f"{what}s"))
        return name

    def names(self, where: Where, words: tuple[str, ...] | None, what: str) -> tuple[str, ...]:
        return tuple(self.name(where.at(i), word, what) for i, word in enumerate(words or ()))

    def _means(self, word: str, env: Mapping[str, str]) -> str:
        base, _, more = word.partition(".")
        name = env.get(base, base)
        source = self.model.sources.get(name)
        if not more or source is None:
            return name if not more else word
        match more:
            case "means":
                holding = [
                    d
                    for d in source.through
                    if d in self.model.devices and self.model.devices[d].kind in HOLDING
                ]
                return holding[-1] if holding else word
            case "charged-by":
                return source.charged_by or word
            case "driven-by":
                return source.driven_by or word
            case _:
                return word

    def effects(self, where: Where, texts: tuple[str, ...]) -> tuple[Effect, ...]:
        return tuple(e for i, text in enumerate(texts) for e in self._effect(where.at(i), text))

    def _effect(self, where: Where, text: str) -> tuple[Effect, ...]:
        try:
            effect = parse_effect(text)
        except EffectError as error:
            where.fault("unknown-effect", error.problem, error.remedy)
            return ()
        name = self.name(where, effect.object, effect.acts_on)
        self._said_of(where, effect, name)
        sayable = {"trip", "answer"} if "trip" in self.model.accepts else {"trip"}
        if name == UPSTREAM and effect.verb not in sayable:
            remedy = "only `trip upstream`; its cause is answered by a procedure that starts from trips"
            where.fault("upstream", f"`{effect}` cannot be said of {UPSTREAM} here", remedy)
        return (Effect(effect.verb, name),) if name in self.known(effect.acts_on) else ()

    def _said_of(self, where: Where, effect: Effect, name: str) -> None:
        """A cover is uncovered and covered; a lead or a bypass is fitted and taken down: what rules say of one is not said of the other."""
        known = self.model.temporary.get(name) if effect.acts_on == "temporary" else None
        if known is not None and (effect.verb in {"uncover", "cover"}) != (known.kind == "guard"):
            verbs = "uncover` and `cover" if known.kind == "guard" else "fit` and `take down"
            problem = f"`{effect.verb}` is not said of a {known.kind}"
            where.fault("other-effect", problem, f"write `{verbs}`, or give '{name}' the kind that it is")

    def events(self, where: Where, texts: tuple[str, ...]) -> tuple[Event, ...]:
        return tuple(e for i, text in enumerate(texts) for e in self._event(where.at(i), text))

    def _event(self, where: Where, text: str) -> tuple[Event, ...]:
        try:
            event = parse_event(text)
        except EffectError as error:
            where.fault("unknown-event", error.problem, error.remedy)
            return ()
        if event.verb is None and event.object:
            slot = self.name(where, event.object, "slot")
            return (Event(event.word.replace(event.object, slot, 1), None, slot),)
        if "." in event.object:
            return (replace(event, object=self.name(where, event.object, "device")),)
        return (event,)

    def expression(self, where: Where, text: str, wanted: str, *, shift: int = 0) -> None:
        """A limit or condition of the wanted kind; a fault under its caret otherwise."""
        try:
            kind = kind_of(parse_expression(text), kinds_for(self.model, where.env))
        except ExpressionError as error:
            limit_fault(where, error, shift)
            return
        if kind != wanted:
            said = f"'{text}' is of the kind {kind}; here {wanted} is needed"
            where.file.fault(where.path, "limit", said, f"give {wanted}", within=(shift, len(text)))


def removal_needs(model: Procedure, place: str | None, on: tuple[str, ...]) -> tuple[str, ...]:
    """What hands need to take a temporary down: its circuits read dead there, stores discharged, qualified."""
    needs: list[str] = []
    within = model.places[place].holds if place in model.places and on else ()
    for name in dict.fromkeys((*on, *within)):
        source = model.sources.get(name)
        if source is None or source.limited is not None or not place:
            continue
        if source.kind == "circuit":
            needs += [f"qualified({name})", f"verified-dead({name}, {place})"]
        elif source.kind == "stored":
            needs.append(f"discharged({name}, {place})")
    return tuple(dict.fromkeys(needs))


def stands_there(model: Procedure, where: Where, place: str, touched: Mapping[str, tuple[str, ...]]) -> None:
    """A fault for each source that is touched at a place which does not hold it: the place's tier would leave it out."""
    holds = model.places[place].holds if place in model.places else ()
    for word, names in touched.items():
        for name in (n for n in names if place in model.places and n in model.sources and n not in holds):
            remedy = f"add `{name}` to `holds:` of '{place}', or name the place where it is"
            where.at(word).fault("not-there", f"'{name}' does not stand at '{place}'", remedy, key=True)
