"""`checkpoint` and `sign`: what leaves the device, and signatures that are given later."""

import argparse
from contextlib import closing
from pathlib import Path

from ohmward.account.lines import line_of
from ohmward.errors import DONE, RefusedError, UsageError
from ohmward.record.checkpoint import read_checkpoint
from ohmward.record.entry import Kind
from ohmward.shop.folder import open_shop, read_bytes
from ohmward.store.sqlite import SqliteStore
from ohmward.terminal.later import opened_later
from ohmward.terminal.records import write_file
from ohmward.terminal.screen import say
from ohmward.terminal.secrets import asks_for_passphrases, desk_of, unlocked
from ohmward.terminal.signers import signing_of
from ohmward.terminal.verifying import checkpoint_at
from ohmward.work.checkpoints import countersign, make_checkpoint
from ohmward.work.draft import Draft

MOST_NOTE = 500


def checkpoint(options: argparse.Namespace) -> int:
    """A checkpoint as a file to take away; with --countersign a second signature under the newest one."""
    if options.query is not None or options.token is not None:
        return _stamp(options)
    if options.person is None:
        raise UsageError("--as PERSON is missing: say who signs the checkpoint, by id")
    folder = open_shop(options.shop)
    ask = asks_for_passphrases(options)
    with closing(SqliteStore(folder.store_path)) as store:
        desk = desk_of(folder, store)
        action = "countersign" if options.countersign is not None else "checkpoint"
        desk.must_have_role(options.person, action)
        held = checkpoint_at(options.countersign) if options.countersign is not None else None
        by = unlocked(desk, ask, options.person)
        made = make_checkpoint(desk, by) if held is None else countersign(desk, by, held)
    write_file(Path(options.output), made.to_bytes())
    point = read_checkpoint(made.checkpoint.raw)
    say(
        f"wrote {options.output}: {point.words}, root {point.root}",
        f"Signatures: {len(made.checkpoint.signatures)}. Give it to somebody who keeps it elsewhere: what it counts cannot be changed or left out unseen after that.",
    )
    return DONE


def _stamp(options: argparse.Namespace) -> int:
    """A question for a time-stamping authority, or its reply put into the checkpoint's file."""
    from ohmward.terminal.stamping import query_for, with_token

    if options.query is not None:
        write_file(Path(options.output), query_for(checkpoint_at(options.query)))
        say(
            f"wrote {options.output}: send it to a time-stamping authority (RFC 3161), then `ohmward checkpoint --token {options.query} REPLY -o FILE`",
        )
        return DONE
    name, reply = options.token
    write_file(Path(options.output), with_token(checkpoint_at(name), read_bytes(Path(reply))).to_bytes())
    say(f"wrote {options.output}: the checkpoint with its time-stamp")
    return DONE


def sign(options: argparse.Namespace) -> int:
    """A signature under a run as it stands, by somebody who was in it. Raises RefusedError."""
    folder = open_shop(options.shop)
    signing = signing_of(options)
    note = " ".join((options.note or "").split())[:MOST_NOTE]
    with opened_later(folder, signing, options.run) as later:
        account = later.session.account
        if options.meaning == "performed" and options.person not in {e.actor for e in account.entries}:
            raise RefusedError(
                f"{options.person} did nothing in run {options.run}: there is nothing to sign as performed"
            )
        remark = Draft(kind=Kind.NOTED, said=note, note="remark", actor=options.person) if note else None
        later.sign(options.person, options.meaning, remark)
        account = later.session.account
        meaning = line_of(account, account.entries[-1])[3]
        say(
            f"run {options.run}: {meaning}, by {options.person}; signed over entries 1 to {account.number - 1}",
        )
    return DONE
