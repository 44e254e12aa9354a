"""One screen's matter as data: the question, why, where, which gates, which answers. Text, no layout."""

from dataclasses import dataclass
from hashlib import sha256

from ohmward.language.working import Working


@dataclass(frozen=True, slots=True, kw_only=True)
class GateLine:
    """One gate of the step, in words."""

    title: str
    of: str
    state: str  # held, not held, lost
    left: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class View:
    """One screen's matter."""

    node: str
    mode: str  # ready, ask, doing, late, hold, reconcile, safe, end
    step: str
    kind: str
    title: str
    prompt: str
    lines: tuple[str, ...] = ()
    why: str = ""
    expect: str = ""
    signal: str = ""
    signal_text: str = ""
    where: str = ""
    tier: str = ""
    tier_why: str = ""
    gates: tuple[GateLine, ...] = ()
    points: tuple[str, ...] = ()
    second: str = ""  # who reads the same points without seeing what was read; '' where one person reads
    unit: str = ""
    limits: tuple[str, ...] = ()
    computed: tuple[str, ...] = ()  # what the bands judge, where it is not what was read
    workings: tuple[Working, ...] = ()  # how the limits were worked out
    options: tuple[str, ...] = ()
    by: str = ""
    number: int = 0
    of: int = 0
    for_gate: str = ""
    question: tuple[int, int] = (0, 0)  # which of the gate's questions this is, and how many it has at most
    basis: tuple[str, ...] = ()
    each: str = ""  # which item of a list this is for
    handle: str = ""  # the device whose handle is moved
    strip: tuple[str, ...] = ()  # what stands where the probes go, in order
    along: str = ""
    strip_words: str = ""
    shows: tuple[tuple[str, str], ...] = ()  # (word, text) that the step asks to be shown
    earlier: str = ""  # what was read here before
    several: tuple[str, ...] = ()  # things for each of which the answer is given

    @property
    def shown(self) -> str:
        """Digest of the words that were shown."""
        words = "\n".join(
            (
                self.title,
                self.prompt,
                *self.lines,
                self.why,
                self.expect,
                self.signal,
                self.signal_text,
                self.where,
                self.tier,
                self.by,
                self.each,
                self.handle,
                *self.strip,
                self.strip_words,
                *(f"{word} {text}" for word, text in self.shows),
                self.earlier,
                *self.points,
                *self.computed,
                *self.limits,
                *(w.line for w in self.workings),
                *self.options,
            )
        )
        return sha256(b"\x03" + words.encode()).hexdigest()
