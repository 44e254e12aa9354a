"""What somebody types at a real terminal: what was typed too early, keys that are no text, passphrases in the wrong place."""

import fcntl
import os
import pty
import select
import struct
import termios
import threading
import time

import pytest

from ohmward.terminal.keys import BreakKeyError, HungUpError, LineReader

ENOUGH = 10  # seconds after which nothing more is waited for


class Terminal:
    """The two ends of a terminal: what is typed and seen at one, a line reader at the other."""

    def __init__(self):
        self.outer, self.inner = pty.openpty()
        fcntl.ioctl(self.inner, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 100, 0, 0))
        self.seen = b""
        self.input = os.fdopen(os.dup(self.inner), "r", encoding="utf-8")
        self.output = os.fdopen(os.dup(self.inner), "w", encoding="utf-8")
        self.reader = LineReader(self.input, self.output)
        self.result = []

    def ask(self, read, prompt):
        """Begins to read, and waits until the prompt stands on the screen."""

        def work():
            try:
                self.result.append(read(prompt))
            except (BreakKeyError, HungUpError) as error:
                self.result.append(type(error))

        self.thread = threading.Thread(target=work, daemon=True)
        self.thread.start()
        self.see(prompt)

    def see(self, text):
        """Waits until a text stands on the screen; what came until then is taken off."""
        end = time.monotonic() + ENOUGH
        while text.encode() not in self.seen and time.monotonic() < end:
            if select.select([self.outer], [], [], 0.1)[0]:
                self.seen += os.read(self.outer, 4096)
        assert text.encode() in self.seen, self.seen
        before, _, self.seen = self.seen.partition(text.encode())
        return before

    def type(self, keys):
        time.sleep(0.1)  # the reader throws away what was typed before its prompt
        os.write(self.outer, keys)
        self.typed = keys

    def answer(self):
        """What was read; typed again where the machine was so slow that it was thrown away as too early."""
        for _ in range(5):
            self.thread.join(ENOUGH / 5)
            if self.result:
                return self.result.pop()
            os.write(self.outer, self.typed)
        raise AssertionError("nothing was read")


@pytest.fixture
def terminal():
    made = Terminal()
    yield made
    for stream in (made.input, made.output):
        stream.close()
    os.close(made.outer)
    os.close(made.inner)


@pytest.mark.parametrize(
    ("keys", "line"),
    [
        (b"24 V\r", "24 V"),
        (b"  24 V \n", "24 V"),
        (b"25\x7f4 V\r", "24 V"),
        (b"\x7f\x08a\r", "a"),
        (b"a\x1b[Ab\r", "ab"),
        (b"\x01\x02ok\r", "ok"),
        ("Brändl\r".encode(), "Brändl"),
        ("ä\x7fa\r".encode(), "a"),
        (b"no\x03", BreakKeyError),
        (b"no\x04", HungUpError),
    ],
)
def test_a_line_is_what_was_typed_at_its_prompt(terminal, keys, line):
    terminal.ask(terminal.reader.read, "> ")
    for part in ([keys] if b"\x1b" not in keys else [keys[:4], keys[4:]]):
        terminal.type(part)
    assert terminal.answer() == line


def test_what_was_typed_before_the_question_answers_nothing(terminal):
    os.write(terminal.outer, b"dead\r")
    terminal.ask(terminal.reader.read, "Is it dead? > ")
    terminal.type(b"no\r")
    assert terminal.answer() == "no"


def test_a_passphrase_is_not_shown_while_it_is_typed(terminal):
    terminal.ask(terminal.reader.read_secret, "Passphrase > ")
    terminal.type(b"four quite plain words\r")
    assert terminal.answer() == "four quite plain words"
    terminal.ask(terminal.reader.read, "next > ")
    terminal.type(b"x\r")
    assert terminal.answer() == "x"
    assert b"plain" not in terminal.seen


def test_a_passphrase_where_an_answer_belongs_is_not_taken_and_the_question_is_asked_again(terminal):
    terminal.ask(terminal.reader.read_secret, "Passphrase > ")
    terminal.type(b"five quite plain good words\r")
    terminal.answer()
    another = LineReader(terminal.input, terminal.output)
    terminal.ask(another.read, "Number on the tag > ")
    terminal.type(b"five quite plain good words\r")
    terminal.see("That was a passphrase; it is not kept.")
    terminal.see("Number on the tag > ")
    terminal.type(b"T-14\r")
    assert terminal.answer() == "T-14"


def test_what_is_shorter_than_a_passphrase_stays_an_answer(terminal):
    terminal.ask(terminal.reader.read_secret, "Passphrase > ")
    terminal.type(b"T-14\r")
    terminal.answer()
    terminal.ask(terminal.reader.read, "Number on the tag > ")
    terminal.type(b"T-14\r")
    assert terminal.answer() == "T-14"


def test_a_passphrase_is_asked_again_like_any_other(terminal):
    for _ in range(2):
        terminal.ask(terminal.reader.read_secret, "Passphrase > ")
        terminal.type(b"six quite plain and good words\r")
        assert terminal.answer() == "six quite plain and good words"
