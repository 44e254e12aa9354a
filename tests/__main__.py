"""`python -m tests`: what CI runs. Lint, types, facts with branch coverage of the inner rooms; prints what it ran."""

import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).parent.parent
INNER = ("trade", "language", "chart", "record", "proof", "account", "store", "shop")
COMMANDS = {"poppler-utils": "pdfsig", "libnss3-tools": "certutil"}  # where a package is not called as its command
FLOOR = 95  # percent of branches in layers 0 to 3; DEVELOPERS.md says what is missing to 100


def start(*command: str, log: Path | None = None) -> subprocess.Popen[bytes]:
    """Begins one step; its output goes to the terminal or to a file."""
    print("+", " ".join(command), flush=True)
    out = log.open("wb") if log else None
    return subprocess.Popen(command, cwd=ROOT, stdout=out, stderr=subprocess.STDOUT if out else None)


def run(*command: str) -> None:
    """One step; the run stops with the first that fails."""
    code = start(*command).wait()
    if code:
        print(f"failed: {' '.join(command)}")
        sys.exit(code)


def install(*packages: str) -> None:
    """The system's packages whose commands a test runs; as root, or through sudo."""
    missing = [p for p in packages if shutil.which(COMMANDS.get(p, p)) is None]
    if missing:
        root = () if os.geteuid() == 0 else ("sudo",)
        run(*root, "apt-get", "update", "-qq")
        run(*root, "apt-get", "install", "-y", "-qq", "--no-install-recommends", *missing)


def half(*, first: bool) -> list[str]:
    """The files of the long searches that run beside the rest, or after it."""
    later = {"test_tampering.py", "test_seal.py", "test_review.py", "test_trade_laws.py", "test_trips.py", "test_witnesses.py"}
    files = sorted((ROOT / "tests" / "facts").glob("test_*.py"))
    return [str(f.relative_to(ROOT)) for f in files if (f.name not in later) is first]


def main() -> None:
    """Lint, types, then the facts on two cores: long searches beside the rest under coverage, other long ones after it."""
    python = sys.executable
    include = ",".join(f"*/ohmward/{room}/*" for room in INNER)
    install("spin", "tcc", "qpdf", "poppler-utils", "libnss3-tools", "jq", "openssl")
    run(python, "-m", "ruff", "check", ".")
    run(python, "-m", "mypy")
    with tempfile.TemporaryDirectory() as folder:
        log = Path(folder) / "long.txt"
        second = Path(folder) / "second.txt"
        long = start(python, "-m", "pytest", "-q", "-m", "long", *half(first=True), *sys.argv[1:], log=log)
        rest = None
        try:
            run(python, "-m", "coverage", "run", "-m", "pytest", "-q", "-m", "not long and not longer", "tests/facts", *sys.argv[1:])
            run(python, "-m", "coverage", "report", f"--include={include}", f"--fail-under={FLOOR}")
            rest = start(python, "-m", "pytest", "-q", "-m", "long", *half(first=False), *sys.argv[1:], log=second)
            code = rest.wait() or long.wait()
        finally:
            for process, text in ((long, log), (rest, second)):
                if process is not None:
                    process.kill()
                    print(text.read_text(errors="replace"), flush=True)
    sys.exit(code)


if __name__ == "__main__":
    main()
