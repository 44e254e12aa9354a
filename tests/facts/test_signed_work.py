"""A real run signed by the people in it: who supervises, who worked, at which pauses; and what is refused."""

import json
import sqlite3
from contextlib import closing
from dataclasses import replace
from datetime import timedelta

import pytest

from ohmward.account.fold import fold
from ohmward.account.lines import attended_words, line_of
from ohmward.errors import DONE, NO, WRONG, BrokenError, MovedOnError, RefusedError
from ohmward.record.chain import verify_chain
from ohmward.record.entry import Kind, read_entry
from ohmward.record.integrity import verify_parts, verify_run
from ohmward.record.versions import KeyLists
from ohmward.shop.folder import open_shop
from ohmward.store.sqlite import SqliteStore
from ohmward.terminal.approvals import approvals_in
from ohmward.terminal.later import Later
from ohmward.terminal.main import main
from ohmward.terminal.opening import open_run
from ohmward.terminal.records import bundle_in
from ohmward.terminal.signers import DeskSigner, Signing
from ohmward.terminal.working import _stop_what_does_not_hold
from ohmward.work.draft import Draft, stamp
from ohmward.work.intents import Answer, Begin, Found, GoOn, Happened, Stop
from ohmward.work.keydesk import verified
from ohmward.work.session import Session
from tests.facts.shopping import SIGNING, WORDS, Bench, good, words_file
from tests.facts.test_tampering import without_guards


@pytest.fixture
def bench(tmp_path):
    return Bench(tmp_path / "s", rehearsal=False)


def signed(account):
    return [(e.actor, e.said) for e in account.entries if e.kind is Kind.SIGNED]


def intact(bench):
    bundle, _ = bundle_in(bench.session.store, bench.folder, bench.account.run)
    return verify_parts(bundle)


def test_a_run_is_signed_by_who_supervised_before_it_counts_and_by_both_at_the_end(bench):
    bench.play(good())
    assert bench.account.ended
    assert signed(bench.account) == [("P-02", "performed"), ("P-01", "supervised"), ("P-02", "performed"), ("P-01", "supervised")]
    first = next(e for e in bench.account.entries if (e.kind, e.said) == (Kind.SIGNED, "supervised"))
    named = next(e for e in bench.account.entries if e.outcome == "named")
    assert named.number == first.number + 1
    found = intact(bench)
    assert found.intact
    assert "signed: performed by Tomas Reyl (P-02) up to entry 86, supervised by Ida Brandl (P-01) up to entry 87" in found.words


def test_without_the_supervisors_own_key_the_gate_is_not_held_and_the_record_would_not_be_possible(bench):
    bench.play(good(until="qualified"))
    person = bench.view.step
    bench.session.signer = None
    told = bench.session.apply(Answer(step=person, said=("P-01",)))
    assert not told.taken
    assert told.messages == ("P-01 has not signed 'supervised' with their own key: it does not count yet.",)
    assert not [g for g in bench.account.held if g.startswith("qualified")]
    trigger = f"answered@{person}=named"
    with pytest.raises(BrokenError, match="P-01 has not signed 'supervised' before it"):
        bench.session._write(Draft(kind=Kind.ANSWERED, trigger=trigger, step=person, said="P-01", outcome="named"), "", bench.session.clock())


def test_a_signature_taken_out_makes_the_record_impossible_even_when_it_is_linked_anew(bench):
    bench.play(good(until="step: unlock"))
    entries = [e for e in bench.account.entries if e.said != "supervised"]
    again = fold(e._replace(number=n) for n, e in enumerate(entries, 1))
    assert "P-01 has not signed 'supervised' before it" in again.impossible


def test_deeds_told_by_somebody_who_does_not_work_here_are_not_possible(bench):
    bench.play(good(until="step: unlock"))
    entries = list(bench.account.entries)
    at = next(n for n, e in enumerate(entries) if e.kind is Kind.BEGUN)
    entries[at] = entries[at]._replace(actor="P-09")
    assert "it is told by P-09, while P-02 works" in fold(entries).impossible


def test_a_break_and_another_worker_are_signed_before_the_key_is_closed(bench):
    bench.play(good(until="step: unlock"))
    bench.session.apply(Happened(event="worker changed", who="P-01"))
    assert signed(bench.account)[-1] == ("P-02", "performed")
    assert bench.session.signer.sitting.of("P-02") is None
    bench.session.apply(Stop(how="pause", why="lunch"))
    assert signed(bench.account)[-1] == ("P-01", "performed")
    assert bench.session.signer.sitting.of("P-01") is None
    assert intact(bench).intact


def test_an_emergency_asks_for_no_signature(bench):
    bench.play(good(until="step: unlock"))
    before = len(signed(bench.account))
    bench.session.apply(Stop(how="emergency", why="shock"))
    assert len(signed(bench.account)) == before


