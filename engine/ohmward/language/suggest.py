"""Did you mean …? One place for it."""

from collections.abc import Iterable
from difflib import get_close_matches


def remedy_for(word: str, known: Iterable[str], *, what: str) -> str:
    """`did you mean 'x'?` when one is near, else the list of what is known there."""
    names = sorted(set(known))
    near = get_close_matches(word, names, n=1, cutoff=0.6)
    if near:
        return f"did you mean '{near[0]}'?"
    if not names:
        return f"there are no {what} here"
    shown = ", ".join(names[:12]) + (" …" if len(names) > 12 else "")
    return f"{what} here: {shown}"
