"""The scripted answers of the demo: a fan that does not start, a lunch break, a trip, its cause."""

ANSWERS = """\
# A rehearsal: answers in order, the same checks as in a real run.
- {step: arrival, say: nothing of the kind}
- {step: call-off, say: 'off'}
- {step: briefed.brief, say: somebody here who knows the switch and can give first aid}
- {step: qualified(motor-circuit).who, say: P-01}
- {step: machine-known.sources-found, say: only what this procedure names}
- {step: machine-known.told, say: 2 people}
- {step: locked-out(motor-circuit).open, say: done}
- {step: locked-out(motor-circuit).hold, say: my lock and my tag are on it}
- {step: locked-out(motor-circuit).try, say: nothing moved}
- {step: locked-out(motor-circuit).control-off, say: 'off'}
- {step: protection-on.ready, say: all of it is on and in order}
- {step: shock-protection(board-box).gloves, say: G-11}
- {step: open-board, say: done}
- step: meter-rated(voltmeter, motor-circuit).which
  say: M-04
- step: meter-rated(voltmeter, motor-circuit).which
  say: M-07
- step: looked-over(voltmeter).look
  say: whole and dry, leads and probes rated as the register says
- step: meter-proved(voltmeter).source
  say: K-01
- step: meter-proved(voltmeter).proof.known
  say: 240.3
- step: discharged(run-capacitor, board-box).fed
  say: 0.2
- step: discharged(run-capacitor, board-box).bleed
  say: done
- step: discharged(run-capacitor, board-box).read
  say: 0.4
- step: verified-dead(motor-circuit, board-box).before.known
  say: 240.6
- step: verified-dead(motor-circuit, board-box).dead
  say: [0.1, 0.2, 0.0]
- step: verified-dead(motor-circuit, board-box).after.known
  say: 240.4
- {step: read.leads-off, say: 'black, red, white last'}
- {step: read.windings, say: [9.8, 14.6]}
- step: meter-rated(insulation-tester, motor-circuit).which
  say: I-01
- step: looked-over(insulation-tester).look
  say: whole and dry, leads and probes rated as the register says
- {step: tester-checked(insulation-tester).together, say: 0.0}
- {step: tester-checked(insulation-tester).apart, say: OL}
- {step: read.insulation, say: OL}
- {step: read.capacitance, say: 7.42}
- {step: read.turn-by-hand, say: freely}
- step: lead-rated(motor-circuit).which
  say: L-20
- step: lead-rated(motor-circuit).which
  say: L-05
- step: meter-rated(clamp, motor-circuit).which
  say: C-02
- step: looked-over(clamp).look
  say: whole and dry, leads and probes rated as the register says
- {step: fit-lead, say: done}
- {step: load-rated, say: 'yes, for the horsepower or the locked-rotor current'}
- {stop: pause, why: lunch}
- {after: 45 min}
- {step: tools-accounted-for.count, say: 9 tools}
- {step: warn, say: 'Ida, the baker'}
- {step: area-clear.look, say: nobody is}
- {step: unlock, say: done}
- {step: told, say: 2 people}
- {step: protected-from(fan).kept-off, say: a barrier stands around it}
- {step: area-clear.look, say: nobody is}
- {step: bump, say: the branch tripped}
- {step: trip-open, say: done}
- {step: locked-out(motor-circuit).open, say: done}
- {step: locked-out(motor-circuit).hold, say: my lock and my tag are on it}
- {step: locked-out(motor-circuit).try, say: nothing moved}
- {step: locked-out(motor-circuit).control-off, say: 'off'}
- step: discharged(run-capacitor, board-box).fed
  say: 0.2
- step: discharged(run-capacitor, board-box).bleed
  say: done
- step: discharged(run-capacitor, board-box).read
  say: 0.3
- step: verified-dead(motor-circuit, board-box).before.known
  say: 240.5
- step: verified-dead(motor-circuit, board-box).dead
  say: [0.1, 0.1, 0.0]
- step: verified-dead(motor-circuit, board-box).after.known
  say: 240.4
- {step: cause, say: the cause is found and put right}
- {step: after-trip.lead-off, say: done}
- {step: after-trip.close-board, say: done}
- {step: tripped-end, say: tripped - lead was pinched under the cover}
"""
