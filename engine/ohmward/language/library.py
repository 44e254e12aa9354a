"""Files loaded and typed, each with the place of every value, so that later faults find their line."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import PurePosixPath
from typing import Generic, TypeVar

from pydantic import BaseModel

from ohmward.errors import Diagnostic, FaultyFileError
from ohmward.language.models import Gate, Group, Procedure, Rule
from ohmward.language.nodes import At, Faults, Fields
from ohmward.language.reader import read_tree
from ohmward.language.typed import Path, place_of, typed

M = TypeVar("M", bound=BaseModel)
M_co = TypeVar("M_co", bound=BaseModel, covariant=True)


@dataclass(frozen=True)
class Source(Generic[M_co]):
    """A model with the file it came from."""

    model: M_co
    root: Fields
    faults: Faults
    short: str = ""

    @property
    def file(self) -> str:
        return self.faults.file

    def line(self, path: Path) -> int:
        return place_of(self.root, path, key=True).line

    def fault(
        self,
        path: Path,
        code: str,
        problem: str,
        remedy: str,
        *,
        key: bool = False,
        within: tuple[int, int] | None = None,
    ) -> None:
        """Adds a fault at a path; `within` narrows it to (column from 0, width) inside a one-line value."""
        at = place_of(self.root, path, key=key)
        if within is not None and at.line <= len(self.faults.lines):
            at = At(at.line, at.column + within[0], within[1])
        if not any(
            (d.line, d.column, d.code, d.problem) == (at.line, at.column, code, problem)
            for d in self.faults.found
        ):
            self.faults.add(at, code, problem, remedy)


@dataclass(frozen=True)
class Library:
    """Everything that a shop or the product ships, by id."""

    procedures: Mapping[str, Source[Procedure]] = field(default_factory=dict)
    gates: Mapping[str, Source[Gate]] = field(default_factory=dict)
    groups: Mapping[str, Source[Group]] = field(default_factory=dict)
    rules: Mapping[str, Source[Rule]] = field(default_factory=dict)
    broken: frozenset[str] = frozenset()  # `gate ID` and its like: there, and not readable

    def faults(self) -> tuple[Diagnostic, ...]:
        every: Iterable[Source[BaseModel]] = (
            *self.procedures.values(),
            *self.gates.values(),
            *self.groups.values(),
            *self.rules.values(),
        )
        return tuple(
            d for s in every for d in sorted(s.faults.found, key=lambda d: (d.line, d.column, d.code))
        )


def load_one(data: bytes, file: str, model: type[M], short: str = "") -> Source[M]:
    """One file; `short` is its name below the procedures folder. Raises FaultyFileError with every fault of it."""
    root, faults = read_tree(data, file)
    made = typed(root, model, faults)
    faults.stop_if_any()
    if made is None:
        faults.fail(root.at, "not-read", "the file could not be read", "check it from the top")
    return Source(made, root, faults, short or file)


def _load_kind(name: str, data: bytes, shown: str) -> tuple[str, Source[BaseModel]]:
    folder = str(PurePosixPath(name).parent)
    if folder.startswith(OWN):
        folder = folder.removeprefix(OWN).lstrip("/") or "."
    if folder not in _KINDS:
        remedy = "put it into the procedures folder itself, or into gates, groups or rules below it"
        raise FaultyFileError(
            (
                Diagnostic(
                    file=shown,
                    line=1,
                    column=1,
                    code="wrong-folder",
                    problem=f"'{folder}' is not a folder that is read",
                    remedy=remedy,
                ),
            )
        )
    word, model = _KINDS[folder]
    return word, load_one(data, shown, model, name)


OWN = "own"  # a shop's own files stand below this name
_KINDS: Mapping[str, tuple[str, type[BaseModel]]] = {
    "gates": ("gate", Gate),
    "groups": ("group", Group),
    "rules": ("rule", Rule),
    ".": ("procedure", Procedure),
}


def load_library(files: Mapping[str, bytes], shown: Mapping[str, str] | None = None) -> Library:
    """All files, by their path below the procedures folder; `shown` gives the paths to show for some.

    Raises FaultyFileError with all faults of all files. One id, one file: nothing is ever replaced.
    """
    library, wrong = load_what_can_be(files, shown)
    if wrong:
        raise FaultyFileError(wrong)
    return library


def load_what_can_be(
    files: Mapping[str, bytes], shown: Mapping[str, str] | None = None
) -> tuple[Library, tuple[Diagnostic, ...]]:
    """Every file that can be read, and every fault of those that cannot."""
    found: dict[str, dict[str, Source[BaseModel]]] = {"gate": {}, "group": {}, "rule": {}, "procedure": {}}
    wrong: list[Diagnostic] = []
    broken: set[str] = set()
    for name in sorted(files, key=lambda n: (n.startswith(f"{OWN}/"), n)):  # what is shipped has its id first
        try:
            word, source = _load_kind(name, files[name], (shown or {}).get(name, name))
        except FaultyFileError as error:
            wrong.extend(error.diagnostics)
            folder = PurePosixPath(name).parent.name.removeprefix(OWN) or "."
            broken.add(f"{_KINDS.get(folder, _KINDS['.'])[0]} {PurePosixPath(name).stem}")
            continue
        _claim_id(source, word, found[word], PurePosixPath(name).stem)
        wrong.extend(source.faults.found)
        found[word].setdefault(str(getattr(source.model, word)), source)
    library = Library(
        procedures={k: v for k, v in found["procedure"].items() if isinstance(v.model, Procedure)},  # type: ignore[misc]
        gates={k: v for k, v in found["gate"].items() if isinstance(v.model, Gate)},  # type: ignore[misc]
        groups={k: v for k, v in found["group"].items() if isinstance(v.model, Group)},  # type: ignore[misc]
        rules={k: v for k, v in found["rule"].items() if isinstance(v.model, Rule)},  # type: ignore[misc]
        broken=frozenset(broken),
    )
    return library, tuple(wrong)


def _claim_id(
    source: Source[BaseModel], word: str, known: Mapping[str, Source[BaseModel]], stem: str
) -> None:
    """One id, one file, and the file is called as it names itself."""
    own = str(getattr(source.model, word))
    if own in known:
        source.fault(
            (word,),
            "duplicate-id",
            f"the {word} '{own}' is there already, in {known[own].file}",
            "give it another id; what is shipped is never replaced",
        )
    if own != stem:
        source.fault(
            (word,),
            "name-differs",
            f"the file is called {stem}.yaml and names itself '{own}'",
            "give both the same name",
        )
