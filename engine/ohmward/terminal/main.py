"""The command line: arguments, exit codes, nothing else. Each command imports what it needs when it runs."""

import argparse
import os
import shutil
import sys
from collections.abc import Callable
from importlib import import_module

from ohmward import __version__
from ohmward.errors import DONE, FAILED, OhmwardError
from ohmward.terminal.arguments import GROUPS

Command = Callable[[argparse.Namespace], int]


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="ohmward",
        description="Walks people through live-electrical work one safety gate at a time, and keeps the proof.",
        epilog="Exit codes: 0 done, 1 the answer is no, 2 a file or an argument is wrong, 3 the store or the environment failed.",
    )
    parser.add_argument("--version", action="version", version=f"ohmward {__version__}")
    commands = parser.add_subparsers(dest="command", metavar="COMMAND", required=True)

    def add(name: str, text: str, *, shop: bool = True, json: bool = False) -> argparse.ArgumentParser:
        made = commands.add_parser(name, help=text, description=text)
        if shop:
            made.add_argument(
                "--shop", metavar="DIR", help="the shop's folder (default: OHMWARD_SHOP, else here)"
            )
        if json:
            made.add_argument("--json", action="store_true", help="the report as JSON on standard output")
        return made

    for group in GROUPS:
        group(add)
    return parser


_QUOTED = "   |"  # a line of a file in a message, or the caret below it
_COMMANDS = {
    "enrol": ("enrolling", "enrol"),
    "revoke": ("enrolling", "revoke"),
    "unlock": ("enrolling", "unlock"),
    "keys": ("enrolling", "keys"),
    "sign": ("anchoring", "sign"),
    "review": ("reviewing", "review"),
    "checkpoint": ("anchoring", "checkpoint"),
    "approve": ("approving", "approve"),
    "recall": ("approving", "recall"),
    "inspect": ("approving", "inspect"),
    "tour": ("tour", "tour"),
    "new": ("shops", "new"),
    "work": ("working", "work"),
    "answers": ("answers", "answers"),
    "resume": ("working", "resume"),
    "runs": ("records", "runs"),
    "export": ("records", "export"),
    "print": ("printing", "print_paper"),
    "verify": ("verifying", "verify"),
    "check": ("checking", "check"),
    "copy": ("copying", "copy"),
    "compare": ("comparing", "compare"),
    "draw": ("drawing", "draw"),
    "import": ("register", "import_csv"),
    "due": ("register", "due"),
    "reckon": ("reckoning", "reckon"),
    "match": ("reckoning", "match"),
    "ready": ("handing_over", "ready"),
    "machines": ("register", "machines"),
}


def _command(name: str) -> Command:
    """The command's own module is imported only now."""
    module, function = _COMMANDS[name]
    found: Command = getattr(import_module(f"ohmward.terminal.{module}"), function)
    return found


def main(arguments: list[str] | None = None) -> int:
    """Runs one command and returns its exit code."""
    options = _parser().parse_args(arguments)
    try:
        return _command(options.command)(options)
    except OhmwardError as error:
        sys.stderr.write(_told(_visible(str(error))))
        return error.exit_code
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return DONE
    except KeyboardInterrupt:
        sys.stderr.write("ohmward: stopped. An open run is taken up again with `ohmward resume`.\n")
        return FAILED


def _told(text: str) -> str:
    """A message, broken between words where somebody reads it; lines of a file with their carets stay whole."""
    lines = f"ohmward: {text}".split("\n")
    if sys.stderr.isatty():
        from ohmward.terminal.screen import wrapped

        width = max(40, shutil.get_terminal_size().columns - 1)
        parts = ([line] if line.startswith(_QUOTED) else wrapped(line.lstrip(), width, len(line) - len(line.lstrip()), 4) for line in lines)
        lines = [part for broken in parts for part in broken]
    return "\n".join([*lines, ""])


def _visible(text: str) -> str:
    return "".join(c if c.isprintable() or c == "\n" else "\ufffd" for c in text)


def run() -> None:
    """The console script."""
    sys.exit(main())
