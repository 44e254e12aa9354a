"""The working behind a number: on screen, in a refusal, from the command line. And what a reading is judged by."""

import json
from decimal import Decimal

import pytest

from ohmward.account.judge import NOT_DECIDED, Accuracy, first_unmet, judge_reading
from ohmward.account.limits import computed_lines, limit_lines, limit_workings
from ohmward.account.names import value_of
from ohmward.language.expression import Undecided, parse_expression
from ohmward.language.working import filled, shown, told, workings
from ohmward.terminal.main import main
from ohmward.trade.quantity import Quantity, parse_quantity
from ohmward.trade.span import Interval
from tests.conftest import table_of

Q = parse_quantity


def step(bands, **more):
    made = {"unit": "V", "slot": "voltmeter", "decided_by": "each", "bands": bands, "outcomes": [{"name": b["name"], "then": "", "effects": []} for b in bands]}
    return made | more


UNBALANCE = step([{"name": "even", "up_to": "1 %"}, {"name": "uneven", "up_to": "5 %"}, {"name": "too much"}], computes="voltage-unbalance(value-1, value-2, value-3)")
EXACT = Accuracy(percent=Decimal(0), counts=0, resolution=Q("0.1 V"))
COARSE = Accuracy(percent=Decimal("0.7"), counts=2, resolution=Q("0.1 V"))


def judged(known, *said, of=UNBALANCE, names=None):
    return judge_reading(of, [(f"p{n}", text) for n, text in enumerate(said)], known, names or {})


@pytest.mark.parametrize(("said", "outcome"), [
    (("198", "200", "202"), "even"), (("198", "200", "202.1"), "uneven"), (("190", "200", "210"), "uneven"), (("189.9", "200", "210.1"), "too much"),
])  # fmt: skip
def test_three_values_are_judged_by_what_is_worked_out_of_them(said, outcome):
    found = judged(EXACT, *said)
    assert found.outcome == outcome
    assert [v.said for v in found.values] == list(said)


def test_within_the_instruments_accuracy_of_a_limit_it_is_not_decided_and_beyond_it_is():
    found = judged(COARSE, "198", "200", "202")
    assert found.outcome == NOT_DECIDED
    assert "cannot tell 'even' from 'uneven'" in found.why
    assert judged(COARSE, "193", "200", "205").outcome == "uneven"
    assert judged(COARSE, "150", "200", "205").outcome == "too much"


def test_over_range_has_no_unbalance():
    assert judged(EXACT, "198", "OL", "202").outcome == NOT_DECIDED


@pytest.mark.parametrize("computes", ["absorption-ratio(value-1, value-2)", "value-1 / value-2", "value-1 - value-2", "10 ohm - value", "absorption-ratio(value, 1 ohm)", "max(value, 1 ohm)", "copper-at(value, 20 degC, 20 degC) - value"])
def test_over_range_goes_on_only_where_what_is_worked_out_rises_with_it(computes):
    bands = [{"name": "low", "below": "2"}, {"name": "good", "over_range": "here"}]
    read = step(bands, unit="ohm", slot="insulation-tester", computes=computes)
    known = Accuracy(percent=Decimal(0), counts=0, resolution=Q("0.1 ohm"))
    assert judged(known, "OL", "0.5", of=read).outcome == NOT_DECIDED
    rising = step([{"name": "low", "below": "2 ohm"}, {"name": "good", "over_range": "here"}], unit="ohm", computes="copper-at(insulation-at-40(value, 20 degC), 20 degC, 20 degC)")
    assert judged(known, "OL", of=rising).outcome == "good"


