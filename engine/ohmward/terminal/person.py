"""Intents from a person at a terminal."""

from collections.abc import Callable
from datetime import datetime

from rich.console import Console

from ohmward.account.pair import by_two, decides_already, leads_away
from ohmward.account.state import Account
from ohmward.language.effects import SECOND_LEFT
from ohmward.terminal.edge import utc_now
from ohmward.terminal.keys import BreakKeyError, HungUpError
from ohmward.terminal.screen import KEYS, Page, help_line, show_emergency, show_view
from ohmward.terminal.values import hand_over, is_value, typed_wrong
from ohmward.work.intents import (
    Answer,
    Begin,
    Correct,
    Found,
    GoOn,
    Happened,
    Intent,
    LeaveOut,
    MakeSafe,
    Retyped,
    Stop,
)
from ohmward.work.screenful import View
from ohmward.work.session import Told

Read = Callable[[str], str]


def is_key(text: str) -> bool:
    """Whether a text is one of the keys that mean the same at every prompt."""
    return len(text) == 1 and text.lower() in "sbpmcfnh"


class PersonAnswers:
    """One screen, one question; single letters are keys at every prompt."""

    def __init__(
        self,
        console: Console,
        read: Read,
        account: Callable[[], Account],
        *,
        keep_picture: Callable[[str], str],
        resumed: bool = False,
        clock: Callable[[], datetime] = utc_now,
    ) -> None:
        self.console, self.read, self.account, self.resumed = console, read, account, resumed
        self.keep_picture = keep_picture
        self.page = Page(console)
        self.hung_up = False
        self.clock = clock
        self.hides = False  # whether what stands on the screen now is wiped before the next question

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
        if self.hides:
            self.page.wipe()  # what was shown to sign
            self.hides = False
        for message in told.messages:
            self.page.signal("notice" if told.taken else "caution", message)

    def _next(self, view: View) -> Intent | None:
        if self.resumed:
            self.resumed = False
            return self._who_stayed()
        account = self.account()
        data = account.table.data
        show_view(self.console, view, title=str(data["title"]), rehearsal=account.rehearsal)
        self.page.line()
        self.page.line(KEYS)
        match view.mode:
            case "ready":
                return self._word("g begin", {"g": Begin(step=view.step)})
            case "hold":
                return self._hold(view)
            case "safe" if view.kind == "safe-hands":
                cannot = Answer(step=view.step, said=("cannot",))
                return self._word(
                    "g begin · x cannot", {"g": Begin(step=view.step), "x": cannot, "1": cannot}
                )
            case _:
                return self._answer(view)

    def _who_stayed(self) -> Intent | None:
        """A break that nobody tells about would keep gates that it took."""
        self.page.signal("notice", "Taken up again. Look how everything stands before you go on.")
        events = {"1": "", "2": "left site", "3": "worker changed", "4": "supervisor left"}
        if self._second_key():
            events["5"] = SECOND_LEFT
        prompt = f"1 everybody stayed here · 2 we left the site · 3 another worker · 4 supervisor left{self._second_key()} > "
        while (text := self._ask(prompt)) not in events:
            pass
        event = events[text]
        if not event:
            return None
        who = self._ask("number of the new worker > ").upper() if event == "worker changed" else ""
        return Happened(event=event, who=who)

    def _word(self, keys: str, meaning: dict[str, Intent]) -> Intent | None:
        text = self._ask(f"{keys} > ")
        if text.lower() in meaning:
            return meaning[text.lower()]
        return self._key(text) if is_key(text) else self._say(f"Keys here: {keys} · {KEYS}")

    def _say(self, text: str) -> Intent | None:
        self.page.signal("notice", text)
        return None

    def _ask(self, prompt: str) -> str:
        return self.read(prompt)

    def _answer(self, view: View) -> Intent | None:
        if view.kind == "reading":
            return self._values(view)
        if view.several:
            return self._each(view)
        cannot = Answer(step=view.step, said=("cannot",))
        if view.kind == "action" or view.options == ("done", "cannot"):
            done = Answer(step=view.step, said=("done",))
            more = {"1": done, "2": cannot} if view.options else {}
            return self._word("d done · x cannot", {"d": done, "x": cannot, **more})
        label = {
            "confirm": f"{view.by or 'what you see'} (x cannot)",
            "gear": "number on it, or its place in the list",
            "person": "id, or place in the list",
            "sign": "id of the one who signs",
            "fact": f"{view.unit or 'what it says'} (x cannot be read)",
            "photo": "file of the picture (x no picture)",
        }.get(view.kind, "number or words")
        text = self._ask(f"{label} > ")
        if view.kind in {"confirm", "fact", "photo"} and text.lower() == "x":
            return cannot
        if is_key(text):
            return self._key(text)
        if view.kind == "photo" and text:
            return self._photo(view, text)
        return Answer(step=view.step, said=(text,)) if text else self._say(f"Keys at every prompt: {KEYS}")

    def _each(self, view: View) -> Intent | None:
        """One answer for each of several supplies."""
        said: list[str] = []
        meaning = {"d": "done", "x": "cannot"} if not view.options else {}
        while len(said) < len(view.several):
            keys = "number or words" if view.options else "d done · x cannot"
            text = self._ask(f"{len(said) + 1} of {len(view.several)}  {view.several[len(said)]}: {keys} > ")
            if is_key(text) and text.lower() not in meaning:
                intent = self._key(text)
                if intent is not None:
                    return intent
            elif text:
                said.append(meaning.get(text.lower(), text))
        return Answer(step=view.step, said=tuple(said))

    def _photo(self, view: View, text: str) -> Intent | None:
        """A picture file, kept by its digest; the record carries the digest."""
        try:
            return Answer(step=view.step, said=(self.keep_picture(text),))
        except OSError as error:
            return self._say(f"{text}: cannot be read ({error.strerror}). Name the file, or x.")

    def _values(self, view: View) -> Intent | None:
        if view.second:
            return self._by_two(view)
        said = self._points(view)
        if not isinstance(said, tuple):
            return said
        away = leads_away(self.account(), view.step, said, self.clock().date().isoformat())
        if away and typed_wrong(self.page, self.read, view, said, away):
            return Retyped(step=view.step, said=said)
        return Answer(step=view.step, said=said)

    def _by_two(self, view: View) -> Intent | None:
        """What one reads is gone from the screen before the other looks at it, and before anything else is said."""
        self.hides = True
        try:
            said = self._points(view)
            taken = self.clock()
            if not isinstance(said, tuple):
                return said
            if decides_already(self.account(), view.step, said, taken.date().isoformat()):
                return Answer(step=view.step, said=said)
            hand_over(self.page, self.read, view, self.account())
            second = self._points(view, f"{view.second}: ")
        finally:
            self.page.wipe()
        if isinstance(second, Answer):
            return Answer(step=view.step, said=said, second=("cannot",))
        return Answer(step=view.step, said=said, second=second, taken=taken) if isinstance(second, tuple) else second

    def _points(self, view: View, who: str = "") -> tuple[str, ...] | Intent:
        """A value for each point, or what was meant instead."""
        said: list[str] = []
        while len(said) < len(view.points):
            head = f"{who}{len(said) + 1} of {len(view.points)}  {view.points[len(said)]}"
            text = self._ask(f"{head} ({view.unit}, OL, x cannot) > ")
            if text.lower() == "x":
                return Answer(step=view.step, said=("cannot",))
            intent = self._key(text) if is_key(text) else None
            if intent is not None:
                return intent
            if not text or (view.second and not (is_key(text) or is_value(text, view.unit))):
                self._say(f"A number in {view.unit}, or OL. Keys: {KEYS}")
            elif not is_key(text):
                said.append(text)
                if self._live_already(view, said, second=bool(who)):
                    break
        return tuple(said)

    def _live_already(self, view: View, said: list[str], *, second: bool) -> bool:
        """A value that takes a belief back ends the reading: hands and probes come out, nothing further is read."""
        account, day = self.account(), self.clock().date().isoformat()
        if second or not decides_already(account, view.step, said, day):
            return False
        self.page.signal("warning", "That is not what must be here. Hands and probes out; nothing more is read.")
        return True

    def _hold(self, view: View) -> Intent | None:
        ways: dict[str, type[GoOn | MakeSafe | LeaveOut]] = {"1": GoOn, "2": MakeSafe}
        if len(view.options) > 2:
            ways["3"] = LeaveOut
        words = " · ".join(f"{n} {text}" for n, text in enumerate(view.options, 1))
        text = self._ask(f"{words} > ")
        if text not in ways:
            return self._key(text) if is_key(text) else None
        person = self._ask("id of the qualified person (empty: back) > ").upper()
        if not person:
            return None
        why = self._ask("why, in a few words > ")
        return ways[text](person=person, why=why)

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
            case "f" | "n" | "h":
                return self._words(text.lower())
            case _:
                return None

    def _words(self, key: str) -> Intent | None:
        """Something found, something that is not here, the line to read out for help."""
        if key == "h":
            self._say(help_line(self.account().opened))
            self._ask("Enter goes on > ")
            return None
        if key == "f":
            words = self._ask("what did you find? The run then waits for a qualified person (empty: back) > ")
            return Found(words=words) if words else None
        words = self._ask("what is not on this machine, and how do you know? (empty: back) > ")
        return Found(words=f"not on this machine: {words}") if words else None

    def _two_read(self) -> bool:
        """Whether a reading by two stands open: then nobody is told what was read."""
        account = self.account()
        return by_two(account.steps.get(account.table.node(account.position).step, {}))

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

    def _second_key(self) -> str:
        return " · 5 the second person left" if self.account().second else ""

    def _people(self) -> Intent | None:
        second = self._second_key()
        text = self._ask(
            f"1 supervisor left · 2 another worker · 3 we left the site · 4 end of shift{second} > "
        )
        match text:
            case "5" if second:
                return Happened(event=SECOND_LEFT)
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
        known = {"1": f"{slot} found bad", "2": f"{slot} changed"}
        return Happened(event=known[what]) if what in known else None

    def _correct(self) -> Intent | None:
        account = self.account()
        steps = account.answered[-9:]
        if not steps:
            return self._say("Nothing was answered yet.")
        for number, step in enumerate(steps, 1):
            said = next((e.said for e in account.entries[::-1] if e.step == step and e.said), "")
            said = "not shown while two read" if said and self._two_read() else said
            self.page.pair(f"  {number}", f"{account.steps[step]['prompt']} - {said}", room=6)
        text = self._ask("which answer was wrong? (empty: back) > ")
        if not text.isdigit() or not 1 <= int(text[:4]) <= len(steps):
            return None
        self._say(
            "A correction loses every gate. The run goes back to that step, or makes safe where the machine no longer stands as it did there."
        )
        why = self._ask("what is right, in a few words (empty: back) > ")
        return Correct(step=steps[int(text) - 1], why=why) if why else None
