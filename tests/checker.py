"""SPIN, a model checker that shares no code with this project, on a chart that was written out as Promela."""

import re
import shutil
import subprocess
import tempfile
from pathlib import Path

from ohmward.proof.promela import to_promela

FLAGS = ("-w", "-DSAFETY", "-DNOREDUCE")  # one process: nothing to reduce. tcc compiles in no time, which is most of it else


def spin(table, asked, credit, forgetting=None):
    """(stored states without the one before the beginning, rules broken). Fails loudly where SPIN does not finish."""
    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / "chart.pml").write_text(to_promela(table, asked, credit, forgetting))
        run(folder, "spin", "-a", "chart.pml")
        run(folder, "tcc", *FLAGS, "-o", "pan", "pan.c")
        said = run(folder, "./pan", "-m500000", "-w20")
    stored = re.search(r"(\d+) states, stored", said)
    assert stored is not None, said
    assert "errors: 0" in said, said
    assert "max search depth too small" not in said, said
    broken = {line.removeprefix("broken: ") for line in said.splitlines() if line.startswith("broken: ")}
    return int(stored[1]) - 1, broken


def run(folder, *command):
    """What a command printed. Raises for one that failed, with what it said."""
    if shutil.which(command[0]) is None and not command[0].startswith("."):
        raise AssertionError(f"{command[0]} is not installed: `python -m tests` installs it, or apt-get install spin tcc")
    done = subprocess.run(command, cwd=folder, capture_output=True, text=True, check=False)
    if done.returncode or "Error" in done.stdout[:2000]:
        raise AssertionError(f"{' '.join(command)}: {done.stdout[-2000:]}{done.stderr[-2000:]}")
    return done.stdout
