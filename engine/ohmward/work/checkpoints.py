"""Checkpoints of a shop: made, countersigned, and held against one that was kept elsewhere."""

from dataclasses import dataclass
from typing import Any

from ohmward.errors import RefusedError
from ohmward.record.checkpoint import (
    Checkpoint,
    CheckpointFile,
    SignedCheckpoint,
    read_checkpoint,
    verify_checkpoint,
)
from ohmward.record.diary import Diary, fresh_leaves
from ohmward.record.entry import Kind
from ohmward.record.integrity import unlike_lists
from ohmward.record.merkle import consistency, root_of
from ohmward.record.packed import pack
from ohmward.record.versions import KeyLists, follow
from ohmward.shop.keyfile import Unlocked
from ohmward.work.keydesk import KeyDesk


def make_checkpoint(desk: KeyDesk, by: Unlocked) -> CheckpointFile:
    """How every run and the diary stand now, signed and kept; the file that leaves the device. Raises RefusedError."""
    member, diary, keys = desk.must_have_role(by.person, "checkpoint"), desk.diary, desk.keys
    fresh = fresh_leaves(diary, desk.store.heads())
    leaves = (*diary.leaves, *fresh)
    made = Checkpoint(
        shop=keys.shop,
        origin=diary.lists.origin,
        size=len(leaves),
        root=root_of(leaves),
        previous=diary.last.digest if diary.last is not None else "",
        time=desk.now(),
        person=by.person,
        name=member.name,
        role=member.role,
        key=by.key,
        list_version=keys.version,
        list_digest=keys.digest,
    )
    raw = made.to_bytes()
    signed = SignedCheckpoint(raw=raw, signatures=((by.key, by.sign(raw)),))
    data: dict[str, Any] = {"leaves": [pack(leaf) for leaf in fresh], **signed.plain()}
    desk.write(Kind.CHECKPOINT, by.person, said="made", data=data, time=made.time)
    return file_of(desk.diary, len(desk.diary.checkpoints) - 1)


def file_of(diary: Diary, number: int) -> CheckpointFile:
    """The file of one checkpoint of the diary, with the proof that it goes on from the one before."""
    signed = diary.checkpoints[number]
    size = read_checkpoint(signed.raw).size
    before = read_checkpoint(diary.checkpoints[number - 1].raw) if number else None
    return CheckpointFile(
        checkpoint=signed,
        lists=diary.lists.signed,
        leaves=diary.leaves[:size],
        earlier=before.size if before is not None else 0,
        earlier_root=before.root if before is not None else "",
        consistency=consistency(diary.leaves[:size], before.size) if before is not None else (),
    )


def countersign(desk: KeyDesk, by: Unlocked, held: CheckpointFile) -> CheckpointFile:
    """Another signature under the shop's newest checkpoint, by somebody who did not make it. Raises RefusedError."""
    desk.must_have_role(by.person, "countersign")
    diary = desk.diary
    if not diary.checkpoints or diary.checkpoints[-1].raw != held.checkpoint.raw:
        raise RefusedError("this is not the newest checkpoint of this shop: only that one is countersigned")
    newest = diary.checkpoints[-1]
    if by.key in {key for key, _ in newest.signatures}:
        raise RefusedError(f"{by.person} has signed it already: somebody else countersigns")
    signed = SignedCheckpoint(raw=newest.raw, signatures=(*newest.signatures, (by.key, by.sign(newest.raw))))
    desk.write(Kind.CHECKPOINT, by.person, said="countersigned", data={"leaves": [], **signed.plain()})
    return file_of(desk.diary, len(diary.checkpoints) - 1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Met:
    """What a checkpoint that was kept elsewhere says of a shop's diary. `problem` is '' where they agree."""

    checkpoint: Checkpoint | None
    problem: str


def meet(diary: Diary, held: CheckpointFile) -> Met:
    """Whether this shop's log is the one that the checkpoint was made of, or goes on from it. Never raises."""
    lists = follow(held.lists)
    made, problem = verify_checkpoint(held.checkpoint, lists)
    problem = lists.problem or problem
    if made is None or problem:
        return Met(checkpoint=made, problem=problem)
    against = (
        unlike_lists(diary.lists, lists) or _missing_lists(diary.lists, lists) or _unlike_log(diary, made)
    )
    return Met(checkpoint=made, problem=against)


def _missing_lists(mine: KeyLists, theirs: KeyLists) -> str:
    missing = len(theirs.digests) - len(mine.digests)
    return f"{missing} versions of the list of keys are missing here" if missing > 0 else ""


def _unlike_log(diary: Diary, made: Checkpoint) -> str:
    here = len(diary.leaves)
    if made.size > here:
        return f"{made.words} counts {made.size} standings of records, {here} are known here: this folder was set back, or is a copy that was left behind"
    root = root_of(diary.leaves[: made.size])
    if root != made.root:
        return f"two histories: the first {made.size} standings have root {root} here and {made.root} in {made.words}. This folder and the one that made it went on separately, or one was changed"
    return ""
