"""What a procedure, a gate, a group and a rule file may hold."""

from typing import Annotated, Literal

from pydantic import Field

from ohmward.language.fields import (
    Change,
    Duration,
    GateCall,
    Ident,
    Label,
    Limit,
    Many,
    Part,
    Prose,
    Revision,
    Status,
    Target,
    Time,
)
from ohmward.language.steps import Fact, Model, Require, Step


class Device(Model):
    """What opens, holds off or trips."""

    kind: Literal["breaker", "disconnect", "plug", "fuse", "protector"] = Field(
        description="What it is in the trade."
    )
    label: Prose = Field(description="Its name as people say it.")
    count: Literal["from job"] | None = Field(
        default=None,
        description="`from job`: one stands for the means of each supply that the job sheet lists.",
    )


class Source(Model):
    """What can hurt."""

    kind: Literal["circuit", "stored", "moving"] = Field(description="Energy source kind.")
    label: Prose = Field(description="Its name as people say it.")
    through: Many[Ident] = Field(
        default=(), description="Circuit: devices in series; one held off is enough."
    )
    fed_by: Many[Ident] = Field(
        default=(), description="Circuit: the circuits that feed it; all must be held off."
    )
    limited: Prose | None = Field(
        default=None, description="Circuit: why it cannot shock, such as `24 V class 2`."
    )
    count: Literal["from job"] | None = Field(
        default=None,
        description="Circuit: `from job`: one stands for every supply that the job sheet lists under this name.",
    )
    charged_by: Ident | None = Field(default=None, description="Stored: the circuit that charges it.")
    can_return: Literal["yes"] | None = Field(
        default=None, description="Stored: `yes` when the charge can come back by itself after discharging."
    )
    driven_by: Ident | None = Field(default=None, description="Moving: the circuit that drives it.")


class Place(Model):
    """Where work is; what is uncovered within reach there decides the hazard."""

    holds: Many[Ident] = Field(description="Sources within reach when the cover is off.")
    cover: Ident | None = Field(
        default=None, description="The temporary that stands for its cover being off."
    )
    label: Prose | None = Field(default=None, description="Its name as people say it.")


class Temporary(Model):
    """Something put in place that must not stay."""

    label: Prose = Field(description="Its name as people say it.")
    kind: Literal["guard", "lead", "bypass"] = Field(
        description="A removed guard or cover, a test lead, a bypass."
    )
    at: Ident | None = Field(default=None, description="The place where it stands.")
    on: Many[Ident] = Field(default=(), description="The sources that it touches.")


class End(Model):
    """One way for a procedure to end."""

    title: Prose = Field(description="What the end is called.")
    leaves: dict[Ident, Literal["held off", "live"]] = Field(
        default={}, description="How circuits stand afterwards."
    )
    next: Many[Ident] = Field(default=(), description="Procedures that usually follow.")
    needs: Many[GateCall] = Field(default=(), description="Gates that must be held.")


class Procedure(Model):
    """A procedure file."""

    procedure: Ident = Field(description="Its id; the same as the file's name.")
    revision: Revision = Field(description="Counts up with every change.")
    title: Prose = Field(description="What it is called.")
    purpose: Prose = Field(description="What question it answers.")
    not_covered: Prose = Field(description="Where it must not be used.")
    basis: Many[Prose] = Field(description="Clauses it rests on.")
    accepts: Many[Literal["temporary", "trip", "lock"]] = Field(
        default=(), description="Open matters from which it can start."
    )
    scope: Many[Require] = Field(
        default=(), description="Conditions on the job sheet, before the first step."
    )
    facts: dict[Ident, Fact] = Field(default={}, description="Values about the job.")
    devices: dict[Ident, Device] = Field(description="What opens, holds off or trips.")
    sources: dict[Ident, Source] = Field(description="What can hurt.")
    places: dict[Ident, Place] = Field(description="Where the work is.")
    temporary: dict[Ident, Temporary] = Field(default={}, description="What must not stay.")
    when_not_held: dict[Ident, Target] = Field(
        default={},
        description="Gate to step or end, when its routine fails; `others:` for every gate without a line.",
    )
    steps: Annotated[dict[Ident, Step], Field(min_length=1)] = Field(description="In order.")
    ends: dict[Ident, End] = Field(description="Where it can end.")