def test_over_range_says_no_more_than_the_range_reaches():
    bands = [{"name": "low", "below": "5 Mohm"}, {"name": "good", "over_range": "here"}]
    read = step(bands, unit="Mohm", slot="insulation-tester", computes="insulation-at-40(value, fact.t)")
    small, large = (Accuracy(percent=Decimal(0), counts=0, resolution=Q("0.1 Mohm"), up_to=Q(top)) for top in ("20 Mohm", "1 Gohm"))
    cold, warm = {"fact.t": Q("0 degC")}, {"fact.t": Q("20 degC")}
    assert judged(small, "OL", of=read, names=warm).outcome == "good"  # at least 5 Mohm at 40 degC
    assert judged(small, "OL", of=read, names=cold).outcome == NOT_DECIDED  # 1.25 Mohm only
    assert judged(large, "OL", of=read, names=cold).outcome == "good"


def test_a_dead_ground_is_too_low_and_not_undecided():
    read = step([{"name": "low", "below": "5 Mohm"}, {"name": "good", "over_range": "here"}], unit="Mohm", slot="insulation-tester", computes="insulation-at-40(value, 20 degC)")
    tester = Accuracy(percent=Decimal(5), counts=5, resolution=Q("0.1 Mohm"))
    assert [judged(tester, said, of=read).outcome for said in ("0.0", "0.3", "0.6", "5")] == ["low"] * 4


def test_nothing_is_colder_than_absolute_zero():
    cold = step([{"name": "cold", "below": "0 degC"}, {"name": "warm"}], unit="degC", slot="thermometer")
    with pytest.raises(ValueError, match="below absolute zero"):
        judged(Accuracy(percent=Decimal(0), counts=0, resolution=Q("0.1 K")), "-273.2", of=cold)
    assert judged(Accuracy(percent=Decimal(0), counts=0, resolution=Q("0.1 K")), "-273.1", of=cold).outcome == "cold"


def test_a_sum_that_would_lose_digits_is_undecided_and_erases_no_voltage():
    big = " * ".join(["100000000000"] * 6)
    dead = step([{"name": "dead", "below": "3 V"}, {"name": "live"}], computes=f"value + {big} * 1 V - {big} * 1 V")
    assert judged(EXACT, "340", of=dead).outcome == NOT_DECIDED


def test_each_value_by_itself_is_worked_out_and_the_worst_decides():
    bands = [{"name": "shorted", "below": "10 ohm"}, {"name": "in order", "up_to": "12 ohm"}, {"name": "open", "over_range": "here"}]
    winding = step(bands, unit="ohm", computes="copper-at(value, fact.now, 20 degC)")
    winding["outcomes"][0]["then"] = winding["outcomes"][2]["then"] = "stop"
    exact = Accuracy(percent=Decimal(0), counts=0, resolution=Q("0.01 ohm"))
    names = {"fact.now": Q("75 degC")}
    assert judged(exact, "12.2", "14", of=winding, names=names).outcome == "in order"  # 10.03 and 11.5 ohm at 20 degC
    assert judged(exact, "12.1", "14", of=winding, names=names).outcome == "shorted"  # 9.95 ohm at 20 degC
    assert judged(exact, "12.2", "OL", of=winding, names=names).outcome == "open"
    assert judged(exact, "12.2", "14", of=winding).outcome == NOT_DECIDED  # the temperature is not known
    assert judged(exact, "12.2", "14", of=winding).why == "fact.now is not known"


def test_what_a_calculation_refuses_is_not_decided_with_its_reason():
    index = step([{"name": "low", "below": "2"}, {"name": "good", "over_range": "here"}], unit="Gohm", computes="polarization-index(value-1, value-2)")
    fine = Accuracy(percent=Decimal(0), counts=0, resolution=Q("1 Mohm"))
    assert judged(fine, "20", "150", of=index).why == "above 5000 Mohm after one minute the index means nothing"
    assert judged(fine, "5", "7", of=index).outcome == "low"