def test_whoever_leaves_it_unsigned_stops_nothing_and_can_sign_later(tmp_path, capsys):
    bench = Bench(tmp_path / "s", rehearsal=False)
    words = dict(WORDS)
    bench.session.signer.ask = lambda who, _: words[who]
    bench.play(good(until="step: unlock"))
    words["P-02"] = ""
    bench.play(good()[len(good(until="step: unlock")) :])
    assert bench.account.ended
    assert signed(bench.account).count(("P-02", "performed")) == 1  # the one at the beginning
    run = bench.account.run
    bench.session.store.close()
    base = ("--shop", str(bench.folder), "--passphrases", str(words_file(tmp_path)))
    assert main(["review", "--shop", str(bench.folder)]) == DONE
    assert "P-02 has not signed what they did from entry 3 on" in " ".join(capsys.readouterr().out.split())
    assert main(["sign", run, "--as", "P-03", *base]) == NO
    assert "P-03 did nothing in run" in capsys.readouterr().err
    assert main(["sign", run, "--as", "P-02", "--meaning", "supervised", *base]) == NO
    assert "'supervised' is signed by qualified person, supervisor" in capsys.readouterr().err
    assert main(["sign", run, "--as", "P-02", "--note", "forgot it", *base]) == DONE
    assert f"run {run}: performed, by P-02" in capsys.readouterr().out
    assert main(["sign", "r0", "--as", "P-02", *base]) == WRONG


def test_five_wrong_passphrases_in_a_run_lock_the_key_and_the_run_goes_on(bench):
    bench.session.signer.ask = lambda *_: "not these words"
    bench.session.signer.once = False
    said = []
    bench.session.signer.say = said.append
    bench.play(good(until="qualified"))
    told = bench.session.apply(Answer(step=bench.view.step, said=("P-01",)))
    assert not told.taken
    assert "the key is locked now, and the diary says so" in " ".join(said)
    desk = bench.session.signer.desk
    assert desk.diary.locked("P-01", desk.now())
    assert bench.session.apply(Stop(how="unsafe", why="nobody can supervise")).taken


def test_every_line_since_the_last_signature_is_shown_before_signing(bench):
    said = []
    bench.session.signer.say = said.append
    bench.play(good())
    shown = [line for line in said if line.startswith("  ")]
    assert "TO SIGN: 'performed', by Tomas Reyl (P-02), entries 3 to 86" in said
    assert any("Fan wheel" in line or "Tell" in line for line in shown)
    assert len([line for line in shown if line.split()[0].isdigit()]) >= 84


def test_how_to_go_on_counts_only_with_the_qualified_persons_signature(bench):
    bench.play(good(until="step: unlock"))
    bench.session.apply(Found(words="a second motor"))
    bench.session.signer, kept = None, bench.session.signer
    told = bench.session.apply(GoOn(person="P-01", why="it is not ours"))
    assert told.messages[-1] == "P-01 has not signed 'released' with their own key: it does not count yet."
    bench.session.signer = kept
    assert bench.session.apply(GoOn(person="P-01", why="it is not ours")).taken
    assert signed(bench.account)[-1] == ("P-01", "released")
    assert fold(bench.account.entries).impossible == ""


def test_a_real_run_needs_a_key_of_its_worker_and_somebody_to_ask(tmp_path):
    bench = Bench(tmp_path / "s", rehearsal=False)
    bench.session.store.close()
    with pytest.raises(RefusedError, match="nobody could be asked for a passphrase here"):
        bench.open_with(None)
    roster = bench.folder / "roster.yaml"
    roster.write_text(roster.read_text() + "  - {id: P-05, name: Mira Sand, role: apprentice}\n")
    sheet = bench.folder / "job-proving-fan.yaml"
    sheet.write_text(sheet.read_text().replace("worker: P-02", "worker: P-05").replace("equipment: proving-fan", "equipment: other-fan"))
    with pytest.raises(RefusedError, match="P-05 cannot sign: they are not in the list of keys"):
        open_run(open_shop(str(bench.folder)), sheet, "run-motor-directly", bench.clock, rehearsal=False, signing=SIGNING)


def test_roster_and_list_of_keys_must_say_the_same_of_a_signer(bench):
    bench.play(good(until="qualified"))
    account = bench.account
    people = {**account.opened["people"], "P-01": {**account.opened["people"]["P-01"], "role": "supervisor"}}
    bench.session.account = replace(account, opened={**account.opened, "people": people})
    said = []
    bench.session.signer.say = said.append
    assert not bench.session.sign("P-01", "supervised")
    assert "P-01 is Ida Brandl, supervisor in this record, and Ida Brandl, qualified-person in the list of keys" in said[-1]
    twin = {**account.opened["people"], "P-08": {**account.opened["people"]["P-01"], "name": "Ida  BRANDL"}}
    bench.session.account = replace(account, opened={**account.opened, "people": twin})
    assert not bench.session.sign("P-01", "supervised")
    assert "reads like Ida  BRANDL (P-08) in this record: nobody can tell who signs" in said[-1]


def test_a_clock_that_is_behind_the_list_of_keys_signs_nothing(bench):
    said = []
    bench.session.signer.say = said.append
    asked = bench.session.asked("P-02", "performed", bench.clock())
    assert bench.session.signer.sign(replace(asked, time="2020-01-01T00:00:00Z")) is None
    assert "Put the clock right" in said[-1]


