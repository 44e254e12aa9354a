"""What a file is read into: nodes with their places, and the collector of its faults."""

import re
from dataclasses import dataclass, field
from typing import NoReturn

from ohmward.errors import BrokenError, Diagnostic, FaultyFileError

HIDDEN = re.compile("[\u200b-\u200f\u202a-\u202e\u2060-\u2069\ufeff]")
# Control, surrogate, private-use, line and paragraph separators (Unicode categories Cc, Cs, Co, Zl, Zp), and HIDDEN.
UNSEEN = re.compile(
    "[\x00-\x1f\x7f-\x9f\u2028\u2029\ud800-\udfff\ue000-\uf8ff\U000f0000-\U0010ffff"
    "\u200b-\u200f\u202a-\u202e\u2060-\u2069\ufeff]"
)


@dataclass(frozen=True, slots=True)
class At:
    """A place in a file; line and column count from 1."""

    line: int
    column: int
    width: int = 1


@dataclass(frozen=True, slots=True)
class Text:
    """A scalar, as written. `quoted` is true for quotes and block style; None-like text is just text."""

    text: str
    at: At
    quoted: bool
    commented: bool = False  # a comment follows on the same line


@dataclass(frozen=True, slots=True)
class Items:
    """A sequence."""

    items: tuple["Node", ...]
    at: At


@dataclass(frozen=True, slots=True)
class Fields:
    """A mapping in file order; keys are unique."""

    pairs: tuple[tuple[Text, "Node"], ...]
    at: At

    def get(self, key: str) -> "Node | None":
        return next((value for name, value in self.pairs if name.text == key), None)


Node = Text | Items | Fields


@dataclass(slots=True)
class Faults:
    """Collects the diagnostics of one file."""

    file: str
    lines: tuple[str, ...]
    found: list[Diagnostic] = field(default_factory=list)

    def add(self, at: At, code: str, problem: str, remedy: str) -> None:
        source = self.lines[at.line - 1] if 0 < at.line <= len(self.lines) else ""
        shown = "".join(c if c.isprintable() else "\ufffd" for c in HIDDEN.sub("\ufffd", source))[:200]
        self.found.append(
            Diagnostic(
                file=self.file,
                line=at.line,
                column=at.column,
                code=code,
                problem=inert(problem),
                remedy=remedy,
                source=shown,
                width=max(1, min(at.width, len(shown) - at.column + 1)),
            )
        )

    def fail(self, at: At, code: str, problem: str, remedy: str) -> NoReturn:
        """Adds a last fault and raises: nothing after it could be read."""
        self.add(at, code, problem, remedy)
        self.stop_if_any()
        raise BrokenError("a fault was added and not raised")

    def stop_if_any(self) -> None:
        if self.found:
            raise FaultyFileError(tuple(sorted(self.found, key=lambda d: (d.line, d.column, d.code))))


def inert(text: str) -> str:
    """The text with control, bidi and zero-width characters replaced by a visible substitute."""
    return "".join(c if (c.isprintable() and not HIDDEN.match(c)) or c == "\n" else "\ufffd" for c in text)