def test_a_thermometer_keeps_its_sign_and_its_accuracy_is_a_difference():
    cold = step([{"name": "frost", "below": "0 degC"}, {"name": "above"}], unit="degC", slot="thermometer")
    known = Accuracy(percent=Decimal(0), counts=5, resolution=Q("0.1 K"))
    found = judged(known, "-5", of=cold)
    assert (found.outcome, found.values[0].low, found.values[0].high) == ("frost", "-5.5 degC", "-4.5 degC")
    assert judged(known, "23 degF", of=cold).outcome == "frost"
    assert judged(known, "0.4", of=cold).outcome == NOT_DECIDED
    assert judged(known, "0.6", of=cold).outcome == "above"
    gauge = step([{"name": "vacuum", "below": "0 psig"}, {"name": "pressure"}], unit="psig", slot="gauges")
    assert judged(Accuracy(percent=Decimal(0), counts=1, resolution=Q("0.1 psig")), "-3", of=gauge).outcome == "vacuum"


def test_a_volt_meter_still_loses_its_polarity():
    live = step([{"name": "dead", "below": "3 V"}, {"name": "live"}])
    assert judged(EXACT, "-120", of=live).outcome == "live"


# -- words ------------------------------------------------------------------------------------------------------


def test_limits_and_their_working_stand_in_words():
    names = {"fact.c": Q("7.5 uF"), "fact.t": Q("6 %")}
    capacitor = {"bands": [{"name": "low", "below": "capacitance-lowest(fact.c, fact.t)"}, {"name": "good", "up_to": "1.06 * fact.c"}, {"name": "high", "over_range": "here"}]}
    assert limit_lines(capacitor, names) == ("low: below 7.05 uF (capacitance-lowest)", "good: from 7.05 uF, up to 7.95 uF (1.06 * fact.c)", "high: above 7.95 uF, or OL")
    assert limit_lines(capacitor, {}, as_written=True)[0] == "low: below capacitance-lowest(fact.c, fact.t)"
    assert limit_lines(capacitor, {})[0] == "low: below not known (fact.c is not known) (capacitance-lowest)"
    assert limit_lines(capacitor, {})[2] == "high: above what is not known, or OL"
    assert limit_lines({"bands": [{"name": "read"}]}, {}) == ("read: any value",)
    (work,) = limit_workings(capacitor, names)
    assert work.line == (
        "capacitance-lowest = label x (1 - tolerance); label 7.5 uF, tolerance 6 %; = 7.05 uF [the capacitor's own label; 6 % is usual for run "
        "capacitors (a capacitor maker's article, secondary); secondary source]"
    )
    assert computed_lines({"computes": "value * 2"}) == ("value * 2",)
    assert computed_lines(capacitor) == ()
    assert computed_lines(UNBALANCE)[0] == "voltage-unbalance(value-1, value-2, value-3)"
    assert computed_lines(UNBALANCE)[1].startswith("voltage-unbalance: largest deviation from the mean, up or down, / mean of the three [NEMA MG 1")
    winding = {"computes": "copper-at(value, fact.now, 20 degC)"}
    assert computed_lines(winding, {"fact.now": Q("24 degC")})[0] == "copper-at(value, fact.now (24 degC), 20 degC)"
    assert computed_lines(winding, {})[0] == "copper-at(value, fact.now (not known (missing)), 20 degC)"


def test_the_inner_calculation_comes_before_the_outer_and_each_once():
    names = {"p": Q("118 psig"), "t": Q("55 degF")}
    tree = parse_expression("max(superheat(R-410A, p, t), superheat(R-410A, p, t)) >= target-superheat(67 degF, max(95 degF, t)) and not -peak-of(1 V) > 2 V")
    found = workings(tree, names)
    assert [w.name for w in found] == ["superheat", "target-superheat", "peak-of"]
    assert found[0].ending == "dew temperature about 39.843 degF; about 15.157 delta-degF"
    assert workings(parse_expression("superheat(R-410A, p, t)"), {})[0].ending == "not known (p is not known)"
    assert workings(parse_expression("superheat(R-410A, 999 psig, t)"), names)[0].via == ()


