"""What `ohmward new` writes: a village bakery and a pool plant room with invented people and gear."""

from datetime import date

_SHOP = """\
shop: Kornmuehle Service (an invented employer)
shift: 10 h
"""
_ROSTER = """\
people:
  - {id: P-01, name: Ida Brandl, role: qualified-person, qualified_for: [single-phase-fan, three-phase-pump, cooling-unit]}
  - {id: P-02, name: Tomas Reyl, role: apprentice}
  - {id: P-03, name: Nuria Falk, role: supervisor, qualified_for: [single-phase-fan, three-phase-pump, cooling-unit]}
  - {id: P-04, name: Oskar Lindt-Weiss, role: safety-officer}
"""
_GEAR = """\
gear:
  - id: M-04
    label: Pocket multimeter, CAT II 600 V
    slots: [voltmeter]
    category: 2
    voltage: 600 V
    calibrated: CALIBRATED
    accuracy:
      ac volts: {percent: 1.0, counts: 3, resolution: 0.1 V}
      dc volts: {percent: 0.5, counts: 2, resolution: 0.1 V}
      ohms: {percent: 1.0, counts: 2, resolution: 0.1 ohm}
  - id: M-07
    label: Multimeter, CAT III 600 V
    slots: [voltmeter]
    category: 3
    voltage: 600 V
    leads: {category: 3, voltage: 1000 V}
    calibrated: CALIBRATED
    accuracy:
      ac volts: {percent: 0.7, counts: 2, resolution: 0.1 V}
      dc volts: {percent: 0.5, counts: 2, resolution: 0.1 V}
      low-impedance volts: {percent: 2.0, counts: 3, resolution: 0.1 V}
      ohms: {percent: 0.8, counts: 2, resolution: 0.1 ohm}
      microfarads: {percent: 1.0, counts: 3, resolution: 0.01 uF}
  - id: M-08
    label: Multimeter, CAT III 600 V, spare
    slots: [voltmeter]
    category: 3
    voltage: 600 V
    leads: {category: 3, voltage: 600 V}
    calibrated: CALIBRATED
    accuracy:
      ac volts: {percent: 0.7, counts: 2, resolution: 0.1 V}
      dc volts: {percent: 0.5, counts: 2, resolution: 0.1 V}
      low-impedance volts: {percent: 2.0, counts: 3, resolution: 0.1 V}
      ohms: {percent: 0.8, counts: 2, resolution: 0.1 ohm}
      microfarads: {percent: 1.0, counts: 3, resolution: 0.01 uF}
  - id: C-02
    label: Clamp meter, CAT III 600 V
    slots: [clamp]
    category: 3
    voltage: 600 V
    calibrated: CALIBRATED
    accuracy:
      clamp amps: {percent: 2.0, counts: 5, resolution: 0.01 A}
  - id: I-01
    label: Insulation tester, 500 V, CAT III 600 V
    slots: [insulation-tester]
    category: 3
    voltage: 600 V
    calibrated: CALIBRATED
    accuracy:
      insulation: {percent: 5.0, counts: 5, resolution: 0.1 Mohm}
  - id: T-03
    label: Clamp thermometer with two probes
    slots: [thermometer]
    calibrated: CALIBRATED
    accuracy:
      temperature: {percent: 0, counts: 5, resolution: 0.1 delta-degF}
  - id: R-06
    label: Refrigerant gauges with a display
    slots: [gauges]
    calibrated: CALIBRATED
    accuracy:
      pressure: {percent: 0.5, counts: 1, resolution: 1 psig, up_to: 800 psig}
  - {id: K-01, label: Proving unit 240 V, slots: [known-source], own_voltage: 240 V}
  - {id: G-11, label: Rubber gloves class 0 with leathers, slots: [gloves], glove_class: "0", tested: TESTED, first_issued: TESTED}
  - {id: G-12, label: Rubber gloves class 00 with leathers, slots: [gloves], glove_class: "00", tested: 2020-01-15, first_issued: 2020-02-01}
  - {id: L-05, label: Test lead with 5 A fuse, slots: [test-lead], voltage: 600 V, fuse: 5 A}
  - {id: L-02, label: Test lead with 2 A fuse, slots: [test-lead], voltage: 600 V, fuse: 2 A}
  - {id: L-20, label: Test lead with 20 A fuse, slots: [test-lead], voltage: 600 V, fuse: 20 A}
"""
_JOB = """\
job: J-2026-014
site: Village bakery, proving room
address: 3 Mill Lane, behind the shop
equipment: proving-fan
kind: single-phase-fan
complaint: The exhaust fan of the proving room does not start
emergency:
  cut_power: Main switch in the passage to the flour store
  call: '112, then the shop phone'
people: {worker: P-02, supervisor: P-01}
facts:
  motor-kind: split-capacitor
  full-load-current: 3.2 A
  lowest-winding: 4 ohm
  highest-winding: 30 ohm
  power: 0.25 hp
  winding-temperature: 24 degC
  maker-temperature: 20 degC
  lowest-insulation: 5 Mohm
  capacitance: 7.5 uF
  capacitance-tolerance: 6 %
  speed-leads: [black, red]
  zones: [proving room, flour store]
circuits:
  line-side:
    to_ground: 120 V
    phase_to_phase: 120 V
    category: 3
    protection: 15 A
    frequency: 60 Hz
    can_hold_dc: no
    conductors: [line, neutral]
  motor-circuit:
    to_ground: 120 V
    phase_to_phase: 120 V
    category: 3
    protection: 15 A
    frequency: 60 Hz
    can_hold_dc: no
    conductors: [line, neutral]
  control:
    to_ground: 24 V
    phase_to_phase: 24 V
    category: 2
    protection: 3 A
    frequency: 60 Hz
    conductors: [r, c]
"""
_POOL = """\
job: J-2026-021
site: Swimming pool, plant room
address: 18 Lido Road, door beside the boiler house
equipment: filter-pump
kind: three-phase-pump
complaint: The filter pump runs loud and warm
emergency:
  cut_power: Red handle at the plant room door
  call: '112, then the pool office'
people: {worker: P-02, supervisor: P-01}
facts:
  motor-kind: three-phase
  power: 2 hp
  rated-voltage: 208 V
  full-load-current: 7.2 A
circuits:
  line-side:
    to_ground: 120 V
    phase_to_phase: 208 V
    category: 3
    protection: 20 A
    frequency: 60 Hz
    can_hold_dc: no
    conductors: [a, b, c]
  motor-circuit:
    to_ground: 120 V
    phase_to_phase: 208 V
    category: 3
    protection: 20 A
    frequency: 60 Hz
    can_hold_dc: no
    conductors: [a, b, c]
"""
_COLD = """\
job: J-2026-022
site: Village bakery, flour store
address: 3 Mill Lane, behind the shop
equipment: store-cooler
kind: cooling-unit
complaint: The flour store does not get cool
emergency:
  cut_power: Main switch in the passage to the flour store
  call: '112, then the shop phone'
people: {worker: P-02, supervisor: P-01}
facts:
  refrigerant: r-410a
  metering: fixed-orifice
  target-subcooling: 10 delta-degF
circuits:
  motor-circuit:
    to_ground: 120 V
    phase_to_phase: 208 V
    category: 3
    protection: 20 A
    frequency: 60 Hz
    can_hold_dc: no
    conductors: [line one, line two]
  control:
    to_ground: 24 V
    phase_to_phase: 24 V
    category: 2
    protection: 3 A
    frequency: 60 Hz
    conductors: [r, c]
"""


def starter_files(*, calibrated: date, tested: date) -> dict[str, str]:
    """The files by their path below the shop."""
    gear = _GEAR.replace("CALIBRATED", calibrated.isoformat()).replace("TESTED", tested.isoformat())
    return {
        "shop.yaml": _SHOP,
        "roster.yaml": _ROSTER,
        "gear.yaml": gear,
        "job-proving-fan.yaml": _JOB,
        "job-filter-pump.yaml": _POOL,
        "job-store-cooler.yaml": _COLD,
        "procedures/README.txt": (
            "Files of your own go here: procedures beside this one, gates, groups and rules in gates/, groups/ and rules/.\n"
            "`ohmward copy isolate isolate-ours` begins with a copy of what is shipped; `ohmward check` proves them.\n"
        ),
    }
