"""`python -m ohmward`."""

from ohmward.terminal.main import run

run()
