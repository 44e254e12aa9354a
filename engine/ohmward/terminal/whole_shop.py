"""Every record of a shop, its diary, and a checkpoint that was kept elsewhere."""

from collections.abc import Iterator

from ohmward.errors import StoreError
from ohmward.record.checkpoint import CheckpointFile
from ohmward.record.diary import DIARY, Diary, faults_of, pairs_for, wanted_heads
from ohmward.record.integrity import Integrity, broken, verify_run
from ohmward.shop.folder import open_shop
from ohmward.store.sqlite import SqliteStore
from ohmward.work.checkpoints import meet
from ohmward.work.keydesk import diary_of


def verify_shop(
    shop: str | None, held: CheckpointFile | None, origin: str = ""
) -> Iterator[tuple[str, Integrity | str]]:
    """(name, what was found), one run at a time; words for the folder as a whole."""
    folder = open_shop(shop)
    store = SqliteStore(folder.store_path, verify=False)
    try:
        faults = store.faults()
        if faults:
            yield from ((str(folder.store_path), broken(fault)) for fault in faults)
            return
        try:
            diary = diary_of(store)
        except StoreError as error:
            yield str(folder.store_path), broken(str(error))
            return
        if origin and diary.lists.origin != origin:
            words = f"its keys begin with {diary.lists.origin or 'nothing'}, expected {origin}"
            yield str(folder.store_path), broken(words)
        yield from _runs(store, diary)
        if held is not None:
            yield "checkpoint", _met(diary, held)
    finally:
        store.close()


def _runs(store: SqliteStore, diary: Diary) -> Iterator[tuple[str, Integrity | str]]:
    wanted, pairs = wanted_heads(diary), pairs_for(diary)
    heads: dict[str, dict[int, str]] = {}
    for run in store.runs():
        found = verify_run(store.fetch(run), run=run, lists=diary.lists, pairs=pairs.get(run, ()))
        known = found.chain.heads
        heads[run] = {n: known[n] for n in wanted.get(run, ()) if 0 < n < len(known)}
        yield run, found
    heads[DIARY] = _diary_heads(store, wanted.get(DIARY, frozenset()))
    for fault in faults_of(diary, heads):
        yield DIARY, broken(fault)


def _diary_heads(store: SqliteStore, wanted: frozenset[int]) -> dict[int, str]:
    from ohmward.record.entry import digest_of

    return {n: digest_of(raw) for n, raw in enumerate(store.fetch(DIARY), 1) if n in wanted}


def _met(diary: Diary, held: CheckpointFile) -> str:
    met = meet(diary, held)
    if met.problem or met.checkpoint is None:
        return f"does not agree: {met.problem}"
    return f"agrees: this folder goes on from {met.checkpoint.words}"
