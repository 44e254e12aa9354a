"""Views as text: one step a screen, understood without colour and without drawing characters."""

import shutil
import sys
from collections.abc import Mapping
from io import StringIO
from typing import Any

from rich.console import Console
from rich.style import Style
from rich.text import Text

from ohmward.language.nodes import inert
from ohmward.terminal.picture import strip_lines
from ohmward.work.screenful import View

# Signal words and colours follow ANSI Z535 / ISO 3864; the word always stands beside the colour.
_ANY = Console(file=StringIO(), width=80)  # breaking lines asks for one; nothing is written to it
DEEPEST = 16  # columns that a line begins to the right at most: on the narrowest screen 24 are left
SIGNAL_STYLES = {
    "danger": Style(color="white", bgcolor="red", bold=True),
    "warning": Style(color="black", bgcolor="orange1", bold=True),
    "caution": Style(color="black", bgcolor="yellow", bold=True),
    "notice": Style(color="white", bgcolor="blue", bold=True),
}
CAUTION = (
    "ohmward is an aid to trained people. It does not make anyone qualified and does not replace local code, the "
    "employer's programme, the equipment maker's instructions or licensed practice; where they differ, the stricter "
    "one holds. It says what was measured, by whom, with what, when; it never says that a part is dead or safe."
)
KEYS = "s stop · p people · m instruments · b break · c correct · f found something · n not on this machine · h help"


def safe_text(text: str) -> str:
    """One line, nothing in it that a terminal would obey."""
    return inert(" ".join(text.split()))


def wrapped(text: str, width: int, indent: int = 0, hanging: int = 0) -> list[str]:
    """Lines of so many columns, broken between words, never at the hyphen of an id or a number that somebody will type.

    One at least; a letter that takes two columns counts two.
    """
    room = width - indent - hanging
    first, *_ = _broken(text, width - indent)
    left = text[len(first) :].strip()
    rest = _broken(left, room) if left else []
    return [" " * indent + first, *(" " * (indent + hanging) + part for part in rest)]


def _broken(text: str, room: int) -> list[str]:
    return [line.plain.rstrip() for line in Text(text).wrap(_ANY, max(1, room))] or [""]


def say(*lines: str) -> None:
    """Lines of a report: whole where they are piped, broken between words where somebody reads them."""
    for text in lines:
        line = inert(text.replace("\n", " "))
        indent = len(line) - len(line.lstrip())
        width = max(40, shutil.get_terminal_size().columns - 1)
        print("\n".join(wrapped(line.lstrip(), width, min(indent, DEEPEST), 4)) if sys.stdout.isatty() else line)


class Page:
    """Collects lines at one width."""

    def __init__(self, console: Console) -> None:
        self.console = console
        self.width = max(40, min(console.width, 100))

    def line(self, text: str = "", style: str = "", indent: int = 0, hanging: int = 0) -> None:
        for part in wrapped(safe_text(text), self.width, min(indent, DEEPEST), hanging):
            self.console.print(Text(part, style=style), soft_wrap=True)

    def wipe(self) -> None:
        """Nothing of what stood here before can be read or scrolled back to. Piped output has no screen."""
        if self.console.file.isatty():
            self.console.file.write("\x1b[H\x1b[2J\x1b[3J")
            self.console.file.flush()

    def raw(self, text: str) -> None:
        """One line as it stands, blanks kept; nothing in it that a terminal would obey."""
        self.console.print(Text(inert(text)), soft_wrap=True)

    def pair(self, word: str, text: str, style: str = "", room: int = 11) -> None:
        """A word in a column of its own, then text that wraps beside it."""
        for number, part in enumerate(wrapped(safe_text(text), self.width - room)):
            head = Text(f"{word if number == 0 else '':<{room}}", style="bold" if number == 0 else "")
            self.console.print(Text.assemble(head, (part, style)), soft_wrap=True)

    def signal(self, word: str, text: str) -> None:
        for number, part in enumerate(wrapped(safe_text(text), self.width - 11)):
            room = Text(" " * 11)
            if number == 0:
                name = f" {word.upper()} "
                room = Text.assemble((name, SIGNAL_STYLES[word]), " " * (11 - len(name)))
            self.console.print(Text.assemble(room, (part, "bold")), soft_wrap=True)


