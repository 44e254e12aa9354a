"""What each command takes on the command line, as `--help` shows it."""

import argparse
from collections.abc import Callable

Add = Callable[..., argparse.ArgumentParser]


def _whole(text: str) -> int:
    if not text.isascii() or not text.isdigit() or len(text) > 4:
        raise argparse.ArgumentTypeError(f"'{text[:20]}' is not a whole number of at most four digits")
    return int(text)


def _for_work(add: Add) -> None:
    tour = add("tour", "see everything once: a demo shop, a rehearsal, a verified record, a PDF", shop=False)
    tour.add_argument(
        "directory", nargs="?", default="ohmward-demo", metavar="DIR", help="where to make the demo shop"
    )
    new = add("new", "make a shop with an example", shop=False)
    new.add_argument("directory", metavar="DIR")
    work = add("work", "work a procedure")
    work.add_argument("procedure", metavar="PROCEDURE")
    work.add_argument("--job", required=True, metavar="JOB.yaml", help="the job sheet")
    work.add_argument(
        "--answers", metavar="FILE", help="take the answers from a file: same checks, nothing skipped"
    )
    work.add_argument(
        "--rehearse", action="store_true", help="a rehearsal: marked on every page, never counts"
    )
    _takes_passphrases(work)
    script = add("answers", "write an answers file to fill in, for a rehearsal")
    script.add_argument("procedure", metavar="PROCEDURE")
    script.add_argument("--job", required=True, metavar="JOB.yaml", help="the job sheet")
    script.add_argument("-o", "--output", required=True, metavar="FILE.yaml")
    resume = add("resume", "go on after a break, a crash, a hand-over")
    resume.add_argument("run", nargs="?", metavar="RUN", help="default: the newest open run")
    resume.add_argument("--answers", metavar="FILE", help="take the answers from a file")
    _takes_passphrases(resume)


def _for_records(add: Add) -> None:
    add("runs", "open and closed runs, newest first", json=True)
    export = add("export", "write a record as one file")
    export.add_argument("run", metavar="RUN")
    export.add_argument("-o", "--output", required=True, metavar="FILE")
    export.add_argument("--without-pictures", action="store_true", help="pictures by their digest only")
    verify = add("verify", "verify records: intact, and possible under their procedure", json=True)
    verify.add_argument(
        "files", nargs="*", metavar="FILE", help="record files; none: every record of the shop"
    )
    verify.add_argument("--checkpoint", metavar="FILE", help="a checkpoint that was kept elsewhere")
    verify.add_argument(
        "--authority",
        metavar="FILE.pem",
        help="with --checkpoint: the time-stamping authority that you trust",
    )
    verify.add_argument(
        "--origin", metavar="DIGEST", help="what the shop's keys must begin with, as you know it"
    )
    verify.add_argument(
        "--format", action="store_true", help="only print how records are written and verified"
    )
    printed = add("print", "write a record, a lock tag, an empty form or a card for the panel door as a PDF")
    what = printed.add_mutually_exclusive_group(required=True)
    what.add_argument("run", nargs="?", metavar="RUN", help="the record of a run")
    what.add_argument("--tag", metavar="RUN", help="a tag for each lock that a run has on")
    what.add_argument("--blank", metavar="PROCEDURE", help="an empty form, for where no device may be used")
    what.add_argument("--card", metavar="JOB.yaml", help="one page for the door of the panel")
    printed.add_argument("--job", metavar="JOB.yaml", help="with --blank: the job that the form is for")
    printed.add_argument("-o", "--output", required=True, metavar="FILE.pdf")


def _for_the_shop(add: Add) -> None:
    imported = add("import", "add people or gear from a CSV file")
    imported.add_argument("kind", choices=("roster", "gear"), metavar="roster|gear")
    imported.add_argument(
        "file", metavar="FILE.csv", help="columns as the fields of the shop's file are called"
    )
    falling = add("due", "what runs out soon: calibrations, glove tests, training", json=True)
    falling.add_argument("--within", type=_whole, default=30, metavar="DAYS", help="days ahead (default 30)")
    machine = add("machines", "machines, what stands open on them, what was read there before", json=True)
    machine.add_argument("machine", nargs="?", metavar="MACHINE", help="one machine, with every reading")
    machine.add_argument("--rehearsals", action="store_true", help="rehearsals too")


