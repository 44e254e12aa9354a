"""Intents from a person at a terminal."""

from collections.abc import Callable

from rich.console import Console

from ohmward.account.fold import Account
from ohmward.terminal.keys import BreakKeyError, HungUpError
from ohmward.terminal.screen import KEYS, Page, help_line, show_emergency, show_view
from ohmward.work.intents import Answer, Begin, Correct, Found, GoOn, Happened, Intent, MakeSafe, Stop
from ohmward.work.session import Told
from ohmward.work.view import View

Read = Callable[[str], str]


class PersonAnswers:
    """One screen, one question; single letters are keys at every prompt."""

    def __init__(self, console: Console, read: Read, account: Callable[[], Account]) -> None:
        self.console, self.read, self.account = console, read, account
        self.page = Page(console)
        self.hung_up = False

    def next(self, view: View) -> Intent | None:
        """Shows the view and asks. Ctrl-C opens the stop menu; a lost terminal is a break."""
        if self.hung_up:
            return Stop(how="pause", why="the terminal was lost")
        try:
            return self._next(view)
        except BreakKeyError:
            return self._stop_menu()
        except HungUpError:
            self.hung_up = True
            return Stop(how="pause", why="the terminal was lost")

    def told(self, told: Told) -> None:
        for message in told.messages:
            self.page.signal("notice" if told.taken else "caution", message)

    def _next(self, view: View) -> Intent | None:
        account = self.account()
        data = account.table.data
        show_view(self.console, view, title=str(data["title"]), rehearsal=account.rehearsal)
        self.page.line()
        match view.mode:
            case "ready":
                return self._word("g begin", {"g": Begin(step=view.step)})
            case "hold":
                return self._hold()
            case "safe" if view.kind == "safe-hands":
                cannot = Answer(step=view.step, said=("cannot",))
                return self._word(
                    "g begin · x cannot", {"g": Begin(step=view.step), "x": cannot, "2": cannot}
                )
            case _:
                return self._answer(view)

    def _word(self, keys: str, meaning: dict[str, Intent]) -> Intent | None:
        text = self._ask(f"{keys} > ")
        if text.lower() in meaning:
            return meaning[text.lower()]
        return self._key(text) or self._say(f"Keys here: {keys} · {KEYS}")

    def _say(self, text: str) -> Intent | None:
        self.page.signal("notice", text)
        return None

    def _ask(self, prompt: str) -> str:
        return self.read(prompt)

    def _answer(self, view: View) -> Intent | None:
        if view.kind == "reading":
            return self._values(view)
        if view.kind == "action":
            done, cannot = Answer(step=view.step, said=("done",)), Answer(step=view.step, said=("cannot",))
            return self._word("d done · x cannot", {"d": done, "x": cannot})
        label = {
            "confirm": view.by or "what you see",
            "gear": "number on it",
            "person": "number of the person",
        }.get(view.kind, "number or words")
        text = self._ask(f"{label} > ")
        if view.kind == "confirm" and text.lower() == "x":
            text = "cannot"
        return self._key(text) or (
            Answer(step=view.step, said=(text,)) if text else self._say(f"Keys at every prompt: {KEYS}")
        )

    def _values(self, view: View) -> Intent | None:
        said: list[str] = []
        for number, point in enumerate(view.points, 1):
            text = self._ask(f"{number} of {len(view.points)}  {point} ({view.unit}, OL, x cannot) > ")
            if text.lower() == "x":
                return Answer(step=view.step, said=("cannot",))
            key = self._key(text)
            if key is not None:
                return key
            if not text:
                return self._say(f"A number in {view.unit}, or OL. Keys: {KEYS}")
            said.append(text)
        return Answer(step=view.step, said=tuple(said))

    def _hold(self) -> Intent | None:
        text = self._ask("1 go on · 2 make safe > ")
        if text in {"1", "2"}:
            person = self._ask("number of the qualified person > ").upper()
            why = self._ask("why, in a few words > ")
            return GoOn(person=person, why=why) if text == "1" else MakeSafe(person=person, why=why)
        return self._key(text)

    # -- keys at every prompt ---------------------------------------------------------------------------

    def _key(self, text: str) -> Intent | None:
        match text.lower():
            case "s":
                return self._stop_menu()
            case "b":
                return Stop(how="pause", why="break")
            case "p":
                return self._people()
            case "m":
                return self._instruments()
            case "c":
                return self._correct()
            case "f":
                return Found(words=self._ask("what did you find? > "))
            case "h":
                self._say(help_line(self.account().opened))
                self._ask("Enter goes on > ")
                return None
            case _:
                return None

    def _stop_menu(self) -> Intent:
        """emergency, unsafe, pause. A second Ctrl-C, or a lost terminal, is the stop 'unsafe'."""
        self.page.signal(
            "danger", "Stop. 1 emergency (somebody is hurt, fire) · 2 unsafe (something is wrong) · 3 break"
        )
        try:
            text = self._ask("1, 2 or 3 > ")
            how = {"1": "emergency", "3": "pause"}.get(text, "unsafe")
            if how == "emergency":
                show_emergency(self.console, self.account().opened)
            return Stop(how=how, why="" if how == "emergency" else self._ask("why, in a few words > "))
        except (BreakKeyError, HungUpError):
            return Stop(how="unsafe", why="stopped twice")

    def _people(self) -> Intent | None:
        text = self._ask("1 supervisor left · 2 another worker · 3 we left the site · 4 end of shift > ")
        match text:
            case "1":
                return Happened(event="supervisor left")
            case "2":
                return Happened(event="worker changed", who=self._ask("number of the new worker > ").upper())
            case "3":
                return Happened(event="left site")
            case "4":
                return Happened(event="shift ended")
            case _:
                return None

    def _instruments(self) -> Intent | None:
        slots = self.account().slots
        if not slots:
            return self._say("No instrument is in use yet.")
        names = tuple(slots)
        for number, slot in enumerate(names, 1):
            self.page.pair(f"  {number}", f"{slot.replace('-', ' ')}: {slots[slot]}", room=6)
        text = self._ask("which one? > ")
        if not text.isdigit() or not 1 <= int(text) <= len(names):
            return None
        slot = names[int(text) - 1]
        what = self._ask("1 it was found bad · 2 another one is used > ")
        return Happened(event=f"{slot} found bad") if what == "1" else Happened(event=f"{slot} changed")

    def _correct(self) -> Intent | None:
        account = self.account()
        steps = account.answered[-9:]
        if not steps:
            return self._say("Nothing was answered yet.")
        for number, step in enumerate(steps, 1):
            self.page.pair(f"  {number}", str(account.steps[step]["prompt"]), room=6)
        text = self._ask("which answer was wrong? > ")
        if not text.isdigit() or not 1 <= int(text) <= len(steps):
            return None
        return Correct(step=steps[int(text) - 1], why=self._ask("what is right, in a few words > "))
