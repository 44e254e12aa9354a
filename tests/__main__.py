"""`python -m tests`: what CI runs. Lint, types, facts with branch coverage of the inner rooms; prints what it ran."""

import os
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).parent.parent
INNER = ("trade", "language", "chart", "record", "proof", "account", "store", "shop")
COMMANDS = {"poppler-utils": "pdfsig", "libnss3-tools": "certutil"}  # where a package is not called as its command
FLOOR = 98  # percent of branches in layers 0 to 3; DEVELOPERS.md says what is missing to 100


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


# Files that are about terminals, pages and whole shops: every fact of theirs, without coverage.
WHOLE = ("test_approval.py", "test_doors.py", "test_review.py", "test_signed_work.py")
GROUPS = (  # files of the other long searches, so that both cores have work to the end
    ("test_tampering.py",),
    ("test_recipe.py",),
    ("test_seal.py", "test_trade_laws.py", "test_trips.py", "test_witnesses.py"),
)


def facts(*, but: tuple[str, ...]) -> list[str]:
    """Every file of facts but these."""
    files = sorted((ROOT / "tests" / "facts").glob("test_*.py"))
    return [str(f.relative_to(ROOT)) for f in files if f.name not in but]


def parts() -> list[tuple[str, list[str]]]:
    """What runs beside and after the covered facts: (marks, files), the longest first."""
    named = tuple(name for names in GROUPS for name in names)
    below = "tests/facts/"
    return [
        ("long", facts(but=(*WHOLE, *named))),
        ("not longer", [below + name for name in WHOLE]),
        *(("long", [below + name for name in names]) for names in GROUPS),
    ]


class Beside:
    """Parts that run in processes of their own, at most so many at a time; the output of each stands in a file."""

    def __init__(self, folder: Path, waiting: list[tuple[str, list[str]]]) -> None:
        self.folder, self.waiting = folder, waiting
        self.running: list[tuple[subprocess.Popen[bytes], Path]] = []
        self.codes: list[int] = []

    def keep(self, count: int) -> None:
        """Collects what has ended, and starts what waits until so many run."""
        for process, log in [r for r in self.running if r[0].poll() is not None]:
            self.running.remove((process, log))
            self.codes.append(process.returncode)
            print(log.read_text(errors="replace"), flush=True)
        while self.waiting and len(self.running) < count:
            marks, files = self.waiting.pop(0)
            log = self.folder / f"part{len(self.waiting)}.txt"
            self.running.append((start(sys.executable, "-m", "pytest", "-q", "-m", marks, *files, *sys.argv[1:], log=log), log))

    def end(self) -> None:
        for process, log in self.running:
            process.kill()
            print(log.read_text(errors="replace"), flush=True)


def passed(code: int) -> bool:
    """5 is that none was chosen, which is all right where only a part was asked for."""
    return code == 0 or (code == 5 and bool(sys.argv[1:]))


def main() -> None:
    """Lint, types, then the facts on two cores: the covered ones on one, all other parts on whichever is free."""
    python = sys.executable
    include = ",".join(f"*/ohmward/{room}/*" for room in INNER)
    install("spin", "tcc", "qpdf", "poppler-utils", "libnss3-tools", "jq", "openssl")
    run(python, "-m", "ruff", "check", ".")
    run(python, "-m", "mypy")
    with tempfile.TemporaryDirectory() as name:
        beside = Beside(Path(name), parts())
        try:
            beside.keep(1)
            covered = start(python, "-m", "coverage", "run", "-m", "pytest", "-q", "-m", "not long and not longer", *facts(but=WHOLE), *sys.argv[1:])
            while covered.poll() is None:
                time.sleep(0.5)
                beside.keep(1)
            code = covered.returncode
            if passed(code):
                run(python, "-m", "coverage", "report", f"--include={include}", f"--fail-under={0 if sys.argv[1:] else FLOOR}")
            while beside.running or beside.waiting:
                beside.keep(2)
                time.sleep(0.5)
        finally:
            beside.end()
    sys.exit(0 if all(map(passed, [code, *beside.codes])) else 1)


if __name__ == "__main__":
    main()