def _for_numbers(add: Add) -> None:
    one = add(
        "reckon", "one calculation of the trade, with its working and its source", shop=False, json=True
    )
    one.add_argument("calculation", nargs="?", metavar="CALCULATION", help="its name; none: the list of all")
    one.add_argument(
        "values",
        nargs="*",
        metavar="INPUT=VALUE",
        help='such as voltage="208 V", or voltage="207 V..209 V" for what an instrument can vouch for; none: what it takes',
    )
    pair = add("match", "what differs between two motors' nameplates", shop=False, json=True)
    pair.add_argument("old", metavar="OLD.yaml", help="the motor that comes out")
    pair.add_argument("new", metavar="NEW.yaml", help="the motor that goes in")
    left = add("ready", "what still stands against handing a machine over", json=True)
    left.add_argument("sheet", metavar="SHEET.yaml", help="what was seen and read; none: an empty one", nargs="?")


def _for_checking(add: Add) -> None:
    check = add("check", "find every fault in procedures, then prove each of them", json=True)
    check.add_argument(
        "procedures",
        nargs="*",
        metavar="PROCEDURE|FILE",
        help="procedures by their id, or files of any kind; default: every file of the shop",
    )
    check.add_argument(
        "--explain",
        metavar="CODE",
        help="only explain a fault or a rule by its name; `all` explains every one",
    )
    check.add_argument(
        "--drills", action="store_true", help="only list rehearsals that take every move a person can cause"
    )
    check.add_argument("--schema", metavar="DIR", help="only write the JSON Schema of every kind of file")
    copied = add("copy", "what is shipped as a file of your own, to be changed under an id of its own")
    copied.add_argument("name", metavar="NAME", help="a shipped procedure, gate, group or rule")
    copied.add_argument("new", metavar="NEW-ID")
    compared = add("compare", "what changed between two revisions, by what it means for safety", json=True)
    for word in ("old", "new"):
        compared.add_argument(
            word,
            metavar=word.upper(),
            help="a procedure's id as it stands, a procedure's FILE.yaml, or a record's FILE.json",
        )
    drawn = add("draw", "a procedure as a drawing: its steps from top to bottom, the gates beside them")
    drawn.add_argument("procedure", metavar="PROCEDURE|FILE")
    drawn.add_argument(
        "-o",
        "--output",
        required=True,
        metavar="FILE",
        help="FILE.svg, FILE.dot for the DOT language, FILE.pml for a model in Promela",
    )
    check.add_argument(
        "--keep", metavar="FILE", help="where to keep the verdicts (default: the shop's verdicts.json)"
    )


def _for_approval(add: Add) -> None:
    approved = add("approve", "one person's word for exactly this table; without a procedure: how all stand")
    approved.add_argument("procedure", nargs="?", metavar="PROCEDURE")
    approved.add_argument(
        "--read-back",
        metavar='"N TABLE"',
        help="what is read back: how many changes are looser, and the table",
    )
    _takes_passphrases(approved)
    recalled = add("recall", "take a procedure or a thing out of use, and tell every run that used it")
    recalled.add_argument("what", metavar="PROCEDURE|GEAR")
    recalled.add_argument("--revision", type=_whole, metavar="N", help="only this revision of the procedure")
    recalled.add_argument("--why", required=True, metavar="TEXT", help="what is wrong with it")
    inspected = add("inspect", "the yearly inspection of a procedure, on a run that somebody else worked")
    inspected.add_argument("run", metavar="RUN")
    _takes_passphrases(inspected)
    for command in (approved, recalled, inspected):
        command.add_argument(
            "--as",
            dest="person",
            required=command is not approved,
            metavar="PERSON",
            help="who says so, by id",
        )


