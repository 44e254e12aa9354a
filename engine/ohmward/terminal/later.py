"""A run signed after it was worked: nothing is written in anybody's name before their passphrase was right."""

from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from datetime import datetime

from ohmward.errors import RefusedError
from ohmward.shop.folder import ShopFolder
from ohmward.store.sqlite import SqliteStore
from ohmward.store.unkept import Unkept
from ohmward.terminal.edge import device_name, utc_now
from ohmward.terminal.signers import DeskSigner, Signing
from ohmward.work.draft import Draft
from ohmward.work.session import Session


@dataclass(frozen=True, slots=True)
class Later:
    """A run as it stands, and who asks for passphrases."""

    session: Session
    signer: DeskSigner

    def sign(self, person: str, meaning: str, remark: Draft | None) -> None:
        """Shows what is signed, asks for the passphrase, then writes the remark, if there is one, and the signature.

        Raises RefusedError; nothing is written then.
        """
        run, now = self.session.account.run, utc_now()
        ahead = self._ahead(now)
        asked = ahead.asked(person, meaning, now)
        if not self.signer.prove(asked, "" if remark is None else remark.said or remark.note):
            raise RefusedError(f"run {run} was not signed, and nothing was written")
        later = self._ahead(utc_now())
        if self.session.store.head(run) != self.session.head or self._taken(ahead) != self._taken(later):
            raise RefusedError(
                f"run {run} was not signed, and nothing was written: it has moved on since it was shown. Sign it again"
            )
        if remark is not None:
            self.session.remark(remark)
        if not self.session.sign(person, meaning):
            raise RefusedError(f"run {run} was not signed")


    def _ahead(self, now: datetime) -> Session:
        """The run as it would stand once what time has taken is written; nothing is kept."""
        it = self.session
        ahead = Session(
            store=Unkept(it.store), account=it.account, head=it.head, clock=it.clock, device=it.device
        )
        ahead.tick(now)
        return ahead

    def _taken(self, ahead: Session) -> list[tuple[str, str]]:
        """What time has taken that is not written yet."""
        return [(e.trigger, e.note) for e in ahead.account.entries[self.session.account.number :]]


@contextmanager
def opened_later(folder: ShopFolder, signing: Signing, run: str) -> Iterator[Later]:
    """A run whose signatures hold and that is possible. Raises UsageError, RefusedError."""
    with closing(SqliteStore(folder.store_path)) as store:
        signer = signing.signer(store, folder, utc_now)
        session = Session.reopen(
            store=store,
            run=run,
            clock=utc_now,
            device=device_name(),
            signer=signer,
        )
        yield Later(session, signer)
