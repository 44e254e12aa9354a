"""What `check` looks at: every file of a shop, or the files that are named, with all their faults at once."""

from dataclasses import dataclass, field
from pathlib import Path
from typing import TypeVar

from pydantic import BaseModel

from ohmward.account.facts import check_declared
from ohmward.chart.resolve import check_plan
from ohmward.chart.spare import check_spare
from ohmward.errors import Diagnostic, FaultyFileError, UsageError
from ohmward.language.library import OWN, Library, Source, load_one, load_what_can_be
from ohmward.language.nodes import Fields, Items
from ohmward.language.reader import read_node
from ohmward.language.suggest import remedy_for
from ohmward.proof.rule_words import unknown_words
from ohmward.rehearsal.script import read_script
from ohmward.shop.as_left import Sheet
from ohmward.shop.folder import check_people, find_shop, own_files, read_bytes, refuse_repeats
from ohmward.shop.models import Job, Register, Roster, Shop
from ohmward.shop.shipped import shipped_files
from ohmward.trade.quantity import QuantityError

M = TypeVar("M", bound=BaseModel)
_BELOW = {"procedure": "", "gate": "gates/", "group": "groups/", "rule": "rules/"}
_SHOP_FILES: dict[str, tuple[str, type[BaseModel]]] = {
    "shop": ("shop.yaml", Shop),
    "people": ("roster.yaml", Roster),
    "gear": ("gear.yaml", Register),
}


@dataclass(slots=True)
class Desk:
    """What was read, and what is wrong with it."""

    folder: Path | None
    files: dict[str, bytes] = field(default_factory=dict)
    shown: dict[str, str] = field(default_factory=dict)
    wrong: list[Diagnostic] = field(default_factory=list)
    names: list[str] = field(default_factory=list)
    jobs: list[Path] = field(default_factory=list)
    scripts: list[Path] = field(default_factory=list)
    people: frozenset[str] | None = None
    library: Library = field(default_factory=Library)
    every: bool = False  # not some files alone, or a rule among them

    @property
    def verdicts(self) -> Path | None:
        return self.folder / "verdicts.json" if self.folder is not None else None


def gather(shop: str | None, named: list[str]) -> Desk:
    """Everything that is asked for, read as far as it can be. Raises UsageError for a name that means nothing."""
    desk = Desk(folder=find_shop(shop))
    desk.files = dict(shipped_files())
    if desk.folder is not None:
        own, shown = own_files(desk.folder)
        desk.files |= own
        desk.shown |= shown
    paths = [n for n in named if n.endswith((".yaml", ".yml")) or "/" in n]
    kinds = [_take_path(desk, Path(p)) for p in paths]
    if not named and desk.folder is not None:
        _take_shop(desk, desk.folder)
    desk.library, wrong = load_what_can_be(desk.files, desk.shown)
    desk.wrong += wrong
    desk.every = not named or "rule" in kinds
    _names(desk, [n for n in named if n not in paths], every=desk.every)
    _plan(desk)
    if desk.jobs and desk.people is None and desk.folder is not None:
        _take_shop_file(desk, desk.folder / "roster.yaml", Roster)
    for path in desk.jobs:
        _check_job(desk, path)
    for path in desk.scripts:
        try:
            read_script(read_bytes(path), str(path))
        except FaultyFileError as error:
            desk.wrong += error.diagnostics
    return desk


def _take_shop(desk: Desk, folder: Path) -> None:
    for name, model in _SHOP_FILES.values():
        _take_shop_file(desk, folder / name, model)
    known = {name for name, _ in _SHOP_FILES.values()}
    for path in sorted(folder.glob("*.yaml")):
        if path.name not in known:
            _take_path(desk, path)


def _take_shop_file(desk: Desk, path: Path, model: type[M]) -> None:
    try:
        source = load_one(read_bytes(path), str(path), model)
        refuse_repeats(source)
    except FaultyFileError as error:
        desk.wrong += error.diagnostics
        return
    if isinstance(source.model, Roster):
        desk.people = frozenset(p.id for p in source.model.people)


def _take_path(desk: Desk, path: Path) -> str:
    """A named file goes where its name or its first field says; returns its kind."""
    if not path.is_file():
        raise UsageError(f"{path}: there is no such file")
    known = next((kind for kind, (name, _) in _SHOP_FILES.items() if name == path.name), "")
    if known:
        _take_shop_file(desk, path, _SHOP_FILES[known][1])
        return known
    if str(path.resolve()) in _shown_as(desk):
        return _take_own(desk, path)
    data = read_bytes(path)
    try:
        root, _ = read_node(data, str(path))
    except FaultyFileError as error:
        desk.wrong += error.diagnostics
        return "broken"
    if isinstance(root, Items):
        desk.scripts.append(path)
        return "answers"
    kind = _kind(desk, path, root if isinstance(root, Fields) else None)
    _take_kind(desk, path, kind, data)
    return kind


