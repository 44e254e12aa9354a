"""Answers from a file, in order. Nothing is skipped and nothing is guessed."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta

from ohmward.errors import AnswerError
from ohmward.language.fields import seconds
from ohmward.language.lists import SLOTS
from ohmward.language.nodes import At, Faults, Fields, Items, Node, Text
from ohmward.language.reader import read_node
from ohmward.language.suggest import remedy_for
from ohmward.trade.quantity import QuantityError, parse_quantity
from ohmward.work.intents import (
    Answer,
    Begin,
    Correct,
    Found,
    GoOn,
    Happened,
    Intent,
    LeaveOut,
    MakeSafe,
    Stop,
)
from ohmward.work.screenful import View
from ohmward.work.session import Told

STOPS = ("emergency", "unsafe", "pause")
WORDS = (
    "step",
    "event",
    "after",
    "worker",
    "stop",
    "correct",
    "found",
    "go_on",
    "make_safe",
    "leave_out",
    *SLOTS,
)
ALSO = {
    "step": {"say", "second", "taken", "lasts"},
    "stop": {"why"},
    "correct": {"why"},
    "go_on": {"why"},
    "make_safe": {"why"},
    "leave_out": {"why"},
}


MOST_AFTER = 10 * 365 * 86400  # seconds


class CrashNowError(Exception):
    """The script says that the process dies here."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One line of a script."""

    number: int
    word: str
    value: str
    said: tuple[str, ...] = ()
    second: tuple[str, ...] = ()  # what the second person read, where two read
    taken: datetime | None = None
    why: str = ""
    lasts: str = ""  # how long the deed takes before it is told


class ScriptClock:
    """The caller's clock, moved on by `after:` and `lasts:`; a rehearsal only."""

    def __init__(self, base: Callable[[], datetime]) -> None:
        self.base = base
        self.offset = timedelta(0)

    def __call__(self) -> datetime:
        return self.base() + self.offset


def read_script(data: bytes, file: str) -> tuple[Line, ...]:
    """The lines. Raises FaultyFileError with every fault of the file."""
    root, faults = read_node(data, file)
    if not isinstance(root, Items):
        faults.fail(
            root.at if root else At(1, 1),
            "no-list",
            "an answers file is a list",
            "begin each line with `- step: …`",
        )
    lines = [line for node in root.items for line in _line(node, faults)]
    faults.stop_if_any()
    return tuple(lines)


def _line(node: Node, faults: Faults) -> tuple[Line, ...]:
    if isinstance(node, Text) and node.text == "crash":
        return (Line(number=node.at.line, word="crash", value=""),)
    if not isinstance(node, Fields) or not node.pairs:
        faults.add(
            node.at, "unknown-line", "this is neither a mapping nor `crash`", "write `- {step: …, say: …}`"
        )
        return ()
    (first, value), *rest = node.pairs
    if first.text not in WORDS:
        faults.add(
            first.at,
            "unknown-word",
            f"'{first.text}' is not a word of an answers file",
            remedy_for(first.text, WORDS, what="words"),
        )
        return ()
    more = {key.text: value for key, value in rest}
    for key, _ in rest:
        if key.text not in ALSO.get(first.text, set()):
            faults.add(
                key.at,
                "unknown-word",
                f"'{key.text}' does not go with '{first.text}'",
                remedy_for(key.text, ALSO.get(first.text, ()), what="words"),
            )
    if not isinstance(value, Text):
        faults.add(value.at, "wrong-kind", f"'{first.text}' must be text", "write text")
        return ()
    return _whole(first, value, more, faults)


def _whole(first: Text, value: Text, more: dict[str, Node], faults: Faults) -> tuple[Line, ...]:
    """The line, with its values read; faults for those that cannot be."""
    said = _texts(more.get("say"), faults)
    if first.text == "step" and not said:
        faults.add(
            first.at,
            "missing-field",
            "this line does not say anything",
            "add `say:` with a text or a list of texts",
        )
    lasts = more.get("lasts")
    for node in (value if first.text == "after" else None, lasts):
        text = node.text if isinstance(node, Text) else ""
        if node is not None and not _is_time(text):
            faults.add(
                node.at,
                "bad-value",
                f"'{text}' is not a time such as 45 min, up to ten years",
                "write a time",
            )
    if first.text == "stop" and value.text not in STOPS:
        faults.add(
            value.at,
            "bad-value",
            f"'{value.text}' is not a way to stop",
            remedy_for(value.text, STOPS, what="ways"),
        )
    taken = _moment(more.get("taken"), faults)
    why = " ".join(_texts(more.get("why"), faults))
    return (
        Line(
            number=first.at.line,
            word=first.text,
            value=value.text,
            said=said,
            second=_texts(more.get("second"), faults),
            taken=taken,
            why=why,
            lasts=lasts.text if isinstance(lasts, Text) else "",
        ),
    )


