"""The one function that finds the shipped procedures, in a wheel and in a checkout."""

from functools import cache
from pathlib import Path

from ohmward.errors import StoreError


@cache
def shipped_folder() -> Path:
    """The folder of the shipped procedures. Raises StoreError when the installation lacks them."""
    here = Path(__file__).resolve()
    for folder in (here.parents[1] / "_procedures", here.parents[3] / "procedures"):
        if folder.is_dir():
            return folder
    raise StoreError("the shipped procedures are missing from this installation; install ohmward again")


def shipped_files() -> dict[str, bytes]:
    """Every shipped file by its path below the folder."""
    folder = shipped_folder()
    return {p.relative_to(folder).as_posix(): p.read_bytes() for p in sorted(folder.rglob("*.yaml"))}
