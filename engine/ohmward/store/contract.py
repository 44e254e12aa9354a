"""What every store owes; one suite of tests runs on each."""

from collections.abc import Iterator
from typing import Protocol


class Store(Protocol):
    """Append-only. There is no path to change or remove an entry."""

    def append(self, run: str, *, after: str, data: bytes) -> str:
        """Keeps exact bytes after the head `after` and returns the new head, durable.

        Raises MovedOnError when the head is another one, StoreError when it could not be kept;
        in both cases nothing was kept.
        """
        ...

    def head(self, run: str) -> str:
        """The digest of the last entry, or 64 zeros."""
        ...

    def newest(self) -> bytes | None:
        """The exact bytes of the entry that was kept last, of whichever run; None where there is none."""
        ...

    def fetch(self, run: str) -> Iterator[bytes]:
        """The exact bytes of every entry, in order."""
        ...

    def runs(self) -> tuple[str, ...]:
        """The runs, oldest first; the diary is not one of them."""
        ...

    def heads(self) -> dict[str, tuple[int, str]]:
        """How many entries each run has and its head, oldest first; the diary is there too."""
        ...

    def close(self) -> None:
        """Lets go of the file."""
        ...
