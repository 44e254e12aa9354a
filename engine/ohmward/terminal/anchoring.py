"""`checkpoint` and `sign`: what leaves the device, and signatures that are given later."""

import argparse
from contextlib import closing
from pathlib import Path

from ohmward.account.fold import NoRecordError, fold
from ohmward.errors import DONE, RefusedError, UsageError
from ohmward.record.chain import verify_chain
from ohmward.record.checkpoint import CheckpointFile, read_checkpoint, read_checkpoint_file
from ohmward.shop.folder import open_shop, read_bytes
from ohmward.store.sqlite import SqliteStore
from ohmward.terminal.comparing import say
from ohmward.terminal.edge import device_name, utc_now
from ohmward.terminal.records import write_file
from ohmward.terminal.secrets import asks_for_passphrases, desk_of, unlocked
from ohmward.terminal.signers import signing_of
from ohmward.work.checkpoints import countersign, make_checkpoint
from ohmward.work.session import Session


def checkpoint(options: argparse.Namespace) -> int:
    """A checkpoint as a file to take away; with --countersign a second signature under the newest one."""
    folder = open_shop(options.shop)
    ask = asks_for_passphrases(options)
    with closing(SqliteStore(folder.store_path)) as store:
        desk = desk_of(folder, store)
        action = "countersign" if options.countersign is not None else "checkpoint"
        desk.must_have_role(options.person, action)
        held = file_at(options.countersign) if options.countersign is not None else None
        by = unlocked(desk, ask, options.person)
        made = make_checkpoint(desk, by) if held is None else countersign(desk, by, held)
    write_file(Path(options.output), made.to_bytes())
    point = read_checkpoint(made.checkpoint.raw)
    say(
        [
            f"wrote {options.output}: {point.words}, root {point.root}",
            f"{len(made.checkpoint.signatures)} signatures. Give it to somebody who keeps it elsewhere: what it counts cannot be changed or left out unseen after that.",
        ]
    )
    return DONE


def file_at(name: str) -> CheckpointFile:
    """A checkpoint's file. Raises UsageError."""
    try:
        return read_checkpoint_file(read_bytes(Path(name)))
    except ValueError as error:
        raise UsageError(f"{name}: this is no checkpoint: {error}") from None


def sign(options: argparse.Namespace) -> int:
    """A signature under a run as it stands, by somebody who was in it. Raises RefusedError."""
    folder = open_shop(options.shop)
    signing = signing_of(options)
    with closing(SqliteStore(folder.store_path)) as store:
        chain = verify_chain(store.fetch(options.run), run=options.run)
        if not chain.entries:
            raise UsageError(f"there is no run '{options.run}' in {folder.path}; `ohmward runs` lists them")
        try:
            account = fold(chain.entries)
        except NoRecordError as error:
            raise RefusedError(f"run {options.run} is no record of a run: {error}") from None
        if account.impossible:
            raise RefusedError(f"run {options.run} is not possible under its procedure: {account.impossible}")
        if options.meaning == "performed" and options.person not in {e.actor for e in account.entries}:
            raise RefusedError(
                f"{options.person} did nothing in run {options.run}: there is nothing to sign as performed"
            )
        signer = signing.signer(store, folder, utc_now)
        session = Session(
            store=store, account=account, head=chain.head, clock=utc_now, device=device_name(), signer=signer
        )
        if not session.sign(options.person, options.meaning):
            raise RefusedError(f"run {options.run} was not signed")
        say(
            [
                f"run {options.run}: {options.meaning} by {options.person}, over entries 1 to {session.account.number - 1}"
            ]
        )
    return DONE
