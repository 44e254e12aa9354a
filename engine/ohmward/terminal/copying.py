"""`copy`: what is shipped as a file of the shop's own, under an id of its own, to be changed there."""

import argparse
import re
from pathlib import PurePosixPath

from ohmward.errors import DONE, StoreError, UsageError
from ohmward.language.suggest import remedy_for
from ohmward.shop.folder import find_shop
from ohmward.shop.shipped import shipped_files
from ohmward.terminal.records import write_file
from ohmward.terminal.screen import safe_text
from ohmward.terminal.tables import files_here

_ID = re.compile(r"[a-z][a-z0-9-]{0,39}")
_FIRST = re.compile(r"\A(procedure|gate|group|rule): .*$", re.MULTILINE)
_REVISION = re.compile(r"^revision: .*$", re.MULTILINE)


def copy(options: argparse.Namespace) -> int:
    """Writes one file below the shop's `procedures`. Raises UsageError for a name that is taken or none, or without a shop."""
    folder = find_shop(options.shop)
    if folder is None:
        raise UsageError("there is no shop here; `ohmward new DIR` makes one, `--shop DIR` names one")
    name = _shipped(options.name)
    new = options.new
    if _ID.fullmatch(new) is None:
        raise UsageError(f"'{new}' is no id: small letters, digits and hyphens, a letter first")
    here, _ = files_here(options.shop)
    if any(PurePosixPath(n).stem == new and PurePosixPath(n).suffix == ".yaml" for n in here):
        raise UsageError(f"'{new}' is there already; take another id")
    text = shipped_files()[name].decode("utf-8")
    text = _FIRST.sub(lambda found: f"{found[1]}: {new}", text, count=1)
    text = _REVISION.sub("revision: 1", text, count=1)
    target = folder / "procedures" / PurePosixPath(name).parent / f"{new}.yaml"
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise StoreError(f"{target.parent}: could not be made ({error.strerror}); nothing was changed") from None
    write_file(target, text.encode("utf-8"))
    print(f"wrote {safe_text(str(target))}")
    print(_then(name, options.name, new))
    return DONE


def _shipped(word: str) -> str:
    """The file of what is shipped under an id: a procedure, else a gate, a group or a rule."""
    files = [n for n in shipped_files() if n.endswith(".yaml")]
    found = next((n for n in sorted(files, key=lambda n: n.count("/")) if PurePosixPath(n).stem == word), None)
    if found is None:
        near = remedy_for(word, {PurePosixPath(n).stem for n in files}, what="shipped files")
        raise UsageError(f"nothing that is shipped is called '{word}'; {near}")
    return found


def _then(name: str, old: str, new: str) -> str:
    if "/" not in name:
        return f"`ohmward check {new}` proves it, `ohmward compare {old} {new}` tells what you changed, `ohmward approve {new}` shows how it stands"
    if name.startswith("rules/"):
        return f"what is shipped stays: a rule of your own adds to '{old}' and tightens it"
    return f"nothing uses it yet; a gate of your own comes beside '{old}', for which rules ask by name"