def test_a_rehearsal_is_not_signed_unless_it_is_asked_for(tmp_path):
    bench = Bench(tmp_path / "s")
    bench.play(good())
    assert signed(bench.account) == []
    assert bench.account.by_key is False


def test_a_run_of_before_keys_is_still_possible_and_is_taken_up(tmp_path):
    """Records of the first version have no word `signed` in their first entry."""
    bench = Bench(tmp_path / "s")
    bench.play(good(until="step: unlock"))
    first = bench.account.entries[0]
    old = first._replace(data={k: v for k, v in first.data.items() if k != "signed"})
    assert fold([old, *bench.account.entries[1:]]).impossible == ""


def test_a_run_that_is_not_intact_or_not_possible_is_not_signed(bench, capsys, tmp_path):
    bench.play(good(until="step: unlock"))
    entry = bench.account.entries[-1]._replace(number=bench.account.number + 1, previous=bench.session.head, said="nonsense", trigger="no-such-trigger")
    bench.session.store.append(bench.account.run, after=bench.session.head, data=entry.to_bytes())
    run = bench.account.run
    assert verify_chain(bench.session.store.fetch(run), run=run).intact
    bench.session.store.close()
    code = main(["sign", run, "--as", "P-02", "--shop", str(bench.folder), "--passphrases", str(words_file(tmp_path))])
    assert (code, "is not possible under its procedure" in capsys.readouterr().err) == (NO, True)


# -- the supervisor's look --------------------------------------------------------------------------------


def call(capsys, *arguments):
    code = main(list(arguments))
    got = capsys.readouterr()
    return code, got.out, got.err


def test_a_record_is_countersigned_or_sent_back_and_answered(tmp_path, capsys):
    bench = Bench(tmp_path / "s", rehearsal=False)
    bench.play(good())
    run = bench.account.run
    bench.session.store.close()
    base = ("--shop", str(bench.folder))
    words = (*base, "--passphrases", str(words_file(tmp_path)))
    code, out, _ = call(capsys, "review", *base)
    assert (code, run in out) == (DONE, True)
    assert call(capsys, "review", run, "--countersign", *words)[0] == WRONG  # who?
    code, _, err = call(capsys, "review", run, "--countersign", "--as", "P-01", *words)
    assert (code, "Ida Brandl (P-01) is qualified person: this is for supervisor, safety officer" in err) == (NO, True)
    assert call(capsys, "review", run, "--send-back", " ", "--as", "P-03", *words)[0] == WRONG
    code, out, _ = call(capsys, "review", run, "--send-back", "which leg was pinched?", "--as", "P-03", *words)
    assert (code, "sent back by P-03 on" in out) == (DONE, True)
    assert run not in call(capsys, "review", *base)[1]
    assert run in call(capsys, "review", "--all", *base)[1]
    assert call(capsys, "sign", run, "--as", "P-02", "--note", "the black one", *words)[0] == DONE
    assert "answered since then" in " ".join(call(capsys, "review", *base)[1].split())
    assert call(capsys, "review", run, "--countersign", "--as", "P-03", *words)[0] == DONE
    assert call(capsys, "review", *base)[1] == "no record waits for a look\n"
    code, out, _ = call(capsys, "review", run, "--json", *base)
    plain = json.loads(out)
    assert (plain["standing"], plain["worker"]) == ("countersigned", "P-02")
    code, out, _ = call(capsys, "review", run, *base)
    assert "sent back - which leg was pinched?" in out
    assert call(capsys, "review", "r0", *base)[0] == WRONG
    assert call(capsys, "verify", *base)[0] == DONE


def test_nobody_reviews_what_they_worked_or_supervised(tmp_path, capsys):
    bench = Bench(tmp_path / "s", rehearsal=False)
    sheet = bench.folder / "job-proving-fan.yaml"
    bench.session.store.close()
    sheet.write_text(sheet.read_text().replace("supervisor: P-01", "supervisor: P-03").replace("equipment: proving-fan", "equipment: other-fan"))
    bench.session = bench.open(rehearsal=False)
    bench.play(good().replace("say: P-01", "say: P-03"))
    assert bench.account.ended
    bench.session.store.close()
    code, _, err = call(capsys, "review", bench.account.run, "--countersign", "--as", "P-03", "--shop", str(bench.folder), "--passphrases", str(words_file(tmp_path)))
    assert (code, "nobody signs 'reviewed' under their own work" in err) == (NO, True)


def test_an_open_run_is_not_reviewed(tmp_path, capsys):
    bench = Bench(tmp_path / "s", rehearsal=False)
    bench.session.store.close()
    code, _, err = call(capsys, "review", bench.account.run, "--countersign", "--as", "P-03", "--shop", str(bench.folder), "--passphrases", str(words_file(tmp_path)))
    assert (code, "has not ended" in err) == (NO, True)


