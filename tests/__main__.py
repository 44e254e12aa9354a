"""`python -m tests`: what CI runs. Lint, types, facts with branch coverage of the inner rooms; prints what it ran."""

import os
import shutil
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parent.parent
INNER = ("trade", "language", "chart", "record", "proof", "account", "store", "shop")
COMMANDS = {"poppler-utils": "pdfsig", "libnss3-tools": "certutil"}  # where a package is not called as its command
FLOOR = 99  # percent of branches in layers 0 to 3; DEVELOPERS.md says what is missing to 100


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


# Files about terminals, pages, whole shops and people at work: the rooms of charts and proof are not watched there.
AT_WORK = (
    "test_approval.py", "test_doors.py", "test_forged_answers.py", "test_keys.py", "test_paper.py", "test_ready.py", "test_review.py", "test_seal.py",
    "test_shop.py", "test_signed_work.py", "test_two_readers.py", "test_used.py", "test_work.py",
)  # fmt: skip
RULES = ("test_gate_rules.py", "test_planted.py")  # hundreds of files with one defect each: of the proof only what is no search is watched
SPIN = ("test_second_opinion.py",)
WITNESSES = ("test_trade_laws.py", "test_trips.py", "test_witnesses.py")
GROUPS = (("test_recipe.py",), ("test_tampering.py",))  # short ones at the end, so that both cores have work until then
SEARCHES = tuple(f"*/proof/{name}.py" for name in ("explore", "leaps", "covering", "cover", "forget", "search"))


@dataclass(frozen=True)
class Part:
    """Facts that run in a process of their own. `rooms`: what is watched meanwhile, which slows it; `spared`: files there that are not."""

    marks: str
    files: tuple[str, ...]
    rooms: tuple[str, ...] = ()
    spared: tuple[str, ...] = ()

    def command(self, data: Path) -> tuple[str, ...]:
        """The process, its findings to be kept in `data`."""
        watched = ",".join(f"ohmward.{room}" for room in self.rooms)
        spared = [f"--omit={','.join(self.spared)}"] if self.spared else []
        watch = ("coverage", "run", f"--data-file={data}", f"--source={watched}", *spared, "-m")
        return (sys.executable, "-m", *(watch if self.rooms else ()), "pytest", "-q", "--durations=8", "--durations-min=5", "-m", self.marks, *(f"tests/facts/{name}" for name in self.files), *sys.argv[1:])


def facts(*, but: tuple[str, ...]) -> tuple[str, ...]:
    """Every file of facts but these."""
    return tuple(sorted(f.name for f in (ROOT / "tests" / "facts").glob("test_*.py") if f.name not in but))


def parts() -> list[Part]:
    """All facts but the longer ones, each in one part; the longest parts first."""
    named = tuple(name for names in (SPIN, WITNESSES, *GROUPS) for name in names)
    working = tuple(room for room in INNER if room not in {"chart", "proof"})
    alone = "long and not longer"
    return [
        Part("not longer", AT_WORK, working),
        Part(alone, facts(but=(*AT_WORK, *RULES, *named))),
        Part(alone, SPIN),
        Part(alone, WITNESSES),
        Part("not long and not longer", facts(but=(*AT_WORK, *RULES)), INNER),
        Part("not longer", RULES, ("proof",), SEARCHES),
        *(Part(alone, names) for names in GROUPS),
    ]


class Beside:
    """Parts, at most so many at a time; the output of each stands in a file and is printed when it has ended."""

    def __init__(self, folder: Path, waiting: list[Part]) -> None:
        self.folder, self.waiting = folder, waiting
        self.running: list[tuple[subprocess.Popen[bytes], Path]] = []
        self.codes: list[int] = []

    def keep(self, count: int) -> bool:
        """Collects what has ended, and starts what waits until so many run; False when nothing is left."""
        for process, log in [r for r in self.running if r[0].poll() is not None]:
            self.running.remove((process, log))
            self.codes.append(process.returncode)
            print(log.read_text(errors="replace"), flush=True)
        while self.waiting and len(self.running) < count:
            part = self.waiting.pop(0)
            name = f"part{len(self.waiting)}"
            log = self.folder / f"{name}.txt"
            self.running.append((start(*part.command(self.folder / f".coverage.{name}"), log=log), log))
        return bool(self.running)

    def end(self) -> None:
        for process, log in self.running:
            process.kill()
            print(log.read_text(errors="replace"), flush=True)


def passed(code: int) -> bool:
    """5 is that none was chosen, which is all right where only a part was asked for."""
    return code == 0 or (code == 5 and bool(sys.argv[1:]))


def main() -> None:
    """Lint, types, then the facts on two cores, and what they walked of the inner rooms together."""
    python = sys.executable
    include = ",".join(f"*/ohmward/{room}/*" for room in INNER)
    install("spin", "tcc", "qpdf", "poppler-utils", "libnss3-tools", "jq", "openssl")
    run(python, "-m", "ruff", "check", ".")
    run(python, "-m", "mypy")
    with tempfile.TemporaryDirectory() as name:
        beside = Beside(Path(name), parts())
        try:
            while beside.keep(2):
                time.sleep(0.5)
        finally:
            beside.end()
        if not all(map(passed, beside.codes)):
            sys.exit(1)
        if sys.argv[1:]:
            return  # a part of the facts walks a part of the rooms
        whole = f"--data-file={name}/.coverage"
        run(python, "-m", "coverage", "combine", "-q", whole, name)
        run(python, "-m", "coverage", "report", whole, f"--include={include}", f"--fail-under={FLOOR}")


if __name__ == "__main__":
    main()
