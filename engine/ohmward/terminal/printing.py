"""`print`: the record, a lock tag, an empty form, a card for the panel door."""

import argparse
from pathlib import Path

from ohmward.account.fold import NoRecordError, fold, open_matters
from ohmward.account.state import Account
from ohmward.chart.document import digest_of_table
from ohmward.errors import DONE, RefusedError, UsageError
from ohmward.record.bundle import Bundle, make_bundle
from ohmward.record.integrity import verify_parts
from ohmward.shop.folder import open_shop, read_bytes, read_job
from ohmward.shop.seal import seal_paths
from ohmward.shop.snapshot import job_snapshot, people_snapshot
from ohmward.terminal.edge import utc_now
from ohmward.terminal.opening import every_account
from ohmward.terminal.records import bundle_of, write_file
from ohmward.terminal.tables import compiled, files_here
from ohmward.work.start import data_conditions, last_on


def print_paper(options: argparse.Namespace) -> int:
    """One PDF of the kind that is asked for."""
    if options.job is not None and options.blank is None:
        raise UsageError("--job goes with --blank only")
    if options.blank is not None:
        data = _blank(options)
    elif options.card is not None:
        data = _card(options)
    else:
        data = _of_a_run(options)
    write_file(Path(options.output), data)
    print(f"wrote {options.output}")
    return DONE


def _of_a_run(options: argparse.Namespace) -> bytes:
    run = options.tag or options.run
    folder = open_shop(options.shop)
    bundle, chain = bundle_of(options.shop, run)
    try:
        account = fold(chain.entries)
    except NoRecordError as error:
        raise RefusedError(f"run {run} is no record of a run: {error}") from None
    return _tags(account, chain.head) if options.tag else sealed_record(folder.path, bundle)


def sealed_record(folder: Path, bundle: Bundle) -> bytes:
    """The record's pages, with the record inside and the shop's seal where it has one. Raises StoreError."""
    from ohmward_printouts.record_pdf import render_record
    from ohmward_printouts.seal_pdf import seal_page

    found = verify_parts(bundle)
    pages = render_record(fold(found.chain.entries), found)
    seal, authority = seal_paths(folder)
    if not seal.is_file():
        return pages
    return seal_page(
        pages, make_bundle(bundle), bundle.run, seal=read_bytes(seal), authority=read_bytes(authority)
    )


def _tags(account: Account, head: str) -> bytes:
    from ohmward_printouts.tag_pdf import locks_of, render_tags

    if not locks_of(account):
        raise RefusedError(f"no lock is on in run {account.run}: there is nothing to hang a tag on")
    return render_tags(account, head)


def _blank(options: argparse.Namespace) -> bytes:
    from ohmward_printouts.blank_pdf import Form, render_blank

    files, shown = files_here(options.shop)
    table = compiled(files, shown, options.blank)
    form = Form(table)
    if options.job is not None:
        job = job_snapshot(read_job(Path(options.job), open_shop(options.shop)).model)
        form = Form(table, job, data_conditions(table, job, utc_now().date().isoformat()))
    return render_blank(form, digest_of_table(table))


def _card(options: argparse.Namespace) -> bytes:
    from ohmward_printouts.card_pdf import render_card

    folder = open_shop(options.shop)
    source = read_job(Path(options.card), folder)
    job = job_snapshot(source.model)
    last = last_on(job["equipment"], every_account(folder), rehearsal=False)
    people = people_snapshot(folder.roster, source.model, "")
    left = [(m.kind, m.label, _name(people, m.owner)) for m in open_matters(last)] if last else []
    return render_card(job, people, left, utc_now().date().isoformat())


def _name(people: dict[str, dict[str, str]], person: str) -> str:
    known = people.get(person)
    return f"{known['name']} ({person})" if known else person