@pytest.mark.parametrize(("value", "name", "words"), [
    (Q("208 V"), "", "208 V"), (Q("1234567 ohm"), "", "about 1234570 ohm"), (Quantity(Decimal(1) / 3), "", "about 0.333333"), (Q("3"), "gear.category", "CAT III"),
    (Q("5"), "it.category", "5"), (True, "", "yes"), (False, "", "no"), ("plug", "", "plug"), (Interval(Q("1 V"), Quantity(Decimal(7) / 3, "V")), "", "1 V to 2.33333 V"),
    (Undecided("gone"), "", "not known (gone)"),
])  # fmt: skip
def test_a_value_in_words(value, name, words):
    assert shown(value, name) == words


def test_a_condition_is_told_with_its_values():
    names = {"a": Q("600 V"), "b": Q("120 V"), "gear.category": Q("2"), "ok": True}
    assert told("a >= b and not (gear.category < 3 or a + b > 1 V)", names) == "a (600 V) >= b (120 V) and not (gear.category (CAT II) < 3 or a (600 V) + b (120 V) > 1 V)"
    assert told("ok", names) == "ok (yes)"
    assert told("class-2(a, 40 VA)", names) == "class-2(a (600 V), 40 VA)"
    assert told("to-ground(grounded-wye, a)", names) == "to-ground(grounded-wye, a (600 V))"
    assert told("gone", {}) == "gone (not known (missing))"


def test_a_refusal_shows_the_values_and_a_missing_one_says_so():
    suits = [{"require": "a > b", "otherwise": "It has {a}, here it is {b}; {c}."}]
    assert first_unmet(suits, {"a": Q("1 V"), "b": Q("2 V")}) == ("a > b", "It has 1 V, here it is 2 V; not known (missing).")
    assert filled("no braces", {}) == "no braces"
    assert filled("{a} {a}", {"a": "{b}", "b": "x"}) == "{b} {b}"  # what is filled in is not read again


# -- ohmward reckon, ohmward match ------------------------------------------------------------------------------


def test_reckon_lists_describes_and_computes(capsys):
    assert main(["reckon"]) == 0
    listed = capsys.readouterr().out
    assert "voltage-unbalance" in listed
    assert "refrigerant side" in listed
    assert main(["reckon", "superheat"]) == 0
    described = capsys.readouterr().out
    assert "one of R-22, R-32" in described
    assert "holds for" in described
    assert main(["reckon", "superheat", "refrigerant=r-410a", "pressure=118 psig", "line=55 degF"]) == 0
    made = " ".join(capsys.readouterr().out.split())
    assert "dew temperature about 39.843 degF result about 15.157 delta-degF" in made
    assert "does not replace local code" in made


def test_reckon_takes_a_span_and_says_what_cannot_be_known(capsys):
    assert main(["reckon", "voltage-unbalance", "value-1=199 V..201 V", "value-2=200 V", "value-3=200 V", "--json"]) == 0
    made = json.loads(capsys.readouterr().out)
    assert (made["decided"], made["inputs"]["value-1"], made["between"]) == (True, "199 V to 201 V", {"mean": "about 199.667 V to 200.333 V"})
    assert main(["reckon", "subcooling", "refrigerant=r-410a", "pressure=340 psig", "line=95 degF..96 degF", "--json"]) == 0
    assert "bubble temperature" in json.loads(capsys.readouterr().out)["between"]
    assert main(["reckon", "class-2", "voltage=29 V..31 V", "power=40 VA"]) == 1
    assert "the instrument cannot tell 'yes' from 'no' here" in " ".join(capsys.readouterr().out.split())
    assert main(["reckon", "target-superheat", "wet-bulb=62 degF", "outdoor=95 degF", "--json"]) == 1
    assert json.loads(capsys.readouterr().out)["decided"] is False
    assert main(["reckon", "target-superheat", "wet-bulb=62 degF", "outdoor=95 degF"]) == 1
    assert "forbids to charge" in " ".join(capsys.readouterr().out.split())


