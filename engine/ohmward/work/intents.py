"""What a person can want at a prompt. One door for terminal, file and pages."""

from dataclasses import dataclass
from datetime import datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class Begin:
    """Start the deed of the step that stands."""

    step: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What was done or seen; several texts where there are several points. `taken`: when, if not now.

    `second`: what the second person read, where two read the same points.
    """

    step: str
    said: tuple[str, ...]
    second: tuple[str, ...] = ()
    taken: datetime | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Stop:
    """emergency, unsafe or pause, at any moment."""

    how: str
    why: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Happened:
    """An event of people, place or gear, such as `left site`; `who` is the new worker."""

    event: str
    who: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Correct:
    """An earlier answer was wrong."""

    step: str
    why: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """Something that the procedure does not expect, in words: the run waits for a qualified person."""

    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class GoOn:
    """A qualified person says: go on here."""

    person: str
    why: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class MakeSafe:
    """Somebody says: make safe."""

    person: str
    why: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class LeaveOut:
    """A qualified person says: this is not on the machine, leave the step out."""

    person: str
    why: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Resume:
    """The run is taken up again after a break or a crash."""

    person: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Retyped:
    """What was typed is not what the display shows: it is noted, and the question stands."""

    step: str
    said: tuple[str, ...]


Intent = Begin | Answer | Stop | Happened | Correct | Found | GoOn | MakeSafe | LeaveOut | Resume | Retyped
