"""`verify`: two verdicts, intact and possible. Imports nothing that it does not need."""

import argparse
import json
import sys
from collections.abc import Iterator
from pathlib import Path

from ohmward.account.fold import NoRecordError, fold
from ohmward.errors import DONE, NO, UsageError
from ohmward.language.nodes import inert
from ohmward.record.checkpoint import CheckpointFile, read_checkpoint_file, verify_checkpoint
from ohmward.record.integrity import Integrity, verify_record_file
from ohmward.record.merkle import root_of
from ohmward.record.versions import follow

Report = dict[str, object]


def verify(options: argparse.Namespace) -> int:
    """0 when every record is intact and possible, else 1."""
    if options.format:
        print(_format_document())
        return DONE
    held = checkpoint_at(options.checkpoint) if options.checkpoint is not None else None
    if options.authority is not None:
        _say_stamp(held, options.authority)
    found = (
        _from_files(options.files, options.origin, held)
        if options.files
        else _from_shop(options.shop, held, options.origin or "")
    )
    good, reports = True, []
    for report in found:
        good = good and bool(report["ok"])
        if options.json:
            reports.append(report)
        else:
            print(inert(f"{report['name']}: {report['integrity']}; {report['possible']}"))
    if options.json:
        print(json.dumps(reports, indent=1))
    return DONE if good else NO


def _format_document() -> str:
    from ohmward.record.format import FORMAT_DOCUMENT

    return FORMAT_DOCUMENT.read_text(encoding="utf-8").rstrip("\n")


def checkpoint_at(name: str) -> CheckpointFile:
    """A checkpoint's file. Raises UsageError."""
    try:
        return read_checkpoint_file(_bytes(name))
    except ValueError as error:
        raise UsageError(f"{name}: this is no checkpoint: {error}") from None


def _say_stamp(held: CheckpointFile | None, authority: str) -> None:
    if held is None:
        raise UsageError("--authority goes with --checkpoint FILE")
    from ohmward.terminal.stamping import stamped_words

    sys.stderr.write(f"checkpoint: {stamped_words(held, Path(authority))}\n")


def _bytes(name: str) -> bytes:
    try:
        return Path(name).read_bytes()
    except OSError as error:
        raise UsageError(f"{name}: cannot be read ({error.strerror})") from None


def _from_files(names: list[str], origin: str | None, held: CheckpointFile | None) -> Iterator[Report]:
    for name in names:
        data = _bytes(name)
        if data.startswith(b"%PDF"):
            from ohmward_printouts.opened_seal import verify_page

            yield _report(name, verify_page(data, origin=origin or "", held=held))
        elif (
            b'"ohmward-checkpoint-file-1"' in data[:65536] or b'"ohmward-checkpoint-file-1"' in data[-65536:]
        ):
            yield _checkpoint_report(name, data)
        else:
            yield _report(name, verify_record_file(data, origin=origin or "", held=held))


def _checkpoint_report(name: str, data: bytes) -> Report:
    """What a checkpoint's file says by itself; records are held against it with --checkpoint."""
    try:
        held = read_checkpoint_file(data)
        lists = follow(held.lists)
        made, problem = verify_checkpoint(held.checkpoint, lists)
        problem = problem or lists.problem
        if made is not None and (len(held.leaves), root_of(held.leaves)) != (made.size, made.root):
            problem = problem or "it does not count the leaves beside it"
    except ValueError as error:
        made, problem = None, f"this is no checkpoint: {error}"
    if made is None or problem:
        return {"name": name, "ok": False, "integrity": problem, "possible": "a checkpoint"}
    others = len(held.checkpoint.signatures) - 1
    stamp = "; its time-stamp is looked at with --authority" if held.token else ""
    words = f"{made.words} by {made.name} ({made.person}), countersigned {others} times, root {made.root}; keys of {made.shop}, origin {made.origin}{stamp}"
    return {
        "name": name,
        "ok": True,
        "integrity": words,
        "possible": "hold records against it with --checkpoint",
    }


def _from_shop(shop: str | None, held: CheckpointFile | None, origin: str) -> Iterator[Report]:
    from ohmward.terminal.whole_shop import verify_shop

    for name, found in verify_shop(shop, held, origin):
        yield _report(name, found) if isinstance(found, Integrity) else _line(name, found)


def _line(name: str, words: str) -> Report:
    """What is said of the folder as a whole; words that begin with `agrees` are good."""
    return {
        "name": name,
        "ok": words.startswith("agrees"),
        "integrity": words,
        "possible": "the folder as a whole",
    }


def _report(name: str, found: Integrity) -> Report:
    plain: Report = {
        "name": name,
        "ok": False,
        "integrity": found.words,
        "possible": "whether it is possible under its procedure was not looked at",
        "entries": len(found.chain.entries),
        "head": found.chain.head,
        "origin": found.lists.origin,
        "anchored": found.last.entries if found.last is not None else 0,
        "checkpoint": found.last.checkpoint.words if found.last is not None else "",
        "signatures": [
            {
                "entry": v.number,
                "person": s.person,
                "name": s.name,
                "role": s.role,
                "meaning": s.meaning,
                "time": s.time,
            }
            for v in found.signatures
            if (s := v.statement) is not None
        ],
    }
    if not found.intact:
        return plain
    try:
        account = fold(found.chain.entries)
    except NoRecordError as error:
        return {**plain, "possible": f"not a run: {error}"}
    if account.impossible:
        return {**plain, "possible": f"not possible under its procedure at {account.impossible}"}
    rehearsal = ", a rehearsal" if account.rehearsal else ""
    words = f"possible under {account.table.procedure} revision {account.table.revision} (table {account.table_digest[:12]}){rehearsal}"
    return {**plain, "ok": True, "possible": words}
