"""A run with its effects: each entry durable before anything is shown that rests on it, each move made twice."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from ohmward.account.check import key_wanted, release_wanted, signature_wanted
from ohmward.account.fold import NoRecordError, after, fold, open_account
from ohmward.account.pair import FIRST_READING, SECOND_READING, wants_signature
from ohmward.account.state import Account
from ohmward.chart.table import Table
from ohmward.errors import BrokenError, MovedOnError, RefusedError, StoreError, UsageError
from ohmward.record.chain import verify_chain
from ohmward.record.entry import NOTHING, Entry, Kind
from ohmward.store.contract import Store
from ohmward.work.carried import carried, continues
from ohmward.work.decide import decide, due
from ohmward.work.draft import Draft, Refusal, stamp
from ohmward.work.intents import Answer, Correct, Happened, Intent, Resume, Stop
from ohmward.work.keydesk import verified
from ohmward.work.machine import Mirror
from ohmward.work.screenful import View
from ohmward.work.signer import Asked, Signer
from ohmward.work.telling import after_words, lost_words, moves_nothing, refused_draft
from ohmward.work.view import view_of

Clock = Callable[[], datetime]


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """What came of an intent: whether it was taken, and what to say."""

    taken: bool
    messages: tuple[str, ...] = ()


class Session:
    """One terminal on one run."""

    def __init__(
        self,
        *,
        store: Store,
        account: Account,
        head: str,
        clock: Clock,
        device: str,
        signer: Signer | None = None,
    ) -> None:
        self.store, self.account, self.head, self.clock, self.device = store, account, head, clock, device
        self.signer = signer
        self.watch: Callable[[], bool] = lambda: False  # whether somebody looks before a next deed begins
        self.mirror = Mirror(account.table)
        self.model = self.mirror.model_at(account.position)

    @staticmethod
    def open(
        *,
        store: Store,
        run: str,
        data: Mapping[str, Any],
        table: Table | None = None,
        clock: Clock,
        device: str,
        actor: str,
        signer: Signer | None = None,
    ) -> "Session":
        """A new run: its first entry is durable when this returns."""
        entry = Entry(
            run=run,
            number=1,
            previous=NOTHING,
            time=stamp(clock()),
            actor=actor,
            device=device,
            kind=Kind.OPENED,
            data=data,
        )
        account = open_account(entry, table)
        head = store.append(run, after=NOTHING, data=entry.to_bytes())
        session = Session(store=store, account=account, head=head, clock=clock, device=device, signer=signer)
        if account.by_key:
            session.sign(actor, "performed")
        session._carry(session.clock())
        return session

    @staticmethod
    def resume(
        *, store: Store, run: str, clock: Clock, device: str, signer: Signer | None = None
    ) -> "Session":
        """An open run taken up again: a deed without an answer was interrupted, and is reconciled first."""
        chain = verify_chain(store.fetch(run), run=run)
        if not chain.intact:
            raise StoreError(f"run {run} is {chain.problem}. It is not worked on; keep the store as it is.")
        account = fold(chain.entries)
        if account.impossible:
            raise BrokenError(f"run {run} is not possible under its procedure: {account.impossible}")
        session = Session(
            store=store, account=account, head=chain.head, clock=clock, device=device, signer=signer
        )
        if not account.ended:
            session.apply(Resume(person=account.worker))
        return session

    @staticmethod
    def reopen(*, store: Store, run: str, clock: Clock, device: str, signer: Signer) -> "Session":
        """A run as it stands, to sign it or to remark on it; nothing is taken up again. Raises UsageError, RefusedError."""
        found = verified(store, run)
        if not found.chain.entries:
            raise UsageError(f"there is no run '{run}' here; `ohmward runs` lists them")
        try:
            account = fold(found.chain.entries)
        except NoRecordError as error:
            raise RefusedError(f"run {run} is no record of a run: {error}") from None
        if not found.intact or account.impossible:
            problem = found.problem or f"not possible under its procedure: {account.impossible}"
            raise RefusedError(f"run {run} is {problem}. It is not signed.")
        return Session(
            store=store, account=account, head=found.chain.head, clock=clock, device=device, signer=signer
        )

    def view(self) -> View:
        return view_of(self.account, self.clock())

    def tick(self, now: datetime | None = None) -> tuple[str, ...]:
        """Writes what time has taken; returns what to say."""
        now = now or self.clock()
        said: list[str] = []
        while drafts := due(self.account, now):
            before = set(self.account.held)
            self._write(drafts[0], "", now)
            said.append(lost_words(self.account, drafts[0], before - set(self.account.held)))
        return (*said, *self._carry(now)) if said else ()

    def apply(self, intent: Intent) -> Told:
        """Decides, records, moves. A reported deed is never refused for a gate that was lost meanwhile."""
        now = self.clock()
        asked = view_of(self.account, now)
        said = [*self.tick(now)]
        view = view_of(self.account, now)
        if said and getattr(intent, "step", view.step) != view.step and view.node != asked.node:
            return Told(taken=False, messages=(*said, "The question has changed; look again."))
        decided = decide(self.account, intent, view, now=now)
        decided = self._second_told(decided, view, now)
        unsigned = self._signed_first(intent, decided, now)
        if unsigned:
            return Told(taken=False, messages=(*said, unsigned))
        if isinstance(decided, Refusal):
            if decided.record:
                words = " ".join(getattr(intent, "said", ()))[:300]
                self._write(refused_draft(self.account, view.step, words, decided.why), view.shown, now)
            return Told(taken=False, messages=(*said, decided.why))
        for number, draft in enumerate(decided):
            before = set(self.account.held)
            moved = view_of(self.account, now).step != view.step
            if number and draft.kind is not Kind.LOST and moved:
                return Told(taken=False, messages=(*said, "Gates were lost with the change; look again."))
            self._write(draft, view.shown, now)
            said += after_words(self.account, draft, before - set(self.account.held))
        said += self._afterwards(intent, view, now)
        return Told(taken=True, messages=tuple(said))

    def _afterwards(self, intent: Intent, view: View, now: datetime) -> list[str]:
        """What follows by itself: known answers, the next deed at the same place, a signature at a natural pause."""
        said = self._carry(now)
        if isinstance(intent, Answer):
            self._go_on_there(view, now)
        if self.account.ended or (isinstance(intent, Stop) and intent.how == "pause"):
            self._sign_off()
        elif isinstance(intent, Stop | Correct):
            self._hand_over()
        return said

    # -- signatures -----------------------------------------------------------------------------------

    def sign(self, person: str, meaning: str, now: datetime | None = None) -> bool:
        """Asks a person for a signature over everything so far; whether there is one."""
        if self.signer is None:
            return False
        now = now or self.clock()
        self.tick(now)
        signed = self.signer.sign(self.asked(person, meaning, now))
        if signed is None:
            return False
        draft = Draft(kind=Kind.SIGNED, said=meaning, actor=person, data=signed.plain())
        try:
            self._write_once(draft, "", now)
        except MovedOnError:  # what was signed is not what stands there now
            self._catch_up()
            return self.sign(person, meaning)
        return True

    def asked(self, person: str, meaning: str, now: datetime) -> Asked:
        """A signature over everything so far, as it is asked for."""
        return Asked(
            account=self.account,
            head=self.head,
            person=person,
            meaning=meaning,
            time=stamp(now),
            fresh=self.account.unsigned(person) or self.account.entries,
        )

    def remark(self, draft: Draft) -> None:
        """An entry that moves nothing."""
        now = self.clock()
        self.tick(now)
        self._write(draft, "", now)

    def _second_told(
        self, decided: tuple[Draft, ...] | Refusal, view: View, now: datetime
    ) -> tuple[Draft, ...] | Refusal:
        """What a second person read is theirs before anything is made of it: told, then signed by them."""
        if isinstance(decided, Refusal) or decided[0].note != SECOND_READING:
            return decided
        theirs, *rest = decided
        self._write(theirs, view.shown, now)
        answer, step = rest[-1], self.account.steps[theirs.step]
        wanted = wants_signature(self.account, step, answer.outcome, answer.trigger)
        if wanted and not self.sign(theirs.actor, "witnessed", now):
            mine = answer.values[: len(answer.values) - len(theirs.values)]
            kept = replace(theirs, actor="", said="; ".join(v.said for v in mine), values=mine, note=FIRST_READING)
            self._write(kept, view.shown, now)
            return Refusal(
                why=f"{theirs.actor} has not signed 'witnessed' with their own key: the reading does not count yet.",
                record=False,
            )
        return tuple(rest)

    def _signed_first(self, intent: Intent, decided: tuple[Draft, ...] | Refusal, now: datetime) -> str:
        """What must be signed before the intent counts is asked for now; why it does not count, '' when it does."""
        if isinstance(decided, Refusal) or not self.account.by_key:
            return ""
        if isinstance(intent, Happened):
            if intent.event == "worker changed":
                self.sign(self.account.worker, "performed", now)
            self._hand_over()
            return ""
        answer, worker = decided[-1], self.account.worker
        known = answer.step in self.account.steps
        asks_worker = known and key_wanted(self.account, answer.kind, answer.trigger)
        if asks_worker and not self.sign(worker, "performed", now):
            return f"{worker} works here and has not signed with their own key: nothing is begun. Stopping and making safe go on as ever."
        meaning = self._wanted(answer)
        if not meaning or self.sign(answer.said, meaning, now):
            return ""
        return f"{answer.said} has not signed '{meaning}' with their own key: it does not count yet."

    def _wanted(self, answer: Draft) -> str:
        """The meaning that the person who is named must sign before the answer counts; '' for none."""
        step = self.account.steps.get(answer.step)
        if release_wanted(self.account, answer.trigger, answer.said):
            return "released"
        if step is None or answer.kind is not Kind.ANSWERED:
            return ""
        return signature_wanted(self.account, step, answer.said, answer.outcome)

    def _sign_off(self) -> None:
        """A natural pause: whoever worked signs what was done since, and whoever supervised what they saw."""
        account = self.account
        if not account.by_key:
            return
        if account.unsigned(account.worker):
            self.sign(account.worker, "performed")
        if account.ended and account.supervisor not in {"", account.worker}:
            self.sign(account.supervisor, "supervised")
        self._hand_over()

    def _hand_over(self) -> None:
        if self.signer is not None:
            self.signer.hand_over()

    def _carry(self, now: datetime) -> list[str]:
        """Writes the answers that are known already; returns what to say of them."""
        said = []
        while not self.account.ended and not due(self.account, now):
            view = view_of(self.account, now)
            draft = carried(self.account, view, now)
            if draft is None or key_wanted(self.account, draft.kind, draft.trigger):
                break
            self._write(draft, view.shown, now)
            said.append(f"{view.for_gate or view.prompt}: {draft.said} {draft.note}")
        return said

    def _go_on_there(self, before: View, now: datetime) -> None:
        """The next deed at the same place is begun before it is shown."""
        if self.account.ended or due(self.account, now) or key_wanted(self.account, Kind.BEGUN, ""):
            return
        if self.watch():
            return
        view = view_of(self.account, now)
        intent = continues(self.account, before, view)
        decided = decide(self.account, intent, view, now=now) if intent is not None else ()
        if not isinstance(decided, Refusal):
            for draft in decided:
                self._write(draft, view.shown, now)

    def _write(self, draft: Draft, shown: str, now: datetime) -> None:
        try:
            self._write_once(draft, shown, now)
        except MovedOnError:
            self._catch_up()
            self._write_once(draft, shown, max(now, datetime.fromisoformat(self.account.time)))

    def _catch_up(self) -> None:
        """Takes in what others have added to the run meanwhile: signatures and remarks. Raises MovedOnError for more."""
        chain = verify_chain(self.store.fetch(self.account.run), run=self.account.run)
        fresh = chain.entries[self.account.number :]
        if not chain.intact or not fresh or not all(moves_nothing(e) for e in fresh):
            raise MovedOnError(
                f"run {self.account.run} has moved on: somebody else has written to it. Resume it to see where it stands."
            )
        for entry in fresh:
            self.account = after(self.account, entry)
        self.head = chain.head
        self.mirror.stand(self.model, self.account.position)

    def _write_once(self, draft: Draft, shown: str, now: datetime) -> None:
        entry = Entry(
            run=self.account.run,
            number=self.account.number + 1,
            previous=self.head,
            time=stamp(now),
            actor=draft.actor or self.account.worker,
            device=self.device,
            kind=draft.kind,
            trigger=draft.trigger,
            step=draft.step,
            shown=shown,
            taken=draft.taken,
            said=draft.said,
            outcome=draft.outcome,
            instrument=draft.instrument,
            values=draft.values,
            note=draft.note,
            data=draft.data,
        )
        account = after(self.account, entry)
        if account.impossible:
            raise BrokenError(f"this entry would not be possible: {account.impossible}")
        if draft.trigger:
            mirrored = self.mirror.fire(self.model, draft.trigger)
            if mirrored != account.position:
                raise BrokenError(
                    f"two walkers of the table disagree after '{draft.trigger}': the work stops here"
                )
        self.head = self.store.append(self.account.run, after=self.head, data=entry.to_bytes())
        self.account = account
