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


GROUPS = (  # files of the long searches: the others beside the covered facts, then these two side by side
    ("test_tampering.py", "test_review.py"),
    ("test_seal.py", "test_trade_laws.py", "test_trips.py", "test_witnesses.py"),
)


def files_of(group: int) -> list[str]:
    """The files of one group; -1 for all that are in none."""
    named = {name for names in GROUPS for name in names}
    files = sorted((ROOT / "tests" / "facts").glob("test_*.py"))
    chosen = [f for f in files if (f.name not in named if group < 0 else f.name in GROUPS[group])]
    return [str(f.relative_to(ROOT)) for f in chosen]


def start_long(group: int, folder: Path) -> tuple[subprocess.Popen[bytes], Path]:
    """One group of long facts; its output goes to a file."""
    log = folder / f"long{group}.txt"
    return start(sys.executable, "-m", "pytest", "-q", "-m", "long", *files_of(group), *sys.argv[1:], log=log), log


def passed(code: int) -> bool:
    """5 is that none was chosen, which is all right where only a part was asked for."""
    return code == 0 or (code == 5 and bool(sys.argv[1:]))


def main() -> None:
    """Lint, types, then the facts on two cores: long searches beside the rest under coverage, the other long ones after it."""
    python = sys.executable
    include = ",".join(f"*/ohmward/{room}/*" for room in INNER)
    install("spin", "tcc", "qpdf", "poppler-utils", "libnss3-tools", "jq", "openssl")
    run(python, "-m", "ruff", "check", ".")
    run(python, "-m", "mypy")
    with tempfile.TemporaryDirectory() as name:
        running = [start_long(-1, Path(name))]
        try:
            run(python, "-m", "coverage", "run", "-m", "pytest", "-q", "-m", "not long and not longer", "tests/facts", *sys.argv[1:])
            run(python, "-m", "coverage", "report", f"--include={include}", f"--fail-under={0 if sys.argv[1:] else FLOOR}")
            running += [start_long(group, Path(name)) for group in range(len(GROUPS))]
            codes = [process.wait() for process, _ in running]
        finally:
            for process, log in running:
                process.kill()
                print(log.read_text(errors="replace"), flush=True)
    sys.exit(0 if all(map(passed, codes)) else 1)


if __name__ == "__main__":
    main()
