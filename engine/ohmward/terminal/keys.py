"""Reading a line so that nobody answers a safety question in advance: what was typed before is thrown away."""

import contextlib
import os
import select
import sys
import termios
import tty
from collections.abc import Iterator
from hashlib import blake2b
from textwrap import wrap
from typing import TextIO

from ohmward.shop.keyfile import SHORTEST


class HungUpError(Exception):
    """The terminal is gone."""


class BreakKeyError(Exception):
    """Ctrl-C: stop."""


class TypedSecrets:
    """What was typed without echo while this process runs, as digests under a key of its own: nobody's answer."""

    def __init__(self) -> None:
        self._key = os.urandom(32)
        self._known: set[bytes] = set()

    def add(self, text: str) -> None:
        if len(text) >= SHORTEST:  # a shorter line is no passphrase, and may well be an answer
            self._known.add(self._digest(text))

    def __contains__(self, text: str) -> bool:
        return self._digest(text) in self._known

    def _digest(self, text: str) -> bytes:
        return blake2b(text.encode(), key=self._key).digest()


_TYPED = TypedSecrets()
NOT_TAKEN = "  That was a passphrase; it is not kept. Clear the screen, and take another if somebody saw it."


class LineReader:
    """A line reader on a terminal, with echo, backspace, Ctrl-C as stop and end of file as a hang-up."""

    def __init__(self, stream: TextIO = sys.stdin, out: TextIO = sys.stdout) -> None:
        self.fd = stream.fileno()
        self.out = out
        self.silent = False

    @contextlib.contextmanager
    def _raw(self) -> Iterator[None]:
        before = termios.tcgetattr(self.fd)
        try:
            tty.setcbreak(self.fd)
            mode = termios.tcgetattr(self.fd)
            mode[3] &= ~termios.ISIG
            termios.tcsetattr(self.fd, termios.TCSAFLUSH, mode)  # drops type-ahead
            yield
        finally:
            termios.tcsetattr(self.fd, termios.TCSAFLUSH, before)

    def read(self, prompt: str) -> str:
        """One line, stripped; a passphrase where an answer belongs is not taken. Raises BreakKeyError, HungUpError."""
        while (line := self._read(prompt)) in _TYPED:
            self._echo(self._broken(NOT_TAKEN) + "\n")
        return line

    def _read(self, prompt: str) -> str:
        with self._raw():
            self.out.write(self._broken(prompt))
            self.out.flush()
            termios.tcflush(self.fd, termios.TCIFLUSH)
            return self._line()

    def _broken(self, prompt: str) -> str:
        """A prompt longer than the line, broken between words and not within one."""
        try:
            width = os.get_terminal_size(self.out.fileno()).columns
        except (OSError, ValueError):
            return prompt
        kept = prompt.rstrip(" ")
        lines = wrap(kept, max(20, width - 12)) if len(prompt) >= width else [kept]
        return "\n".join(lines) + " " * (len(prompt) - len(kept))

    def read_secret(self, prompt: str) -> str:
        """One line that is not shown. Raises BreakKeyError, HungUpError."""
        self.silent = True
        try:
            line = self._read(prompt)
            _TYPED.add(line)
            return line
        finally:
            self.silent = False
            self._echo("\n")

    def _line(self) -> str:
        typed = bytearray()
        while True:
            key = self._key()
            if key in {b"\r", b"\n"}:
                self._echo("\n")
                return typed.decode("utf-8", errors="replace").strip()
            self._edit(key, typed)

    def _edit(self, key: bytes, typed: bytearray) -> None:
        match key:
            case b"\x03":
                self._echo("\n")
                raise BreakKeyError
            case b"\x04":
                raise HungUpError
            case b"\x7f" | b"\x08":
                self._rub(typed)
            case b"\x1b":
                self._swallow()
            case _ if key >= b" " and len(typed) < 1200:
                self._add(key, typed)
            case _:
                pass

    def _add(self, key: bytes, typed: bytearray) -> None:
        """A byte of UTF-8; a character is shown once it is whole."""
        typed += key
        text = typed.decode("utf-8", errors="ignore")
        if len(text.encode()) == len(typed):
            self._echo(text[-1:])

    def _key(self) -> bytes:
        try:
            key = os.read(self.fd, 1)
        except OSError:
            raise HungUpError from None
        if not key:
            raise HungUpError
        return key

    def _swallow(self) -> None:
        """An escape sequence (arrow keys) is not text."""
        while select.select([self.fd], [], [], 0.02)[0]:
            self._key()

    def _rub(self, typed: bytearray) -> None:
        text = typed.decode("utf-8", errors="ignore")
        if text:
            typed[:] = text[:-1].encode()
            self._echo("\b \b")

    def _echo(self, text: str) -> None:
        if self.silent:
            return
        self.out.write(text)
        self.out.flush()
