"""A coverage-guided fuzzer over everything that reads files: only faults may come out. `python -m tests.fuzz CORPUS`."""

import sys

import atheris

with atheris.instrument_imports(include=["ohmward.language", "ohmward.shop", "ohmward.rehearsal"]):
    from tests.facts.test_desk import only_own_faults


def main():
    """Runs until a crash, or for the runs that the arguments give."""
    atheris.Setup(sys.argv, lambda data: only_own_faults(bytes(data)))
    atheris.Fuzz()


if __name__ == "__main__":
    main()
