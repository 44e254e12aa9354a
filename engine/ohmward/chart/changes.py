"""What effects do to a position: in time, as judged before the step is begun, and after an interruption."""

from collections.abc import Iterable

from ohmward.chart.layout import ALWAYS, Layout
from ohmward.chart.meaning import Meaning
from ohmward.chart.names import debt_variable, device_variable, gate_variable, kept_variable, order_variable
from ohmward.chart.plan import ChartPlan, StepPlan
from ohmward.chart.table import Assign
from ohmward.language.effects import UPSTREAM, Counts, Effect

FRESH = (("tries", "0"), ("rounds", "0"))
Values = tuple[tuple[str, str], ...]
# What an effect on these things sets, where it sets one value whatever was before.
_SETS = {
    "fit": ("temporary", "in place"),
    "uncover": ("temporary", "in place"),
    "take down": ("temporary", "not there"),
    "cover": ("temporary", "not there"),
    "found live": ("found", "live"),
    "discharge": ("stored", "discharged"),
    "found charged": ("stored", "charged"),
    "turn": ("moving", "turning"),
    "still": ("moving", "still"),
}
# What an interruption leaves, where nothing is asked about it.
_WORST = {"temporary": "in place", "stored": "charged", "moving": "turning"}


def put(*values: tuple[str, str]) -> Assign:
    """Sets variables, whatever holds."""
    return Assign(ALWAYS, values)


class Changes:
    """Effects of one plan over one layout."""

    def __init__(self, plan: ChartPlan, layout: Layout) -> None:
        self.plan, self.layout = plan, layout
        self.meaning = Meaning(plan, layout)

    def lost(self, gates: Iterable[str], kept: Iterable[str] = ()) -> tuple[Assign, ...]:
        """Gates no longer held, kept answers no longer kept."""
        drop = tuple((gate_variable(k), "not held") for k in gates)
        return put(*drop), put(*((kept_variable(s), "no") for s in kept))

    def effects(self, effects: tuple[Effect, ...], *, hands_in: bool = False) -> tuple[Assign, ...]:
        """What effects set, with the gates and kept answers that they lose."""
        gates = [*self.meaning.lost_with(effects)]
        if hands_in:
            gates += [k for k, g in self.plan.gates.items() if any(e.word == "hands in" for e in g.lost_by)]
        made = tuple(a for e in effects for a in self._effect(e))
        return (*made, *self.lost(gates, self.meaning.kept_lost_with(effects)))

    def effects_lost(self, effect: Effect) -> tuple[Assign, ...]:
        """Only what an effect loses."""
        return self.lost(self.meaning.lost_with((effect,)), self.meaning.kept_lost_with((effect,)))

    def sets(self, effects: Iterable[Effect]) -> tuple[str, ...]:
        """The variables that effects may set."""
        return tuple(sorted({v for e in effects for a in self._effect(e) for v, _ in a.values}))

    def _effect(self, effect: Effect) -> tuple[Assign, ...]:
        if effect.verb in _SETS:
            word, value = _SETS[effect.verb]
            return (put((f"{word} {effect.object}", value)),)
        device, being = device_variable(effect.object), self.layout.being
        match effect.verb:
            case "close":
                return (put((device, "closed")), *self._used_up(effect.object))
            case "release":
                return (Assign(being(device, "held off"), ((device, "opened"),)),)
            case "open":
                return (Assign(being(device, "unknown", "closed"), ((device, "opened"),)),)
            case "hold off":
                return (put((device, "held off"), *self._order(effect.object, "kept")),)
            case "trip":
                opened = () if effect.object == UPSTREAM else ((device, "unknown"),)
                return (put(*opened, (debt_variable(effect.object), "unanswered")),)
            case _:
                debt = debt_variable(effect.object)
                return (Assign(being(debt, "unanswered"), ((debt, "answered"),)),)

    def _used_up(self, device: str) -> tuple[Assign, ...]:
        """One closing for each answered cause: closing uses up every answer on its path."""
        debts = [debt_variable(d) for d in (*self.plan.in_series(device), UPSTREAM)]
        return tuple(Assign(self.layout.being(d, "answered"), ((d, "none"),)) for d in debts)

    def _order(self, device: str, value: str) -> Values:
        return ((order_variable(device), value),) if self.plan.closes(device) else ()

    def found_standing(self, device: str, value: str) -> tuple[Assign, ...]:
        """A handle as somebody saw it: what came before a closing no longer counts."""
        made = (put((device_variable(device), value)),)
        if not self.plan.closes(device):
            return made
        kept = self.layout.being(order_variable(device), "kept")
        return (*made, Assign(kept, ((order_variable(device), "interrupted"),)))

    def begun_changes(self, step: StepPlan) -> dict[str, str]:
        """The variables as they will be once the step is begun, for judging needs and tier before it."""
        changes = {gate_variable(k): "not held" for k in self.meaning.own_losses(step)}
        for effect in step.of(Counts.BEGUN):
            if effect.verb in _SETS:
                word, value = _SETS[effect.verb]
                changes[f"{word} {effect.object}"] = value
                continue
            changes[device_variable(effect.object)] = "closed" if effect.verb == "close" else "opened"
            changes |= {f"stored {n}": "charged" for n in self._charged_through(effect.object)}
        return changes

    def _charged_through(self, device: str) -> list[str]:
        sources = self.plan.model.sources
        return [n for n, s in sources.items() if s.charged_by and device in self.plan.path(s.charged_by)]

    def widen(self, step: StepPlan) -> tuple[Assign, ...]:
        """After an interruption: whatever any outcome touches becomes the worst that it could be."""
        touched = step.touches
        made = [a for e in touched for a in self._worst(e)]
        gates = {*self.meaning.lost_with(touched), *self.meaning.own_losses(step)}
        made += self.lost((k for k in self.plan.gates if k in gates), self.meaning.kept_lost_with(touched))
        return (*made, put(*FRESH))

    def _worst(self, effect: Effect) -> tuple[Assign, ...]:
        name = effect.object
        if effect.verb == "trip":
            debt = debt_variable(name)
            made = Assign(
                self.layout.being(debt, "none", "answered"),
                ((debt, "unanswered"), (f"made trip {name}", "yes")),
            )
            return (made,) if name == UPSTREAM else (made, put((device_variable(name), "unknown")))
        if effect.acts_on == "device" and effect.verb != "answer":
            return self.found_standing(name, "unknown")
        if effect.acts_on in _WORST:
            return (put((f"{effect.acts_on} {name}", _WORST[effect.acts_on])),)
        return ()
