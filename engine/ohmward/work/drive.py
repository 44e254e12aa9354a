"""The loop that every door uses: show, ask, record, until the run ends or is left."""

from typing import Protocol

from ohmward.work.intents import Intent, Stop
from ohmward.work.screenful import View
from ohmward.work.session import Session, Told


class Answers(Protocol):
    """Where intents come from: a terminal, a file, a page."""

    def next(self, view: View) -> Intent | None:
        """The next intent at a view; None to look again, when time may have passed."""
        ...

    def told(self, told: Told) -> None:
        """What came of it."""
        ...


def drive(session: Session, answers: Answers) -> bool:
    """Works a run until it ends (True) or is left open by a break (False)."""
    while not session.account.ended:
        lapsed = session.tick()
        if lapsed:
            answers.told(Told(taken=True, messages=lapsed))
        intent = answers.next(session.view())
        if intent is None:
            continue
        told = session.apply(intent)
        answers.told(told)
        if isinstance(intent, Stop) and intent.how == "pause" and told.taken:
            return False
    return True