def test_a_record_of_a_job_outside_the_scope_is_not_possible(tmp_path):
    """Somebody writes a higher voltage into the first entry and links the record anew."""
    bench = Bench(tmp_path / "s")
    first = bench.account.entries[0]
    job = first.data["job"]
    higher = {**job["circuits"], "motor-circuit": {**job["circuits"]["motor-circuit"], "to-ground": "480 V"}}
    other = first._replace(data={**first.data, "job": {**job, "circuits": higher}})
    assert fold([first]).impossible == ""
    assert fold([other]).impossible.startswith("entry 1: the procedure does not fit the job: Above 300 V to ground")


def test_a_diary_that_is_broken_keeps_nobody_from_stopping_and_making_safe(bench):
    bench.play(good(until="step: unlock"))
    store, said = bench.session.store, []
    bench.session.signer.say = said.append
    head = store.head("diary")
    entry = bench.account.entries[0]._replace(run="diary", number=store.heads()["diary"][0] + 1, previous=head, kind=Kind.KEYS, data={"list": "!", "signatures": []})
    store.append("diary", after=head, data=entry.to_bytes())
    assert bench.session.apply(Stop(how="pause", why="lunch")).taken
    assert "Nothing is signed; keep the store as it is." in " ".join(said)
    assert bench.session.apply(Stop(how="unsafe", why="smell")).taken


# -- what was tried to get past it --------------------------------------------------------------------------


def alone(bench):
    """From here on only P-02 types anything."""
    bench.session.signer.ask = lambda who, _: WORDS[who] if who == "P-02" else ""


def test_a_worker_who_does_not_show_their_own_key_begins_nothing(tmp_path):
    """The job sheet names P-01 as worker; P-02 is there alone."""
    bench = Bench(tmp_path / "s", rehearsal=False)
    bench.session.store.close()
    sheet = bench.folder / "job-proving-fan.yaml"
    sheet.write_text(sheet.read_text().replace("worker: P-02", "worker: P-01").replace("equipment: proving-fan", "equipment: other-fan"))
    nobody = Signing(ask=lambda who, _: WORDS[who] if who == "P-02" else "", say=lambda _: None, once=True)
    bench.session = bench.open_with(nobody)
    view = bench.view
    told = bench.session.apply(Answer(step=view.step, said=("1",)))
    assert not told.taken
    assert "P-01 works here and has not signed with their own key: nothing is begun" in told.messages[-1]
    assert bench.session.apply(Stop(how="unsafe", why="not mine")).taken


def test_another_worker_shows_their_own_key_before_anything_is_begun(bench):
    bench.play(good(until="step: unlock"))
    alone(bench)
    assert bench.session.apply(Happened(event="worker changed", who="P-01")).taken
    view = bench.view
    while view.mode not in {"ask", "ready"} or view.step not in bench.account.steps:
        assert bench.session.apply(Answer(step=view.step, said=(view.options[0] if view.options else "done",))).taken
        view = bench.view
    told = bench.session.apply(Begin(step=view.step) if view.mode == "ready" else Answer(step=view.step, said=("P-01",)))
    assert not told.taken
    assert "P-01 works here and has not signed" in told.messages[-1]


def test_a_roster_that_makes_more_of_somebody_than_the_list_of_keys_opens_no_run(bench):
    bench.session.store.close()
    roster = bench.folder / "roster.yaml"
    roster.write_text(roster.read_text().replace("name: Tomas Reyl, role: apprentice", "name: Tomas Reyl, role: qualified-person, qualified_for: [single-phase-fan]"))
    with pytest.raises(RefusedError, match="roster and list of keys differ in name or role of Tomas Reyl"):
        bench.open_with(SIGNING)


def test_a_signature_that_somebody_wrote_into_the_store_makes_the_run_make_safe(bench):
    bench.play(good(until="qualified"))
    account = bench.account
    forged = account.entries[-1]._replace(number=account.number + 1, previous=bench.session.head, kind=Kind.SIGNED, actor="P-01", said="supervised", trigger="", step="", outcome="", values=(), note="", data={"statement": "", "signature": ""})
    bench.session.store.append(account.run, after=bench.session.head, data=forged.to_bytes())
    bench.resume()
    lines = _stop_what_does_not_hold(bench.session, bench.session.store)
    assert "Make safe; nothing else is done in this run." in lines[0]
    assert bench.account.node.startswith(("safe", "reconcile", "stopped")) or bench.view.mode in {"safe", "reconcile"} or bench.account.ended
    assert _stop_what_does_not_hold(Bench(bench.folder.parent / "t").session, bench.session.store) == []


def test_an_open_run_that_lost_entries_since_a_checkpoint_makes_safe_when_it_is_taken_up(tmp_path, capsys):
    bench = Bench(tmp_path / "s", rehearsal=False)
    bench.play(good(until="step: unlock"))
    bench.session.apply(Stop(how="pause", why="lunch"))
    run, last = bench.account.run, bench.account.number
    bench.session.store.close()
    base = ("--passphrases", str(words_file(tmp_path)), "--shop", str(bench.folder))
    assert main(["checkpoint", "-o", str(tmp_path / "point.json"), "--as", "P-01", *base]) == DONE
    (tmp_path / "a.yaml").write_text("- {stop: unsafe, why: enough}\n")
    without_guards(bench.folder / "records.db", f"DELETE FROM entries WHERE run = '{run}' AND number = {last}")
    capsys.readouterr()
    assert main(["resume", run, "--answers", str(tmp_path / "a.yaml"), *base]) == WRONG
    told = " ".join(capsys.readouterr().err.split())
    assert told.startswith("NOTICE: checkpoint")
    assert "expected head" in told
    assert "Make safe; nothing else is done in this run." in told


