"""What a step may hold, with its outcomes: the fields that procedures, gates and groups share."""

from collections.abc import Iterable
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

from ohmward.language.fields import (
    Amount,
    Change,
    GateCall,
    Ident,
    Label,
    Limit,
    Many,
    NoneOrMany,
    Point,
    Prose,
    Small,
    Target,
    Time,
    Unit,
)

Function = Literal[
    "ac volts",
    "dc volts",
    "low-impedance volts",
    "ohms",
    "microfarads",
    "insulation",
    "clamp amps",
    "temperature",
    "pressure",
]
VOLTS = frozenset({"ac volts", "dc volts", "low-impedance volts"})


def taken_with(function: str | None, functions: Iterable[str]) -> set[str]:
    """Every function that a reading may be taken with, whatever decides between them."""
    return {function or "", *(f.partition(" where ")[0] for f in functions)}


class Model(BaseModel):
    """Frozen; unknown keys are faults."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)


class Require(Model):
    """One condition and what to say when it does not hold."""

    require: Limit = Field(description="Condition in the limit grammar; only true permits.")
    otherwise: Prose = Field(description="What to say, and what to do, when it is false or undecided.")


class Fact(Model):
    """A value about the job: from the job sheet, else asked first, or where a `fact:` step asks it."""

    ask: Prose | None = Field(default=None, description="The question, when the job sheet is silent.")
    one_of: Many[Ident] | None = Field(default=None, description="The words that it can be.")
    unit: Unit | None = Field(default=None, description="Unit of a number.")
    up_to: Amount | None = Field(default=None, description="Largest value that is believed.")
    from_: Amount | None = Field(default=None, alias="from", description="Smallest value that is believed.")
    list_of: Literal["text"] | None = Field(default=None, description="`text`: a list of short texts.")
    kind: Literal["text", "date"] | None = Field(
        default=None, description="`text` or `date`, where it is neither a number nor a word of a list."
    )


class Picture(Model):
    """Where probes or hands go: what stands there, in the order in which the eye finds it."""

    strip: Many[Point] = Field(description="Terminals or parts, from left to right or from top to bottom.")
    along: Literal["left to right", "top to bottom"] = Field(
        default="left to right", description="How the strip runs."
    )
    words: Prose = Field(description="The same in words, for whoever cannot see the drawing.")


class Way(Model):
    """One named way a reading or a choice can come out."""

    name: Label = Field(description="What it is called.")
    then: Target | None = Field(
        default=None,
        description="Where to go: a step, an end; in a gate also held, repeat, fail. Default: on.",
    )
    changes: Many[Change] = Field(default=(), description="Effects of this outcome.")
    finding: Prose | None = Field(default=None, description="What this establishes.")
    counts: Literal["yes"] | None = Field(
        default=None,
        description="`yes`: counts as the step's evidence although it goes elsewhere or changes something.",
    )
    work: Literal["ends", "stays off", "goes on"] | None = Field(
        default=None,
        description="What becomes of the work: `ends`: after it things are opened, held off, covered and told, no more; "
        "`stays off`: nothing is fed again; `goes on`: it is harmless, whatever its words sound like.",
    )
    repeats: Small | None = Field(
        default=None, description="How often `then:` is followed before `exhausted:`, 1 to 5."
    )
    exhausted: Target | None = Field(
        default=None, description="Where to go when the repeats are used up; goes with `repeats:`."
    )


class Band(Way):
    """One named range of a reading; bands stand in ascending order."""

    below: Limit | None = Field(default=None, description="Upper limit, not included.")
    up_to: Limit | None = Field(default=None, description="Upper limit, included.")
    over_range: Literal["here"] | None = Field(default=None, description="`here`: the display shows OL.")


class Option(Way):
    """One answer of a choice."""

    only_if: Limit | None = Field(
        default=None, description="Condition under which it may be chosen; only true permits."
    )
    otherwise: Prose | None = Field(
        default=None, description="What to say when it may not be chosen; goes with `only_if:`."
    )


class Step(Model):
    """One thing a person does, reads, chooses, confirms, signs. Exactly one of the kind fields."""

    action: Prose | None = Field(default=None, description="Kind: something to do.")
    confirm: Prose | None = Field(
        default=None, description="Kind: something to see or say, with a value read back."
    )
    reading: Prose | None = Field(default=None, description="Kind: something to measure.")
    choice: Prose | None = Field(default=None, description="Kind: a question with named answers.")
    fact: Ident | None = Field(
        default=None, description="Kind: a declared fact, asked here unless the job sheet says it."
    )
    gear: Prose | None = Field(default=None, description="Kind: something to pick from the register.")
    person: Prose | None = Field(default=None, description="Kind: who does, supervises or seconds.")
    sign: Prose | None = Field(default=None, description="Kind: what somebody signs for.")
    photo: Prose | None = Field(default=None, description="Kind: a picture to take.")
    group: Ident | None = Field(default=None, description="A step group, put in here.")

    title: Prose | None = Field(default=None, description="Short heading.")
    do: Many[Prose] = Field(default=(), description="How, as a list of short sentences.")
    why: Prose | None = Field(default=None, description="Why this step is here.")
    picture: Picture | None = Field(default=None, description="Where the probes go.")
    expect: Prose | None = Field(default=None, description="The usual value.")
    caution: Prose | None = Field(default=None, description="Minor injury or damage possible.")
    warning: Prose | None = Field(default=None, description="Death or serious injury possible.")
    danger: Prose | None = Field(default=None, description="Death or serious injury if not avoided.")
    basis: Many[Prose] = Field(default=(), description="Clauses, or `common practice, no source`.")
    shows: Many[Literal["emergency", "hazards"]] = Field(
        default=(), description="What the screen adds: `emergency` of the job sheet, `hazards` declared here."
    )

    at: Ident | None = Field(default=None, description="Place.")
    hands: NoneOrMany[str] | None = Field(
        default=None,
        description="Sources that hands or tools touch; `none`. Written on every step at a place.",
    )
    probes: NoneOrMany[str] | None = Field(
        default=None, description="Sources that test probes touch; `none`. Written on every step at a place."
    )
    near: Many[str] = Field(default=(), description="Moving parts within reach.")
    touches: Literal["nothing"] | None = Field(
        default=None,
        description="Reading: `nothing`: of a known source, of what lies loose in the hand, or on an instrument hung "
        "before and read from outside.",
    )
    operates: str | None = Field(
        default=None,
        description="Device whose handle is moved, covers on; what it changes must be this device.",
    )
    needs: Many[GateCall] = Field(default=(), description="Gates that must be held, each on its own line.")
    changes: Many[Change] = Field(default=(), description="Effects of the step.")
    then: Target | None = Field(default=None, description="Where to go; default the next step.")
    when: Limit | None = Field(
        default=None,
        description="Only then is the step worked: a condition on facts and circuits, or how something stands.",
    )
    for_each: Limit | None = Field(
        default=None, description="`fact.NAME`, a list: the step is worked once for each of its items."
    )
    most: Small | None = Field(
        default=None, description="How many items `for_each:` takes at most, 1 to 5; default 4."
    )
    with_: dict[Ident, Ident] = Field(
        default={},
        alias="with",
        description="Group: its names (`of:`) to sources, places, slots, steps here.",
    )
    finding: Prose | None = Field(default=None, description="What this step establishes.")
    evidence: Label | None = Field(default=None, description="Tag that rules about order look for.")
    if_interrupted: Target | None = Field(
        default=None, description="Where to go on after an interruption was reconciled."
    )
    if_absent: Target | None = Field(
        default=None,
        description="Where to go when this is not on the machine and a qualified person has said so.",
    )

    between: Limit | Many[Point] | None = Field(
        default=None,
        description="Which points: a list, `pairs(it.conductors, ground)` or `each(fact.NAME, common)`.",
    )
    function: Function | None = Field(default=None, description="Function of the instrument.")
    functions: Many[Limit] = Field(
        default=(),
        description="Several functions, each point read on each; `dc volts where it.can-hold-dc` leaves one out "
        "where the job sheet says no.",
    )
    unit: Unit | None = Field(default=None, description="Unit in which the value is entered.")
    slot: Ident | None = Field(default=None, description="Instrument or gear slot.")
    computes: Limit | None = Field(
        default=None,
        description="What the bands judge instead of what was read: `value` for each value by itself, or `value-1`, "
        "`value-2` … for the points of `between:` together.",
    )
    uses: Many[Ident] = Field(
        default=(),
        description="Reading: nothing is read; it is judged from what was read at these steps before it, their points in "
        "order as `value-1`, `value-2` … of `computes:`.",
    )
    decided_by: Literal["largest", "smallest", "each"] = Field(
        default="largest", description="Which of several values decides."
    )
    bands: Many[Band] = Field(default=(), description="Named ranges in ascending order.")
    second_within: Limit | None = Field(
        default=None,
        description="Reading: the person in the role `second` reads the same points, neither sees what the other "
        "read, and it is decided only where both come out alike and no two values differ by more than this.",
    )
    again: Small = Field(default=2, description="How often a value that is not decided is asked again.")
    not_decided: Target | None = Field(default=None, description="Where to go when it stays undecided.")
    options: Many[Option] = Field(default=(), description="Answers of a choice.")
    by: Prose | None = Field(
        default=None, description="The value that confirms: a number, a code, what is seen."
    )
    suits: Many[Require] = Field(default=(), description="What the gear or person must be good for.")
    role: Literal["worker", "supervisor", "second"] | None = Field(
        default=None, description="Role that the person fills, or in which the signer signs."
    )
    means: Literal["performed", "supervised", "witnessed", "reviewed", "released"] | None = Field(
        default=None, description="What a signature means; goes with `sign:`."
    )
    momentary: Time | None = Field(default=None, description="Longest time the deed may last.")
    at_most: Time | None = Field(default=None, description="Longest time until the answer.")
    wait: Time | None = Field(default=None, description="Earliest done.")
    takes: Time | None = Field(default=None, description="Usual length.")