def _moment(node: Node | None, faults: Faults) -> datetime | None:
    if node is None:
        return None
    try:
        read = datetime.fromisoformat(node.text) if isinstance(node, Text) else None
    except ValueError:
        read = None
    if read is None or read.tzinfo is None:
        faults.add(
            node.at, "bad-value", "this is not a time with its zone", "write it like 2026-03-01T10:15:00Z"
        )
        return None
    return read


def _is_time(text: str) -> bool:
    try:
        read = parse_quantity(text)
        return read.dimension == "time" and abs(read.base) <= MOST_AFTER
    except QuantityError:
        return False


def _texts(node: Node | None, faults: Faults) -> tuple[str, ...]:
    match node:
        case None:
            return ()
        case Text(text=text):
            return (text,)
        case Items(items=items) if all(isinstance(i, Text) for i in items):
            return tuple(i.text for i in items if isinstance(i, Text))
        case _:
            faults.add(node.at, "wrong-kind", "this must be a text or a list of texts", "write the texts out")
            return ()


class FileAnswers:
    """Answers taken from a script; a wrong place, a missing answer, an unknown word stop the work with its line."""

    def __init__(
        self,
        lines: tuple[Line, ...],
        file: str,
        clock: Callable[[], datetime],
        *,
        skip_crashes: int = 0,
        say: Callable[[View, Intent | None, tuple[str, ...]], None] | None = None,
    ) -> None:
        self.lines, self.file, self.clock = lines, file, clock
        self.place = 0
        self.say = say
        for _ in range(skip_crashes):
            self.place = next(
                (i + 1 for i in range(self.place, len(lines)) if lines[i].word == "crash"), self.place
            )

    def next(self, view: View) -> Intent | None:
        """The next line as an intent; a step's line begins its deed first. None: time passed, look again."""
        if self.place < len(self.lines) and self.lines[self.place].word == "after":
            self._pass(self.lines[self.place], self.lines[self.place].value)
            self.place += 1
            return None
        if self.place >= len(self.lines):
            raise AnswerError(f"{self.file}: there is no answer for '{view.step}' ({view.prompt})")
        line = self.lines[self.place]
        if line.word == "crash":
            raise CrashNowError
        intent = self._intent(line, view)
        if self.say is not None:
            self.say(view, intent, ())
        if not isinstance(intent, Begin):
            self.place += 1
        return intent

    def _pass(self, line: Line, time: str) -> None:
        if not isinstance(self.clock, ScriptClock):
            raise AnswerError(
                f"{self.file}:{line.number}: time passes by itself in a real run; `after:` and `lasts:` are for rehearsals"
            )
        self.clock.offset += timedelta(seconds=seconds(time))

    def _intent(self, line: Line, view: View) -> Intent:
        if line.word == "step":
            return self._step(line, view)
        made: dict[str, Intent] = {
            "event": Happened(event=line.value),
            "worker": Happened(event="worker changed", who=line.value),
            "stop": Stop(how=line.value, why=line.why),
            "correct": Correct(step=line.value, why=line.why),
            "found": Found(words=line.value),
            "go_on": GoOn(person=line.value, why=line.why),
            "make_safe": MakeSafe(person=line.value, why=line.why),
            "leave_out": LeaveOut(person=line.value, why=line.why),
        }
        return made.get(line.word) or Happened(event=f"{line.word} changed", who=line.value)

    def _step(self, line: Line, view: View) -> Intent:
        if line.value != view.step:
            raise AnswerError(
                f"{self.file}:{line.number}: the answer is for '{line.value}'; the question now is '{view.step}' ({view.prompt})"
            )
        if view.mode == "ready" or view.kind == "safe-hands":
            return Begin(step=view.step)
        if line.lasts:
            self._pass(line, line.lasts)
        return Answer(step=line.value, said=line.said, second=line.second, taken=line.taken)

    def told(self, told: Told) -> None:
        """An answer that was not taken stops the file: it says something that does not hold here."""
        if self.say is not None and told.messages:
            self.say(View(node="", mode="", step="", kind="", title="", prompt=""), None, told.messages)
        if not told.taken and self.place > 0:
            number = self.lines[self.place - 1].number
            raise AnswerError(f"{self.file}:{number}: not taken: {' '.join(told.messages)}")