def test_a_run_that_a_checkpoint_holds_longer_is_signed_by_nobody(tmp_path, capsys):
    bench = Bench(tmp_path / "s", rehearsal=False)
    bench.play(good())
    run, last = bench.account.run, bench.account.number
    bench.session.store.close()
    base = ("--passphrases", str(words_file(tmp_path)), "--shop", str(bench.folder))
    assert main(["checkpoint", "-o", str(tmp_path / "point.json"), "--as", "P-01", *base]) == DONE
    without_guards(bench.folder / "records.db", f"DELETE FROM entries WHERE run = '{run}' AND number = {last}")
    for command in (["review", run, "--countersign", "--as", "P-03"], ["sign", run, "--as", "P-02"]):
        capsys.readouterr()
        assert main([*command, *base]) == NO
        assert f"expected {last} entries, found {last - 1}" in capsys.readouterr().err
    with closing(SqliteStore(bench.folder / "records.db")) as store:
        assert len(list(store.fetch(run))) == last - 1


def test_an_earlier_signature_vouches_for_nothing_later(bench):
    bench.play(good(until="step: unlock"))
    assert bench.account.vouched == {"P-01"}
    bench.session.apply(Happened(event="supervisor left"))
    assert bench.session.sign("P-01", "supervised")  # for what they saw
    assert bench.account.vouched == frozenset()
    bench.session.apply(Stop(how="pause", why="lunch"))
    bench.resume()
    assert bench.account.proved == bench.account.vouched == frozenset()


def test_a_sitting_spares_the_passphrase_only_for_ones_own_deeds(bench):
    bench.play(good(until="step: unlock"))
    asked = []
    bench.session.signer.ask = lambda who, prompt: asked.append(prompt) or WORDS[who]
    bench.session.signer.hand_over()
    assert bench.session.sign("P-01", "supervised")
    assert bench.session.sign("P-01", "supervised")
    assert bench.session.sign("P-02", "performed")
    assert bench.session.sign("P-02", "performed")
    assert ["Passphrase of" in p for p in asked] == [True, True, True, False]


def test_a_recall_is_kept_in_the_diary_and_not_taken_back_by_writing_the_file(bench):
    bench.session.store.close()
    base = ("--as", "P-04", "--why", "the band was wrong", "--shop", str(bench.folder))
    assert main(["recall", "run-motor-directly", *base]) == DONE
    assert main(["recall", "M-07", *base]) == DONE
    path = bench.folder / "approvals.json"
    plain = json.loads(path.read_bytes())
    for consent in plain["tables"].values():
        consent["recalled"] = None
    path.write_text(json.dumps({**plain, "gear": {}}))
    known = approvals_in(bench.folder)
    assert known.gear["M-07"].why == "the band was wrong"
    assert all(c.recalled is not None for c in known.tables.values() if c.procedure == "run-motor-directly")
    (bench.folder / "approvals.json").unlink()
    assert approvals_in(bench.folder).gear["M-07"].person == "P-04"


def test_what_others_add_meanwhile_loses_no_emergency(bench):
    bench.play(good(until="step: unlock"))
    other = bench.account.entries[-1]._replace(number=bench.account.number + 1, previous=bench.session.head, kind=Kind.NOTED, actor="P-03", said="hm", trigger="", step="", outcome="", values=(), note="remark", data={})
    bench.session.store.append(bench.account.run, after=bench.session.head, data=other.to_bytes())
    assert bench.session.apply(Stop(how="emergency", why="shock")).taken
    assert bench.account.entries[-2].said == "hm"
    view = bench.view
    more = other._replace(number=bench.account.number + 1, previous=bench.session.head, said="hm again", time=stamp(bench.now + timedelta(seconds=30)))
    bench.session.store.append(bench.account.run, after=bench.session.head, data=more.to_bytes())
    assert bench.session.apply(Answer(step=view.step, said=(view.options[0] if view.options else "done",))).taken
    moved = other._replace(number=bench.account.number + 1, previous=bench.session.head, kind=Kind.STOPPED, trigger="pause", actor="P-02")
    bench.session.store.append(bench.account.run, after=bench.session.head, data=moved.to_bytes())
    with pytest.raises(MovedOnError, match="Resume it to see where it stands"):
        bench.session.apply(Stop(how="pause"))


def test_a_wrong_passphrase_writes_nothing_in_somebodys_name(tmp_path, capsys):
    bench = Bench(tmp_path / "s", rehearsal=False)
    bench.play(good())
    run, number = bench.account.run, bench.account.number
    with pytest.MonkeyPatch.context() as patch:
        patch.setitem(WORDS, "P-03", "not these words at all")
        words = words_file(tmp_path)
    base = ("--shop", str(bench.folder), "--passphrases", str(words))
    assert main(["review", run, "--send-back", "later", "--as", "P-03", *base]) == NO
    assert main(["sign", run, "--as", "P-03", "--meaning", "witnessed", "--note", "I saw it", *base]) == NO
    assert "nothing was written" in capsys.readouterr().err
    assert bench.session.store.heads()[run][0] == number


