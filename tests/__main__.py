"""`python -m tests`: what CI runs. Lint, types, facts with branch coverage of the inner rooms; prints what it ran."""

import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parent.parent
INNER = ("trade", "language", "chart", "record", "proof", "account", "store", "shop")
FLOOR = 90  # percent of branches in layers 0 to 3; DEVELOPERS.md says what is missing to 100


def run(*command: str) -> None:
    """One step; the run stops with the first that fails."""
    print("+", " ".join(command), flush=True)
    subprocess.run(command, cwd=ROOT, check=True, env={**os.environ, "PYTHONWARNINGS": "default"})


def main() -> int:
    """0 when every step passed."""
    python = sys.executable
    include = ",".join(f"*/ohmward/{room}/*" for room in INNER)
    try:
        run(python, "-m", "ruff", "check", ".")
        run(python, "-m", "mypy")
        run(python, "-m", "coverage", "run", "-m", "pytest", "-q", "tests/facts", *sys.argv[1:])
        run(python, "-m", "coverage", "report", f"--include={include}", f"--fail-under={FLOOR}")
    except subprocess.CalledProcessError as error:
        print(f"failed: {' '.join(error.cmd)}")
        return error.returncode
    return 0


if __name__ == "__main__":
    sys.exit(main())