@pytest.mark.parametrize(("arguments", "why"), [
    (["superheet"], "did you mean 'superheat'?"),
    (["superheat", "line"], "is not NAME=VALUE"),
    (["superheat", "lyne=55 degF"], "did you mean 'line'?"),
    (["superheat", "line=55 degF", "line=56 degF"], "'line' is given twice"),
    (["superheat", "line=55 degF"], "also needs: refrigerant, pressure"),
    (["peak-of", "voltage=much"], "voltage: 'much' does not begin with a number"),
    (["peak-of", "voltage=2 V..1 V"], "is empty"),
    (["peak-of", "voltage=1 V..2 A"], "of different kinds"),
])  # fmt: skip
def test_a_wrong_word_on_the_command_line_is_exit_2(capsys, arguments, why):
    assert main(["reckon", *arguments]) == 2
    assert why in capsys.readouterr().err


def test_what_is_typed_to_reckon_is_inert(capsys):
    assert main(["reckon", "superheat", "refrigerant=\x1b[31mR", "pressure=118 psig", "line=55 degF"]) == 1
    assert "\x1b[31m" not in capsys.readouterr().out


def test_match_tells_what_differs_and_its_exit_code(tmp_path, capsys):
    plate = "voltage: 120 V\nfrequency: 60 Hz\nphases: single-phase\npower: 0.25 hp\nspeed: 1075 rpm\nfull_load: 3.2 A\nframe: 48Y\nshaft: 1/2 in\nrotation: clockwise\ncapacitance: 7.5 uF\ncapacitor_voltage: 370 V\nprotection: automatic\n"
    old, new = tmp_path / "old.yaml", tmp_path / "new.yaml"
    old.write_text(plate)
    new.write_text(plate.replace("0.25 hp", "0.33 hp"))
    assert main(["match", str(old), str(old)]) == 0
    assert "Nothing differs." in capsys.readouterr().out
    assert main(["match", str(old), str(new)]) == 0
    assert "note   power: 0.25 hp -> 0.33 hp" in capsys.readouterr().out
    new.write_text(plate.replace("120 V", "240 V"))
    assert main(["match", str(old), str(new)]) == 1
    assert "STOPS  voltage: 120 V -> 240 V" in capsys.readouterr().out
    assert main(["match", str(old), str(new), "--json"]) == 1
    assert json.loads(capsys.readouterr().out)["fits"] is False
    assert main(["match", str(old), str(tmp_path / "none.yaml")]) == 2
    new.write_text(plate.replace("voltage: 120 V", "voltage: 120"))
    assert main(["match", str(old), str(new)]) == 2
    assert "new.yaml:1:10: bad-value" in capsys.readouterr().err


def test_a_meter_that_reaches_to_ground_and_not_between_conductors_is_refused():
    """480Y/277 V: 277 V to ground, 480 V between conductors; an instrument of 300 V is fit for neither pair of lines."""
    steps = table_of("isolate").data["steps"]
    suits = next(s["suits"] for n, s in steps.items() if n.startswith("meter-rated(") and s["kind"] == "gear")
    circuit = {"category": value_of("3"), "to-ground": value_of("277 V"), "phase-to-phase": value_of("480 V")}
    names = {f"it.{k}": v for k, v in circuit.items()} | {"gear.withdrawn": False, "gear.in-date": True, "gear.category": value_of("3"), "gear.voltage": value_of("300 V")}
    unmet, otherwise = first_unmet(suits, names)
    assert unmet
    assert "It is rated 300 V, by the lowest of instrument, leads and probes; between conductors it is 480 V here." in otherwise
    assert first_unmet(suits, {**names, "gear.voltage": value_of("480 V")}) == ("", "")