def show_view(console: Console, view: View, *, title: str, rehearsal: bool) -> None:
    """One screen."""
    page = Page(console)
    page.line()
    mark = "REHEARSAL - does not count | " if rehearsal else ""
    page.line(f"{mark}{title}", style="bold")
    if view.number:
        page.line(
            f"step {view.number} of about {view.of}"
            + (
                f", for the gate: {view.for_gate} - question {view.question[0]} of at most {view.question[1]}"
                if view.for_gate
                else ""
            )
        )
    if view.each:
        page.line(view.each, style="bold")
    page.line()
    _mode(page, view)
    if view.signal:
        page.signal(view.signal, view.signal_text)
        page.line()
    page.line(view.prompt, style="bold")
    for text in view.lines:
        page.line(f"- {text}", indent=2)
    for word, text in view.shows:
        page.pair(word, text)
    _details(page, view)
    if view.mode == "ready" and view.options:
        page.line("afterwards you tell which it was")
    for number, option in enumerate(view.options, 1):
        page.pair(f"  {number}", option, room=6)


def _details(page: Page, view: View) -> None:
    for line in strip_lines(view, page.width - 11):
        page.raw(" " * 11 + line)
    for word, text in (
        ("probes", view.strip_words),
        ("why", view.why),
        ("usual", view.expect),
        ("before", view.earlier),
        ("handle", view.handle),
        ("by two", f"you, then {view.second}; neither sees what the other read" if view.second else ""),
        ("basis", "; ".join(view.basis)),
    ):
        if text:
            page.pair(word, text)
    if view.where:
        page.pair("place", f"{view.where}. Tier {view.tier.upper()}: {view.tier_why}")
    _gates(page, view)
    for number, text in enumerate(view.computed):
        page.pair("judged is" if number == 0 else "", text)
    for number, limit in enumerate(view.limits):
        page.pair("limits" if number == 0 else "", limit)
    for work in view.workings:
        page.pair("worked out", f"{work.name}: {work.words}; {work.inputs}; = {work.ending} [{work.source}]")


def _mode(page: Page, view: View) -> None:
    match view.mode:
        case "ready":
            page.line("READY? Not begun yet.", style="bold")
        case "doing":
            page.line("BEGUN. Do it now, then tell how it came out.", style="bold")
        case "late":
            page.signal(
                "warning",
                "A gate that this needs was lost. Hands and probes out first. Then tell how it came out.",
            )
        case "hold":
            page.signal("notice", "The run waits for a qualified person.")
        case "safe":
            page.line("MAKING SAFE", style="bold")
        case "reconcile":
            page.signal("notice", view.title)
        case _:
            return
    page.line()


def _gates(page: Page, view: View) -> None:
    if not view.gates:
        return
    if view.mode == "doing" and all(g.state in {"held", "not needed"} for g in view.gates):
        page.pair("gates", f"all {len(view.gates)} held")
        return
    page.line("gates that must be held", style="bold")
    for gate in view.gates:
        more = ", ".join(
            part for part in (gate.of, gate.left, gate.why if gate.state != "held" else "") if part
        )
        page.pair(f"  {gate.state}", gate.title + (f" ({more})" if more else ""), room=13)


def show_emergency(console: Console, opened: Mapping[str, Any]) -> None:
    """The first screen of an emergency: nothing to read before what saves."""
    page = Page(console)
    job = opened["job"]
    page.line()
    page.signal("danger", "Do not touch the person until the power is off.")
    page.pair("cut power", job["emergency"]["cut_power"])
    page.pair("call", job["emergency"]["call"])
    page.pair("address", f"{job['site']}, {job['address']}")
    page.line("When it is off and they do not breathe: call, press the chest, fetch the defibrillator.")


def help_line(opened: Mapping[str, Any]) -> str:
    """One line to read out on the telephone."""
    job = opened["job"]
    return f"Read this out: we are at {job['site']}, {job['address']}, working on {job['equipment']}; power is cut at: {job['emergency']['cut_power']}. Call {job['emergency']['call']}."