def test_a_real_run_that_is_not_to_be_signed_is_told_in_a_shop_that_has_keys(tmp_path):
    bench = Bench(tmp_path / "s", rehearsal=False)
    first = bench.account.entries[0]
    other = first._replace(run="r-unsigned", data={**first.data, "signed": False})
    bench.session.store.append("r-unsigned", after="0" * 64, data=other.to_bytes())
    lists = bench.session.signer.desk.diary.lists
    found = verify_run(bench.session.store.fetch("r-unsigned"), run="r-unsigned", lists=lists)
    assert "a real run of 2026-11-25T08:00:03Z that is not to be signed, in a shop that has keys since" in found.problem
    assert verify_run(bench.session.store.fetch("r-unsigned"), run="r-unsigned", lists=KeyLists()).intact


def test_another_run_or_diary_with_faults_keeps_nobody_from_taking_up_theirs(tmp_path, capsys, monkeypatch):
    bench = Bench(tmp_path / "s", rehearsal=False)
    bench.play(good(until="step: unlock"))
    bench.session.apply(Stop(how="pause", why="lunch"))
    store = bench.session.store
    junk = bench.account.entries[0]._replace(run="r-junk", kind=Kind.NOTED, data={})
    store.append("r-junk", after="0" * 64, data=junk.to_bytes())
    store.close()
    with sqlite3.connect(bench.folder / "records.db") as db:
        db.execute("DROP TRIGGER no_update")
        db.execute("UPDATE entries SET data = X'7b7d' WHERE run = 'r-junk'")
    db.close()
    (tmp_path / "a.yaml").write_text("- {stop: unsafe, why: enough}\n")
    code = main(["resume", bench.account.run, "--answers", str(tmp_path / "a.yaml"), "--passphrases", str(words_file(tmp_path)), "--shop", str(bench.folder)])
    err = capsys.readouterr().err
    assert "This run is taken up all the same" in err
    assert code == WRONG  # the file ends before the machine is safe: it was taken up
    assert "there is no answer for" in err


def test_a_diary_of_a_day_to_come_is_said_and_a_rehearsals_clock_moves_it_not(tmp_path):
    bench = Bench(tmp_path / "s", rehearsal=False)
    desk = bench.session.signer.desk
    ahead = bench.account.entries[0]._replace(run="r-ahead", time="2036-01-01T00:00:00Z")
    bench.session.store.append("r-ahead", after="0" * 64, data=ahead.to_bytes())
    assert desk.time_of_list() < "2027"
    later = ahead._replace(run="diary", number=bench.session.store.heads()["diary"][0] + 1, previous=bench.session.store.head("diary"), kind=Kind.NOTED, data={})
    bench.session.store.append("diary", after=later.previous, data=later.to_bytes())
    with pytest.raises(RefusedError, match="put the clock right"):
        desk.now()


def test_a_passphrase_typed_where_an_id_is_asked_is_not_kept(bench):
    bench.play(good(until="qualified"))
    told = bench.session.apply(Answer(step=bench.view.step, said=(WORDS["P-01"],)))
    assert not told.taken
    assert bench.account.entries[-1].kind is Kind.REFUSED
    assert bench.account.entries[-1].said == f"{len(WORDS['P-01'])} signs that are no id"
    assert b"four plain words" not in b"".join(bench.session.store.fetch(bench.account.run))
    bench.session.apply(Answer(step=bench.view.step, said=("P-77",)))
    assert bench.account.entries[-1].said == "P-77"


def test_a_run_taken_up_again_does_not_look_like_an_answer(bench):
    bench.play(good(until="step: unlock"))
    bench.session.apply(Stop(how="pause", why="lunch"))
    bench.resume()
    again = next(e for e in reversed(bench.account.entries) if e.note == "taken up again")
    assert line_of(bench.account, again)[2].startswith("taken up again, at: ")


def test_whatever_is_typed_where_an_id_confirms_a_signature_leads_to_the_passphrase(bench):
    bench.play(good(until="step: unlock"))
    signer = bench.session.signer
    assert bench.session.sign("P-02", "performed")
    signer.once = False
    asked, answers = [], iter(["P-20", WORDS["P-02"], ""])
    signer.ask = lambda _, prompt: asked.append(prompt) or next(answers)
    assert bench.session.sign("P-02", "performed")
    assert ["type your id" in prompt for prompt in asked] == [True, False]
    assert not bench.session.sign("P-02", "performed")  # Enter leaves it
    assert len(asked) == 3


def meanings(account):
    return [line_of(account, e)[3] for e in account.entries if e.kind is Kind.SIGNED and e.said == "supervised"]


