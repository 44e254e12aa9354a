"""Which rules stand: one digest over their exact bytes."""

from collections.abc import Mapping
from hashlib import sha256
from pathlib import PurePosixPath


def digest_of_rules(rules: Mapping[str, bytes]) -> str:
    """One digest over every rule file's bytes, in the order of their ids."""
    whole = sha256()
    for name in sorted(rules):
        whole.update(rules[name] + b"\0")
    return whole.hexdigest()


def rules_among(files: Mapping[str, bytes]) -> dict[str, bytes]:
    """The rule files among all files, by their id."""
    return {
        PurePosixPath(n).stem: data for n, data in files.items() if PurePosixPath(n).parent.name == "rules"
    }
