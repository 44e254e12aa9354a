"""What falls due: calibrations, glove tests, training. Pure: the day is handed in."""

from dataclasses import dataclass
from datetime import date

from ohmward.shop.models import Register, Roster
from ohmward.shop.snapshot import gear_dates

WITHIN = 30  # days ahead; ours


@dataclass(frozen=True, slots=True, kw_only=True)
class Due:
    """One thing or person whose date runs out. `days` is negative once it has."""

    id: str
    label: str
    what: str
    last: str
    days: int

    @property
    def words(self) -> str:
        if self.last == "":
            return f"{self.id} {self.label}: {self.what} is not on file; it permits nothing"
        if self.days < 0:
            return f"{self.id} {self.label}: {self.what} ended {self.last}, {-self.days} d ago"
        return f"{self.id} {self.label}: {self.what} ends {self.last}, in {self.days} d"


def due_soon(roster: Roster, register: Register, today: date, within: int = WITHIN) -> tuple[Due, ...]:
    """Everything that has run out or runs out within so many days, first come first."""
    found = [*_people(roster, today), *_gear(register, today)]
    return tuple(sorted((d for d in found if d.days <= within), key=lambda d: (d.days, d.id)))


def _people(roster: Roster, today: date) -> list[Due]:
    return [
        Due(id=p.id, label=p.name, what="training", last=p.until, days=_days(p.until, today))
        for p in roster.people
        if p.until is not None
    ]


def _gear(register: Register, today: date) -> list[Due]:
    found = []
    for thing in register.gear:
        if thing.withdrawn != "no":
            continue
        gloves = thing.glove_class is not None
        what = "electrical test" if gloves else "calibration"
        dates = gear_dates(thing)
        measures = bool(thing.accuracy) or gloves
        if dates:
            last = dates[1]
            found.append(Due(id=thing.id, label=thing.label, what=what, last=last, days=_days(last, today)))
        elif measures:
            found.append(Due(id=thing.id, label=thing.label, what=what, last="", days=-1))
    return found


def _days(last: str, today: date) -> int:
    return (date.fromisoformat(last) - today).days