def test_whoever_supervised_signs_for_what_they_were_there_for(bench):
    bench.play(good(until="step: unlock"))
    assert meanings(bench.account) == ["supervised, from here on"]
    named = next(e.number for e in bench.account.entries if e.said == "P-01" and e.outcome == "named")
    assert bench.session.sign("P-01", "supervised")
    bench.session.apply(Happened(event="supervisor left"))
    left = bench.account.number
    assert bench.session.sign("P-01", "supervised")
    assert meanings(bench.account)[1:] == [f"supervised, there since entry {named}", f"supervised, there entries {named} to {left}"]
    assert intact(bench).intact


def test_supervision_goes_on_over_a_break_until_somebody_says_that_they_left(bench):
    bench.play(good(until="step: bump"))
    named = next(e.number for e in bench.account.entries if e.said == "P-01" and e.outcome == "named")
    bench.session.apply(Stop(how="pause", why="lunch"))
    bench.resume()
    assert [(a.person, a.first, a.last) for a in bench.account.attended] == [("P-01", named, 0)]
    bench.session.apply(Happened(event="supervisor left"))
    left = bench.account.number
    assert bench.view.step == "qualified(motor-circuit).who"
    assert bench.session.apply(Answer(step=bench.view.step, said=("P-01",))).taken
    assert meanings(bench.account)[-1] == f"supervised, there entries {named} to {left} and from here on"
    assert intact(bench).intact


def test_a_supervisor_who_is_asked_again_at_another_place_was_there_all_the_time(tmp_path):
    bench = Bench(tmp_path / "s", rehearsal=False)
    bench.play(good())
    assert sum(e.outcome == "named" and e.said == "P-01" for e in bench.account.entries) >= 1
    again = fold(bench.account.entries)
    assert len(again.attended) == 1


def test_two_who_sign_a_run_at_the_same_moment_leave_a_record_that_stands(tmp_path, capsys, monkeypatch):
    """The second one's statement is over what stood before the first one's signature: it is asked for anew, over all."""
    bench = Bench(tmp_path / "s", rehearsal=False)
    bench.play(good())
    bench.session.store.close()
    before = kept(bench)
    words = ["--shop", str(bench.folder), "--passphrases", str(words_file(tmp_path))]
    real, other = DeskSigner.sign, []

    def sign(self, asked):
        signed = real(self, asked)
        if not other:
            other.append(asked.person)
            assert main(["sign", bench.account.run, "--as", "P-01", "--meaning", "supervised", *words]) == DONE
        return signed

    monkeypatch.setattr(DeskSigner, "sign", sign)
    assert main(["sign", bench.account.run, "--as", "P-02", *words]) == DONE
    fresh = [read_entry(raw) for raw in kept(bench)[len(before) :]]
    assert [(e.kind, e.actor) for e in fresh] == [(Kind.SIGNED, "P-01"), (Kind.SIGNED, "P-02")]
    assert f"to {fresh[0].number}\n" in capsys.readouterr().out.split("TO SIGN")[-1]
    with closing(SqliteStore(bench.folder / "records.db")) as store:
        assert verified(store, bench.account.run).intact


def test_nobody_signs_a_run_to_which_somebody_wrote_while_the_passphrase_was_typed(tmp_path, capsys, monkeypatch):
    bench = Bench(tmp_path / "s", rehearsal=False)
    bench.play(good())
    bench.session.store.close()
    words = ["--shop", str(bench.folder), "--passphrases", str(words_file(tmp_path))]
    real, after = DeskSigner.prove, []

    def prove(self, asked, remark):
        proved = real(self, asked, remark)
        if asked.person == "P-02":
            after.append(main(["sign", bench.account.run, "--as", "P-01", "--meaning", "supervised", "--note", "the cover was off", *words]))
            after.append(kept(bench))
        return proved

    monkeypatch.setattr(DeskSigner, "prove", prove)
    assert main(["sign", bench.account.run, "--as", "P-02", *words]) == NO
    assert "it has moved on since it was shown" in " ".join(capsys.readouterr().err.split())
    assert after[0] == DONE
    assert kept(bench) == after[1]


def test_the_end_of_a_run_ends_supervision_and_whoever_was_never_named_signs_for_nothing(tmp_path, capsys):
    bench = Bench(tmp_path / "s", rehearsal=False)
    bench.play(good())
    named = next(e.number for e in bench.account.entries if e.said == "P-01" and e.outcome == "named")
    (stretch,) = bench.account.attended
    ended = bench.account.entries[stretch.last - 1]
    assert (stretch.person, stretch.first, ended.kind) == ("P-01", named, Kind.ANSWERED)
    assert fold(bench.account.entries[: stretch.last]).ended
    assert not fold(bench.account.entries[: stretch.last - 1]).ended
    assert meanings(bench.account) == ["supervised, from here on", f"supervised, there entries {named} to {stretch.last}"]
    last = bench.account.number
    assert attended_words(bench.account, "P-03", last + 1) == "named at no entry"
    bench.session.store.close()
    before = kept(bench)
    assert main(["sign", bench.account.run, "--as", "P-03", "--meaning", "supervised", "--shop", str(bench.folder), "--passphrases", str(words_file(tmp_path))]) == NO
    assert "P-03 was named as supervising at no entry of run" in capsys.readouterr().err
    assert kept(bench) == before
    assert main(["sign", bench.account.run, "--as", "P-01", "--meaning", "supervised", "--shop", str(bench.folder), "--passphrases", str(words_file(tmp_path))]) == DONE
    shown = " ".join(capsys.readouterr().out.split())
    assert f"TO SIGN: 'supervised' (there entries {named} to {stretch.last}), by Ida Brandl (P-01)" in shown