def _take_own(desk: Desk, path: Path) -> str:
    """A file of the shop's own procedures, which is read already."""
    if path.parent.name in {"gates", "groups", "rules"}:
        return path.parent.name.removesuffix("s")
    desk.names.append(path.stem)
    return "procedure"


def _take_kind(desk: Desk, path: Path, kind: str, data: bytes) -> None:
    if kind in _SHOP_FILES:
        _take_shop_file(desk, path, _SHOP_FILES[kind][1])
    elif kind == "machine":
        _take_shop_file(desk, path, Sheet)
    elif kind == "job":
        desk.jobs.append(path)
    elif kind in _BELOW:
        name = f"{OWN}/{_BELOW[kind]}{path.name}"
        desk.files[name] = data
        desk.shown[name] = str(path)
    if kind == "procedure":
        desk.names.append(path.stem)


def _shown_as(desk: Desk) -> set[str]:
    return {str(Path(p).resolve()) for p in desk.shown.values()}


def _kind(desk: Desk, path: Path, root: Fields | None) -> str:
    words = (*_BELOW, "job", *_SHOP_FILES, "machine")
    found = [k.text for k, _ in root.pairs if k.text in words] if root is not None else []
    if found:
        return found[0]
    desk.wrong.append(
        Diagnostic(
            file=str(path),
            line=1,
            column=1,
            code="unknown-file",
            problem="nothing here says what kind of file this is",
            remedy=f"begin with one of: {', '.join(f'{w}:' for w in words)} - or a list of answers",
        )
    )
    return "broken"


def _names(desk: Desk, asked: list[str], *, every: bool) -> None:
    for name in asked:
        if name not in desk.library.procedures and f"procedure {name}" not in desk.library.broken:
            remedy = remedy_for(name, desk.library.procedures, what="procedures")
            raise UsageError(f"there is no procedure '{name}'; {remedy}")
    desk.names += asked
    if every:
        desk.names += [n for n in sorted(desk.library.procedures) if n not in desk.names]
    desk.names = [n for n in desk.names if n in desk.library.procedures]


def _plan(desk: Desk) -> None:
    """Plans every procedure that is asked for, then what none of all procedures uses."""
    used: frozenset[str] = frozenset()
    for name in sorted(desk.library.procedures):
        used |= check_plan(desk.library, desk.library.procedures[name])
    check_spare(desk.library, used)
    unknown_words(desk.library)
    desk.wrong += [d for d in desk.library.faults() if d not in desk.wrong]


def _check_job(desk: Desk, path: Path) -> None:
    try:
        source = load_one(read_bytes(path), str(path), Job)
    except FaultyFileError as error:
        desk.wrong += error.diagnostics
        return
    if desk.people is not None:
        check_people(source, desk.people)
    _check_facts(desk, source)
    desk.wrong += [d for d in source.faults.found if d not in desk.wrong]


def _check_facts(desk: Desk, source: Source[Job]) -> None:
    """Circuits and facts are ones that some procedure declares, with values that it believes."""
    declared: dict[str, dict[str, object]] = {}
    circuits: set[str] = set()
    for procedure in desk.library.procedures.values():
        circuits |= {n for n, s in procedure.model.sources.items() if s.kind == "circuit"}
        for name, fact in procedure.model.facts.items():
            declared.setdefault(name, fact.model_dump(by_alias=True, mode="json", exclude_none=True))
    for name in source.model.circuits:
        if name not in circuits:
            source.fault(
                ("circuits", name),
                "unknown-name",
                f"no procedure here has the circuit '{name}'",
                remedy_for(name, circuits, what="circuits"),
                key=True,
            )
    for name, said in source.model.facts.items():
        if name not in declared:
            source.fault(
                ("facts", name),
                "unknown-name",
                f"no procedure here asks for the fact '{name}'",
                remedy_for(name, declared, what="facts"),
                key=True,
            )
            continue
        try:
            check_declared(declared[name], name, said if isinstance(said, str) else ", ".join(said))
        except QuantityError as error:
            source.fault(("facts", name), "not-believed", str(error), "look at the nameplate again")
