"""A shop on disk: finding it, reading it, making one."""

import errno
import os
from dataclasses import dataclass
from datetime import date, timedelta
from hashlib import sha256
from pathlib import Path
from typing import TypeVar

from pydantic import BaseModel

from ohmward.errors import Diagnostic, FaultyFileError, StoreError, UsageError
from ohmward.language.library import OWN, Library, Source, load_library, load_one
from ohmward.shop.models import Job, Register, Roster, Shop
from ohmward.shop.shipped import shipped_files
from ohmward.shop.starter import starter_files

M = TypeVar("M", bound=BaseModel)


@dataclass(frozen=True, slots=True, kw_only=True)
class ShopFolder:
    """A shop that was read."""

    path: Path
    shop: Shop
    roster: Roster
    register: Register

    @property
    def store_path(self) -> Path:
        return self.path / "records.db"

    def files(self) -> tuple[dict[str, bytes], dict[str, str]]:
        """Shipped files with the shop's own beside them, by their path; and the paths to show for its own."""
        own, shown = own_files(self.path)
        return {**shipped_files(), **own}, shown

    def library(self) -> Library:
        """Everything that can be worked; a shop adds, and never replaces what is shipped."""
        return load_library(*self.files())


def own_files(folder: Path) -> tuple[dict[str, bytes], dict[str, str]]:
    """A shop's own procedures, gates, groups and rules by their path, and the paths to show for them."""
    own = folder / "procedures"
    paths = sorted(own.rglob("*.yaml")) if own.is_dir() else []
    names = {f"{OWN}/{path.relative_to(own).as_posix()}": path for path in paths}
    return {n: read_bytes(p) for n, p in names.items()}, {n: str(p) for n, p in names.items()}


def read_bytes(path: Path) -> bytes:
    """A file's bytes. Raises UsageError when it cannot be read."""
    try:
        return path.read_bytes()
    except OSError as error:
        raise UsageError(f"{path}: cannot be read ({error.strerror})") from None


def find_shop(directory: str | None) -> Path | None:
    """The folder of the shop that is named, in OHMWARD_SHOP, or here; None when none is named and here is none.

    Raises UsageError for a named folder that holds no shop.
    """
    named = directory or os.environ.get("OHMWARD_SHOP")
    path = Path(named or ".")
    if (path / "shop.yaml").is_file():
        return path
    if named:
        raise UsageError(_no_shop(path))
    return None


def _no_shop(path: Path) -> str:
    return (
        f"there is no shop in {path.resolve()}: make one with `ohmward new DIR`, or name one with --shop DIR"
    )


def open_shop(directory: str | None) -> ShopFolder:
    """The shop in a folder, in OHMWARD_SHOP, or here. Raises FaultyFileError with all faults of all its files."""
    path = find_shop(directory) or Path()
    if not (path / "shop.yaml").is_file():
        raise UsageError(_no_shop(path))
    wrong: list[Diagnostic] = []
    shop = _load(path / "shop.yaml", Shop, wrong)
    roster = _load(path / "roster.yaml", Roster, wrong)
    register = _load(path / "gear.yaml", Register, wrong)
    if shop is None or roster is None or register is None:
        raise FaultyFileError(tuple(wrong))
    return ShopFolder(path=path, shop=shop, roster=roster, register=register)


def _load(path: Path, model: type[M], wrong: list[Diagnostic]) -> M | None:
    try:
        source = load_one(read_bytes(path), str(path), model)
        refuse_repeats(source)
    except FaultyFileError as error:
        wrong += error.diagnostics
        return None
    return source.model


def refuse_repeats(source: Source[M]) -> None:
    """One id, one person or thing. Raises FaultyFileError."""
    for word in ("people", "gear"):
        seen: set[str] = set()
        for index, item in enumerate(
            getattr(source.model, word, ()) if word in type(source.model).model_fields else ()
        ):
            if getattr(item, "id", "") in seen:
                source.fault(
                    (word, index, "id"), "duplicate-id", f"'{item.id}' stands twice", "give each its own id"
                )
            seen.add(getattr(item, "id", ""))
    source.faults.stop_if_any()


def read_job(path: Path, folder: ShopFolder) -> Source[Job]:
    """A job sheet whose people are in the roster. Raises FaultyFileError or UsageError."""
    source = load_one(read_bytes(path), str(path), Job)
    check_people(source, frozenset(p.id for p in folder.roster.people))
    source.faults.stop_if_any()
    return source


def check_people(source: Source[Job], known: frozenset[str]) -> None:
    """Adds a fault for each person of a job sheet who is not in the roster."""
    for word in ("worker", "supervisor"):
        person = getattr(source.model.people, word)
        if person is not None and person not in known:
            source.fault(
                ("people", word),
                "unknown-person",
                f"'{person}' is not in the roster",
                f"people there: {', '.join(sorted(known))}",
            )


MOST_PICTURE = 20 * 1024 * 1024


def keep_picture(folder: Path, file: str) -> str:
    """Copies a picture into the shop by its digest; returns what the record says of it. Raises OSError."""
    source = Path(file)
    with source.open("rb") as opened:
        data = opened.read(MOST_PICTURE + 1)
    if len(data) > MOST_PICTURE:
        raise OSError(errno.EFBIG, f"larger than {MOST_PICTURE} bytes")
    digest = sha256(data).hexdigest()
    target = folder / "photos" / digest
    target.parent.mkdir(exist_ok=True)
    if not target.exists():
        part = target.with_suffix(".part")
        part.write_bytes(data)
        part.replace(target)
    name = "".join(c if c.isprintable() and c not in "/\\" else "-" for c in source.name)[:80]
    return f"sha256:{digest} {name}".strip()


def make_shop(directory: Path, today: date) -> tuple[Path, ...]:
    """A new shop with the bakery example, its gear in date today. Refuses a folder that has one; raises StoreError when it cannot write."""
    if (directory / "shop.yaml").exists():
        raise UsageError(f"{directory} already holds a shop")
    written = []
    try:
        for name, text in starter_files(
            calibrated=today - timedelta(days=90), tested=today - timedelta(days=30)
        ).items():
            path = directory / name
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_text(text, encoding="utf-8")
            written.append(path)
    except OSError as error:
        raise StoreError(
            f"{directory}: the shop could not be made ({error.strerror}). Check the folder, then try again."
        ) from None
    return tuple(written)
