"""`compare`: what changed between two revisions, told by what it means for safety."""

import argparse
import json
import sys
from collections.abc import Mapping
from dataclasses import replace

from ohmward.chart.table import Table
from ohmward.errors import DONE, NO, UsageError
from ohmward.language.library import OWN
from ohmward.proof.bounds import Weight
from ohmward.proof.difference import Difference, difference
from ohmward.terminal.screen import safe_text, say
from ohmward.terminal.tables import files_here, stands_alone, table_named

HEADS = {
    Weight.LOOSER: "LOOSER, or not to be told from the files: read each of these",
    Weight.STRICTER: "STRICTER",
    Weight.OTHER: "OTHER: words and what no rule speaks of",
}


def compare(options: argparse.Namespace) -> int:
    """0 when nothing is looser, 1 when something is, 2 when a file is wrong."""
    files, shown = files_here(options.shop)
    old, new = (table_named(name, files, shown) for name in (options.old, options.new))
    if old.procedure != new.procedure and not _is_a_copy(old, new):
        raise UsageError(
            f"'{old.procedure}' and '{new.procedure}' are two procedures, not two revisions of one, and none a copy of the other"
        )
    for name in (n for n in (options.old, options.new) if stands_alone(n)):
        sys.stderr.write(
            f"NOTICE: no gates stand beside {safe_text(name)}: it is read with those of today, and what changed in them is not told\n"
        )
    found = _shown_as(difference(old, new), shown, (options.new, options.old))
    if options.json:
        print(json.dumps(plain(found), indent=1))
    else:
        say(*lines_of(found))
    return NO if found.of(Weight.LOOSER) else DONE


def _is_a_copy(old: Table, new: Table) -> bool:
    """Whether most steps of one are steps of the other: a copy under an id of its own."""
    one, other = (set(t.data["order"]) for t in (old, new))  # type: ignore[call-overload]
    return len(one & other) * 2 > max(len(one), len(other))


def _shown_as(found: Difference, shown: Mapping[str, str], named: tuple[str, str]) -> Difference:
    """Places in a procedure's file under the name that was given for it, in the shop's own files under their paths."""
    given = next((n for n in named if n.endswith((".yaml", ".yml"))), None)
    names = {**shown, f"{OWN}/{found.procedure}.yaml": given} if given is not None else shown
    changes = found.changes
    for inside, path in names.items():
        changes = tuple(replace(c, where=c.where.replace(f"({inside}:", f"({path}:")) for c in changes)
    return replace(found, changes=changes)


def plain(found: Difference) -> dict[str, object]:
    """For other programs."""
    return {
        "procedure": found.procedure,
        "old": found.old,
        "new": found.new,
        "changes": [{"weight": c.weight.value, "where": c.where, "words": c.words} for c in found.changes],
    }


def lines_of(found: Difference) -> list[str]:
    """For people: looser changes first, each where it stands. Indented by what belongs to what; not yet wrapped."""
    made = [f"{found.procedure}: revision {found.old} -> revision {found.new}"]
    if not found.changes:
        return [*made, "no change that means anything"]
    for weight in Weight:
        changes = found.of(weight)
        if changes:
            made += ["", f"{HEADS[weight]} ({len(changes)})"]
        where = ""
        for change in changes:
            if change.where != where:
                where = change.where
                made.append(f"  {where}")
            made.append(f"    {change.words}")
    return made