class Gate(Model):
    """A gate file: a condition that must be held, and its routine."""

    gate: Ident = Field(description="Its id; the same as the file's name.")
    of: dict[Literal["circuit", "stored", "moving", "place", "slot"], Ident] = Field(
        default={}, description="Key: kind to the name used below."
    )
    title: Prose = Field(description="What is held.")
    why: Prose = Field(description="What happens without it.")
    basis: Many[Prose] = Field(description="Clauses, or `common practice, no source`.")
    status: Status = Field(description="How well the basis is known.")
    asks: Many[GateCall] = Field(default=(), description="Gates held when the routine starts and ends.")
    rests_on: Many[GateCall] = Field(default=(), description="Gates whose loss loses this one.")
    lost_by: Many[Change] = Field(default=(), description="Events that lose it.")
    holds_for: Duration = Field(description="`shift`, `unlimited` or a time.")
    keeps: dict[Ident, Many[Change]] = Field(
        default={}, description="Steps whose answer stays good until one of these events."
    )
    steps: Annotated[dict[Ident, Step], Field(min_length=1)] = Field(description="The routine, in order.")


class Group(Model):
    """A group file: steps shared by gates and procedures."""

    group: Ident = Field(description="Its id; the same as the file's name.")
    of: dict[Literal["circuit", "stored", "moving", "place", "slot", "step"], Ident] = Field(
        default={}, description="What each use must give under `with:`: kind to the name used below."
    )
    title: Prose = Field(description="What it does.")
    steps: Annotated[dict[Ident, Step], Field(min_length=1)] = Field(description="In order.")


class Bad(Model):
    """An edit of a shipped file that must break the rule."""

    file: Limit = Field(description="File below `procedures`.")
    find: Many[str] = Field(description="Lines to find, one after another, without their indentation.")
    put: Many[str] = Field(default=(), description="Lines to put instead, at the same indentation.")
    also: "Bad | None" = Field(
        default=None, description="A second edit, where one alone is caught elsewhere."
    )


class OnTheWay(Model):
    """What must lie on every way between two things of a procedure."""

    after: Many[Label] = Field(
        description="Answers, or effects without what they are done to, from which the ways begin; `the run began`."
    )
    to: Many[Limit] = Field(
        description="`an end`, `an end held off`, `an end not held off`, `gate NAME`: a step that needs it, `reading FUNCTION`, or an effect that raises."
    )
    passes: Many[Limit] = Field(
        description="Evidence and effects that lie on each way, in this order; ` or ` between two for either, `it` for what the effect was done to."
    )
    asks_for: Ident | None = Field(default=None, description="Only in procedures that ask for this fact.")
    only_in: Many[Ident] = Field(default=(), description="Only in these procedures; without it in every one.")


