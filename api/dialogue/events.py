"""What the dialogue's machine is told and what it answers: state, questions, events, effects. Plain data."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from capture.reading import Command


@dataclass(frozen=True)
class Value:
    """One proposal as it was read back.

    Attributes:
        proposal: Its number, "J1-P3".
        revision: The revision that was read back.
        gated: The axis whose safety steps hold it back, where it was taken under test voltage; None otherwise.
        twice: It was heard once only, and the visit wants what is heard said twice: the word alone confirms it not.
    """

    proposal: str
    revision: int
    gated: str | None = None
    twice: bool = False


@dataclass(frozen=True)
class ValueQuestion:
    """Readings said in one breath, read back together: "... Right?", or what is in doubt about them."""

    values: tuple[Value, ...]


@dataclass(frozen=True)
class SafetyQuestion:
    """One safety step of one axis."""

    axis: str
    step: str


Question = ValueQuestion | SafetyQuestion


@dataclass(frozen=True)
class DialogueState:
    """Where the dialogue stands.

    Attributes:
        questions: What is to be answered, in order; the first is open.
        paused: Nothing is obeyed until "resume".
        noting: The next utterance is kept as a note.
        answered: The safety question answered last, which "take it back" opens again; None where none can be.
    """

    questions: tuple[Question, ...] = ()
    paused: bool = False
    noting: bool = False
    answered: SafetyQuestion | None = None

    @property
    def open(self) -> Question | None:
        """The question that is open."""
        return self.questions[0] if self.questions else None


# What can happen.


@dataclass(frozen=True)
class Proposed:
    """Readings were understood; they wait for a yes.

    Attributes:
        values: What was understood.
        left: Proposals that were left open long ago: their questions come after these values.
    """

    values: tuple[Value, ...]
    left: frozenset[str] = frozenset()


@dataclass(frozen=True)
class Changed:
    """A proposal has another value, or another doubt."""

    value: Value


@dataclass(frozen=True)
class Settled:
    """A proposal was confirmed or dropped, by whatever way."""

    proposal: str


@dataclass(frozen=True)
class TestMeant:
    """An insulation test was mentioned on an axis of which these safety steps are open."""

    axis: str
    steps: tuple[str, ...]

    __test__ = False  # no test, whatever pytest takes the name for


@dataclass(frozen=True)
class StepsOpen:
    """These steps of an axis are open now; those that were answered elsewhere are asked no more."""

    axis: str
    steps: tuple[str, ...]


@dataclass(frozen=True)
class Told:
    """A command was said."""

    command: Command


@dataclass(frozen=True)
class Replied:
    """A plain answer was said: "yes", "no", "not_applicable", or a number of volts; doubtful ones are asked again."""

    answer: str
    volts: str | None = None
    sure: bool = True


@dataclass(frozen=True)
class SaidAgain:
    """Exactly the values of the open question were said again, after they were read back."""


@dataclass(frozen=True)
class OtherwiseSaid:
    """Anything else was said: a value, a place, talk."""


Event = Proposed | Changed | Settled | TestMeant | StepsOpen | Told | Replied | SaidAgain | OtherwiseSaid

# What follows.


class Note(StrEnum):
    """Sentences that the machine has said; the words are in `api.dialogue.sentences`."""

    PAUSED = "paused"
    RESUMED = "resumed"
    NOT_PAUSED = "not_paused"
    NOTE_NEXT = "note_next"
    NOTHING_CONFIRMED = "nothing_confirmed"
    NOTHING_DROPPED = "nothing_dropped"
    NOTHING_ASKED = "nothing_asked"
    ONLY_QUESTION = "only_question"
    SKIPPED = "skipped"
    WAITS = "waits"
    STILL_OPEN = "still_open"
    LEFT_WAITS = "left_waits"
    SAFETY_FIRST = "safety_first"
    SAFETY_WAITS = "safety_waits"
    SAFETY_DONE = "safety_done"
    VOLTS_WANTED = "volts_wanted"
    UNSURE = "unsure"
    MUST_APPLY = "must_apply"
    SAY_CONFIRM = "say_confirm"
    SAY_TWICE = "say_twice"


@dataclass(frozen=True)
class Tell:
    """Say a sentence, about an axis where it needs one."""

    note: Note
    axis: str = ""


@dataclass(frozen=True)
class Ask:
    """Read the open question, at the end of everything else that is said."""


@dataclass(frozen=True)
class MakeRecords:
    """Make records of these revisions."""

    values: tuple[Value, ...]


@dataclass(frozen=True)
class Drop:
    """Reject these proposals."""

    values: tuple[Value, ...]


@dataclass(frozen=True)
class Hold:
    """Refuse a confirmation, since safety steps of this axis are open."""

    axis: str
    steps: tuple[str, ...]


@dataclass(frozen=True)
class PutAnswer:
    """Write the answer to a safety step; where it is not met, say why and what to do."""

    axis: str
    step: str
    answer: str
    volts: str | None
    met: bool


@dataclass(frozen=True)
class TakeBackAnswer:
    """Let an answer to a safety step count no more; the step is asked again."""

    axis: str
    step: str


@dataclass(frozen=True)
class Do:
    """Carry out a command that no question is about."""

    command: Command


@dataclass(frozen=True)
class KeepNote:
    """Keep what was said as a note."""


@dataclass(frozen=True)
class Ignored:
    """What was said is kept as evidence, and nothing else follows: the dialogue is paused."""


Effect = Tell | Ask | MakeRecords | Drop | Hold | PutAnswer | TakeBackAnswer | Do | KeepNote | Ignored
Step = tuple[DialogueState, tuple[Effect, ...]]
