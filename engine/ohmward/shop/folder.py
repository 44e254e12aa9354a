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
        files = dict(shipped_files())
        shown: dict[str, str] = {}
        own = self.path / "procedures"
        for path in sorted(own.rglob("*.yaml")) if own.is_dir() else []:
            name = f"{OWN}/{path.relative_to(own).as_posix()}"
            files[name] = _read(path)
            shown[name] = str(path)
        return files, shown

    def library(self) -> Library:
        """Everything that can be worked; a shop adds, and never replaces what is shipped."""
        return load_library(*self.files())


def _read(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as error:
        raise UsageError(f"{path}: cannot be read ({error.strerror})") from None


def open_shop(directory: str | None) -> ShopFolder:
    """The shop in a folder, in OHMWARD_SHOP, or here. Raises FaultyFileError with all faults of all its files."""
    path = Path(directory or os.environ.get("OHMWARD_SHOP") or ".")
    if not (path / "shop.yaml").is_file():
        raise UsageError(
            f"there is no shop in {path.resolve()}: make one with `ohmward new DIR`, or name one with --shop DIR"
        )
    wrong: list[Diagnostic] = []
    shop = _load(path / "shop.yaml", Shop, wrong)
    roster = _load(path / "roster.yaml", Roster, wrong)
    register = _load(path / "gear.yaml", Register, wrong)
    if shop is None or roster is None or register is None:
        raise FaultyFileError(tuple(wrong))
    return ShopFolder(path=path, shop=shop, roster=roster, register=register)


def _load(path: Path, model: type[M], wrong: list[Diagnostic]) -> M | None:
    try:
        source = load_one(_read(path), str(path), model)
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
    source = load_one(_read(path), str(path), Job)
    known = {p.id for p in folder.roster.people}
    for word in ("worker", "supervisor"):
        person = getattr(source.model.people, word)
        if person is not None and person not in known:
            source.fault(
                ("people", word),
                "unknown-person",
                f"'{person}' is not in the roster",
                f"people there: {', '.join(sorted(known))}",
            )
    source.faults.stop_if_any()
    return source


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