class Rule(Model):
    """A rule file: a safety invariant."""

    rule: Ident = Field(description="Its id; the same as the file's name.")
    says: Prose = Field(description="The rule in one sentence.")
    basis: Many[Prose] = Field(description="Clauses.")
    status: Status = Field(description="How well the basis is known.")
    whenever: Limit = Field(
        description="`hands on circuit`, `close device`, `end in service`, `gate NAME`, `its own steps`, `every step`, `steps outside NAME` …; several with commas."
    )
    where: (
        Literal[
            "it drives a part",
            "a disconnect or plug starts a part",
            "it can start a part unsaid",
            "the store can return",
        ]
        | None
    ) = Field(default=None, description="Only there the rule speaks.")
    unless: Literal["tier low"] | None = Field(default=None, description="Where the rule does not speak.")
    must: Many[Limit] = Field(
        default=(), description="Conditions that must hold there; ` or ` between two for either."
    )
    in_order: Many[Label] = Field(
        default=(), description="Evidence and effects that came before, in this order."
    )
    since: Literal["held off", "the run began"] = Field(
        default="the run began",
        description="From when `in_order` counts: `held off`: since the device was last held off.",
    )
    must_contain: Many[Label] = Field(default=(), description="Evidence in this order on every path to held.")
    never: Many[Label] = Field(
        default=(), description="Effects after which no path of the routine leads to held."
    )
    refuses: Many[Label] = Field(
        default=(),
        description="Answers that some question of the routine offers and that do not lead to held.",
    )
    lost_by: Many[Limit] = Field(
        default=(),
        description="Events that lose the gate; `its gear found bad`, `its gear changed`: of every slot it reads with; `its own gear …`: of the slot it is of.",
    )
    holds_at_most: Duration | None = Field(
        default=None, description="The longest that the gate may hold: `shift`, or a time such as `10 min`."
    )
    suits: Many[Limit] = Field(default=(), description="What the routine demands of the gear that it picks.")
    reads_between: dict[Label, Many[Limit]] = Field(
        default={},
        description="Evidence tag to the points between which it is read: a list as it is written, or `at least N points`; one of these.",
    )
    read_by_two: dict[Label, Limit] = Field(
        default={},
        description="Evidence tag to how far two people's readings may lie apart; every reading with it is by two.",
    )
    reads_with: dict[Label, Many[Label]] = Field(
        default={}, description="Evidence tag to functions; every reading with it is taken with one of these at least."
    )
    shows: dict[Label, Part] = Field(
        default={},
        description="Evidence tag to `0.9 to 1.1 of NAME`: what a reading with it must lie within to count.",
    )
    counts_from: dict[Label, Many[Limit]] = Field(
        default={},
        description="Evidence tag to limits: a reading with it that lies below each of them, or is not decided, leads to nothing that is closed, released, turned or fitted; its smallest value decides.",
    )
    counts_to: dict[Label, Many[Limit]] = Field(
        default={},
        description="Evidence tag to limits: a reading with it that reaches above each of them, or is not decided, leads to nothing that is closed, released, turned or fitted; its largest value decides.",
    )
    waits: dict[Label, Time] = Field(
        default={}, description="Evidence tag to how long is waited at least before a reading with it."
    )
    reads_also: dict[Label, Many[Label]] = Field(
        default={},
        description="Evidence tag to functions: on every way to held a reading with it is taken with each of these, always or where something holds.",
    )
    proved_by: dict[Label, Label] = Field(
        default={},
        description="Evidence tag of a reading to that of its meter's proof: on every way to held the same instrument is proved on the same function before the reading and after it.",
    )
    held_by: dict[Label, Many[Label]] = Field(
        default={}, description="Evidence tag to the only answers of a question with it that let the routine go on."
    )
    names: Literal["supervisor", "second"] | None = Field(
        default=None, description="The role in which the routine names people."
    )
    only_by: dict[Label, Many[Label]] = Field(
        default={}, description="Effect, without what it is done to, to the only answers that have it; some answer of the question does not."
    )
    only_where: dict[Label, Limit] = Field(
        default={}, description="Answer to what must be true before it may be chosen, wherever it is offered."
    )
    stops: Many[Label] = Field(
        default=(),
        description="Answers that end the work wherever they are offered, beside those that say `work: ends`: after them nothing is closed, released, turned, fitted, uncovered, touched or probed, in a gate's routine neither.",
    )
    stops_by: Many[Label] = Field(
        default=(),
        description="Beginnings of words: an answer with one of them ends the work, or says with `work:` what becomes of it.",
    )
    stays_off: Many[Label] = Field(
        default=(),
        description="Answers after which, beside those that say `work: stays off`, nothing is closed, released, turned or fitted.",
    )
    on_the_way: Many[OnTheWay] = Field(
        default=(), description="What must lie on every way of the procedure between two things."
    )
    needs: dict[Label, Many[Label]] = Field(
        default={}, description="Evidence tag to gates, by name: a step with it needs each of them."
    )
    means: dict[Label, Many[Label]] = Field(
        default={}, description="Evidence tag to effects, without what they are done to: a step with it has each of them."
    )
    told_apart: Many[Label] = Field(
        default=(), description="Effects that not every answer of a question may have."
    )
    told_by: dict[Label, Many[Label]] = Field(
        default={}, description="Evidence tag to the only answers of a question with it that count as it, beside those that say `work: goes on`."
    )
    denied_by: dict[Label, Many[Label]] = Field(
        default={}, description="Effect to beginnings of words: an answer that speaks of one of them does not have it."
    )
    offers: dict[Label, Many[Label]] = Field(
        default={}, description="Evidence tag to answers that each question with it offers; an effect in one word for any answer that has it."
    )
    tells: dict[Label, Many[Label]] = Field(
        default={}, description="Effect, without what it is done to, to answers that have it wherever they are offered."
    )
    tells_by: dict[Label, Many[Label]] = Field(
        default={},
        description="Effect to beginnings of words: an answer with one of them has it, or says `work: goes on`.",
    )
    bounds: dict[Label, dict[Label, Limit]] = Field(default={}, description="Evidence tag to outcome bounds.")
    remedy: Prose = Field(description="What to change when it is broken.")
    bad: Bad | None = Field(
        default=None, description="An edit that must break it; every rule over a table has one."
    )
    good: Bad | None = Field(
        default=None,
        description="An edit that it watches and that must not break it, where no shipped file does.",
    )

    @property
    def situations(self) -> tuple[str, ...]:
        """What it watches, one by one."""
        return tuple(self.whenever.split(", "))