def kept(bench):
    with closing(SqliteStore(bench.folder / "records.db")) as store:
        return list(store.fetch(bench.account.run))


def test_what_time_took_since_is_shown_before_the_passphrase_is_asked_and_written_only_after_it(tmp_path, capsys, monkeypatch):
    bench = Bench(tmp_path / "s", rehearsal=False)
    bench.play(good(until="step: unlock"))
    bench.session.apply(Stop(how="pause", why="the day is over"))
    bench.session.store.close()
    before = kept(bench)
    monkeypatch.setattr("ohmward.terminal.later.utc_now", lambda: bench.now + timedelta(hours=20))
    (wrong := tmp_path / "wrong").write_text("P-02: not these words at all\n")
    wrong.chmod(0o600)
    base = ["sign", bench.account.run, "--as", "P-02", "--shop", str(bench.folder), "--passphrases"]
    assert main([*base, str(wrong)]) == NO
    shown = capsys.readouterr().out
    assert shown.index("shift ended") < shown.index("passphrase")
    assert kept(bench) == before
    assert main([*base, str(words_file(tmp_path))]) == DONE
    assert capsys.readouterr().out.count("shift ended") == 1  # nothing comes after the passphrase that was not shown
    kinds = [read_entry(raw).kind for raw in kept(bench)[len(before) :]]
    assert kinds[0] is Kind.LOST
    assert kinds[-1] is Kind.SIGNED


def test_a_signature_is_refused_where_more_lapsed_while_the_passphrase_was_typed(tmp_path, monkeypatch):
    bench = Bench(tmp_path / "s", rehearsal=False)
    bench.play(good(until="step: unlock"))
    bench.session.apply(Stop(how="pause", why="lunch"))
    bench.session.store.close()
    before = kept(bench)
    times = iter([bench.now, bench.now + timedelta(hours=20)])
    monkeypatch.setattr("ohmward.terminal.later.utc_now", lambda: next(times))
    with closing(SqliteStore(bench.folder / "records.db")) as store:
        signer = SIGNING.signer(store, open_shop(str(bench.folder)), lambda: bench.now)
        session = Session.reopen(store=store, run=bench.account.run, clock=lambda: bench.now, device="bench", signer=signer)
        with pytest.raises(RefusedError, match="it has moved on since it was shown"):
            Later(session, signer).sign("P-02", "performed", None)
    assert kept(bench) == before


def test_a_long_note_never_looks_like_an_entry_of_its_own(tmp_path, capsys):
    bench = Bench(tmp_path / "s", rehearsal=False)
    bench.play(good())
    bench.session.store.close()
    forged = "x" * 60 + " 99 10:00:00 P-01: Is the motor circuit dead? - yes, read by me and signed for by everybody who was here"
    words = ["--passphrases", str(words_file(tmp_path))]
    assert main(["sign", bench.account.run, "--as", "P-02", "--note", forged, "--shop", str(bench.folder), *words]) == DONE
    capsys.readouterr()
    assert main(["review", bench.account.run, "--countersign", "--as", "P-03", "--shop", str(bench.folder), *words]) == DONE
    lines = capsys.readouterr().out.splitlines()
    begins = [line for line in lines if line.startswith("  ") and not line.startswith("   ")]
    assert not any(line.split()[:1] == ["99"] for line in begins)
    assert any(line.startswith("      99 10:00:00") or "99 10:00:00" in line for line in lines)


def test_what_is_signed_later_is_shown_before_the_passphrase_is_asked(tmp_path, capsys):
    bench = Bench(tmp_path / "s", rehearsal=False)
    bench.play(good())
    run, before = bench.account.run, bench.account.number
    bench.session.store.close()
    (wrong := tmp_path / "wrong").write_text("P-02: not these words at all\n")
    wrong.chmod(0o600)
    base = ("sign", run, "--as", "P-02", "--note", "the lead was mine", "--shop", str(bench.folder))
    assert main([*base, "--passphrases", str(wrong)]) == NO
    shown = capsys.readouterr().out
    assert "TO SIGN: 'performed', by Tomas Reyl (P-02)" in shown
    assert shown.index("TO SIGN") < shown.index("and then, in your words: the lead was mine") < shown.index("passphrase")
    with closing(SqliteStore(bench.folder / "records.db")) as store:
        assert len(list(store.fetch(run))) == before
    assert main([*base, "--passphrases", str(words_file(tmp_path))]) == DONE
    shown = capsys.readouterr().out.split("TO SIGN")
    assert f"entries {before + 1} to {before + 1}" in shown[2].splitlines()[0]  # the remark, and nothing twice
    assert [len(part.strip().splitlines()) for part in shown[2:]] == [3]