def _for_keys(add: Add) -> None:
    entered = add("enrol", "enter a person of the roster with a key of their own")
    entered.add_argument("new", nargs="?", metavar="PERSON", help="who gets a key, by the id in the roster")
    entered.add_argument(
        "--seal", action="store_true", help="another seal for pages instead of a person's key"
    )
    entered.add_argument("--renew", action="store_true", help="another key, by the one that holds until now")
    entered.add_argument("--lost", action="store_true", help="another key without the old one, by two people")
    entered.add_argument("--with", dest="second", metavar="PERSON", help="the second one of the two")
    taken = add("revoke", "a key that does not hold any more")
    taken.add_argument("holder", metavar="PERSON", help="whose key")
    taken.add_argument(
        "--why", required=True, metavar="TEXT", help="why: lost, left the shop, known to others"
    )
    freed = add("unlock", "take the lock of five wrong passphrases off a key")
    freed.add_argument("holder", metavar="PERSON", help="whose key")
    listed = add("keys", "who has a key, and since when", json=True)
    listed.add_argument("-o", "--output", metavar="FILE", help="the lists of keys as a file for outsiders")
    for command in (entered, taken, freed):
        command.add_argument(
            "--as",
            dest="person",
            required=command is not entered,
            metavar="PERSON",
            help="who answers for it, by id",
        )
        _takes_passphrases(command)


def _for_signing(add: Add) -> None:
    signed = add("sign", "sign a run as it stands, with your own key")
    signed.add_argument("run", metavar="RUN")
    signed.add_argument(
        "--meaning",
        default="performed",
        choices=("performed", "supervised", "witnessed", "released"),
        help="what the signature means (default: performed)",
    )
    signed.add_argument(
        "--note",
        metavar="TEXT",
        help="a remark that is kept before the signature, such as the answer to a reviewer",
    )
    looked = add("review", "which records need a look and why; open, countersign or send back one", json=True)
    looked.add_argument("run", nargs="?", metavar="RUN", help="one record; none: the list")
    looked.add_argument("--all", action="store_true", help="those that were countersigned or sent back too")
    looked.add_argument("--rehearsals", action="store_true", help="rehearsals too")
    looked.add_argument("--csv", action="store_true", help="the list for a spreadsheet")
    said = looked.add_mutually_exclusive_group()
    said.add_argument("--countersign", action="store_true", help="sign that you reviewed it")
    said.add_argument("--send-back", metavar="NOTE", help="back to whoever worked it, with what is missing")
    looked.add_argument("--as", dest="person", metavar="PERSON", help="who reviews, by id")
    _takes_passphrases(looked)
    point = add("checkpoint", "how all records stand, signed, as a file to keep elsewhere")
    point.add_argument("-o", "--output", required=True, metavar="FILE")
    point.add_argument(
        "--countersign",
        metavar="FILE",
        help="sign the newest checkpoint, whose file this is, as a second person",
    )
    point.add_argument(
        "--query",
        metavar="FILE",
        help="for this checkpoint, write a question for a time-stamping authority (RFC 3161)",
    )
    point.add_argument(
        "--token", nargs=2, metavar=("FILE", "REPLY"), help="put the authority's reply into this checkpoint"
    )
    for command in (signed, point):
        command.add_argument(
            "--as", dest="person", required=command is signed, metavar="PERSON", help="who signs, by id"
        )
        _takes_passphrases(command)


def _takes_passphrases(command: argparse.ArgumentParser) -> None:
    command.add_argument(
        "--passphrases",
        metavar="FILE",
        help="for scripts: lines `PERSON: passphrase`, in a file that only you can read",
    )


GROUPS: tuple[Callable[[Add], None], ...] = (
    _for_work,
    _for_records,
    _for_the_shop,
    _for_numbers,
    _for_checking,
    _for_approval,
    _for_keys,
    _for_signing,
)
