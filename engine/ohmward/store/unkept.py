"""A store that keeps nothing: to see what would be written, before somebody has agreed to it."""

from collections.abc import Iterator

from ohmward.record.entry import digest_of
from ohmward.store.contract import Store


class Unkept:
    """Answers as the store would that has just kept an entry; reading shows what the other store has."""

    def __init__(self, store: Store) -> None:
        self.store = store

    def append(self, run: str, *, after: str, data: bytes) -> str:  # noqa: ARG002  the contract's names
        return digest_of(data)

    def head(self, run: str) -> str:
        return self.store.head(run)

    def newest(self) -> bytes | None:
        return self.store.newest()

    def fetch(self, run: str) -> Iterator[bytes]:
        return self.store.fetch(run)

    def runs(self) -> tuple[str, ...]:
        return self.store.runs()

    def heads(self) -> dict[str, tuple[int, str]]:
        return self.store.heads()

    def close(self) -> None:
        """Nothing is open here; the other store is its owner's to close."""
