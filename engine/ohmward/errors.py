"""The one tree of errors. Doors turn an error into its exit code; nothing else catches the root.

OhmwardError
├── UsageError          2  an argument is wrong
├── FaultyFileError     2  a file is wrong; carries every `Diagnostic` of it at once
├── AnswerError         2  a line of an answers file is wrong
├── RefusedError        1  the answer is no: not proved, not verified, not permitted here
├── StoreError          3  the store or the environment failed
│   └── MovedOnError    3  somebody else has written to this run meanwhile
└── BrokenError         3  ohmward disagrees with itself: stop the work, keep the record
"""

from dataclasses import dataclass

DONE, NO, WRONG, FAILED = 0, 1, 2, 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Diagnostic:
    """One fault of one file. Lines and columns count from 1; `width` is the caret's length."""

    file: str
    line: int
    column: int
    code: str
    problem: str
    remedy: str
    source: str = ""
    width: int = 1

    def render(self) -> str:
        """`file:line:column: code: problem`, the source line, a caret and the remedy."""
        head = f"{self.file}:{self.line}:{self.column}: {self.code}: {self.problem}"
        if not self.source.strip():
            return f"{head}\n   remedy: {self.remedy}"
        caret = " " * (self.column - 1) + "^" * max(1, self.width)
        return f"{head}\n   | {self.source}\n   | {caret}\n   remedy: {self.remedy}"


class OhmwardError(Exception):
    """The root: everything that ohmward raises on purpose."""

    exit_code = FAILED


class UsageError(OhmwardError):
    """An argument on the command line is wrong."""

    exit_code = WRONG


class FaultyFileError(OhmwardError):
    """One or more files are wrong; `diagnostics` holds every fault found, in file order."""

    exit_code = WRONG

    def __init__(self, diagnostics: tuple[Diagnostic, ...]) -> None:
        self.diagnostics = diagnostics
        super().__init__("\n".join(d.render() for d in diagnostics))


class AnswerError(OhmwardError):
    """A line of an answers file does not fit the question that stands."""

    exit_code = WRONG


class RefusedError(OhmwardError):
    """The answer is no, with what to do."""

    exit_code = NO


class StoreError(OhmwardError):
    """The store or the environment failed; nothing was acknowledged that is not kept."""

    exit_code = FAILED


class MovedOnError(StoreError):
    """Another terminal has written to this run since it was read."""


class BrokenError(OhmwardError):
    """Two parts of ohmward disagree about where the run stands: the work stops here."""

    exit_code = FAILED
