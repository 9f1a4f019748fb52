"""Circumstances in a recording ("after cleaning", "position three"): which value they are of, with nobody there to ask.

At the machine what is said alone joins the value that is asked about, else it waits for the next one
(`api.dialogue.beside`). In a recording no value is asked about, so the words themselves decide:

* Said with a value they are that value's.
* Said alone, what can only be seen once a value is there ("value fell", "value unsteady", "checked again"), and what
  lifts something noted beside it, is of the value before.
* Anything else waits for the next value. Where it follows close upon a value it may have been of that one: whichever
  takes it is asked about; where no value comes any more before the work moves on, that value takes it.

All of these are program's rules, without source.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from typing import Protocol

from api.dialogue.beside import takes_coming, with_notes
from api.visit.notes import Notes, notes_with
from api.visit.proposals import ProposedReading
from capture.reading import Doubt, SaidBeside
from grading.terms.circumstance import Circumstance

SEEN_AFTERWARDS = frozenset({Circumstance.UNSTEADY, Circumstance.FALLING, Circumstance.CHECKED})
"""What nobody can say of a value that is still to be read."""


class NotedValue(Protocol):
    """What a value must have so that something can be noted beside it; `api.day.values.DayValue` has it."""

    given: ProposedReading
    text: str


@dataclass
class Circumstances:
    """Follows circumstances that were said alone, utterance by utterance.

    Attributes:
        coming: What waits for the next value.
        unused: Words that no value took.
    """

    coming: Notes = field(default_factory=Notes)
    unused: list[str] = field(default_factory=list)
    _words: list[str] = field(default_factory=list)
    _close: NotedValue | None = None
    _before: Notes | None = None

    def said_alone(self, beside: SaidBeside, words: str, last: NotedValue | None) -> None:
        """Take circumstances that were said without a value.

        Args:
            beside: What was said.
            words: As it was heard.
            last: The value said just before; None where none was, or a place was named since.
        """
        before = Notes() if last is None else last.given.notes or Notes()
        lifted = set(before.circumstances) - set(self.coming.circumstances)
        backward = _of(beside, SEEN_AFTERWARDS, SEEN_AFTERWARDS | lifted)
        if last is not None and backward.anything:
            correct_beside(last, backward, words)
            beside = replace(
                beside, hold=_without(beside.hold, backward.hold), lifted=_without(beside.lifted, backward.lifted)
            )
        if beside.anything:
            self._before, self.coming = self.coming, notes_with(self.coming, beside)
            self._words.append(words)
            self._close = last or self._close

    def given(self, given: ProposedReading, text: str, beside: SaidBeside) -> tuple[ProposedReading, str]:
        """Give a new value, and its words, with what waited for it and what was said with it."""
        noted = with_notes(given, self.coming, beside)
        if self.coming == Notes() or not takes_coming(given.reading):
            return noted, text
        if self._close is not None:
            noted = _asked(noted)
        return noted, ", ".join([*self._words, text])

    def taken(self) -> None:
        """Wait for nothing any more: the values of an utterance took it."""
        self.coming, self._words, self._close, self._before = Notes(), [], None, None

    def taken_back(self) -> bool:
        """Take back what was said alone last; False where a value was said since, or nothing waits."""
        if self._before is None or self._before == self.coming:
            return False
        self.coming, self._before = self._before, None
        self._words.pop()
        return True

    def moved_on(self) -> None:
        """Leave what waits: the work went on elsewhere. The value that it followed closely takes it, in doubt."""
        if self.coming != Notes():
            last, words = self._close, ", ".join(self._words)
            if last is None:
                self.unused.append(words)
            else:
                said = SaidBeside(self.coming.circumstances, (), self.coming.position or None)
                correct_beside(last, said, words)
                last.given = _asked(last.given)
        self.taken()


def correct_beside(value: NotedValue, beside: SaidBeside, words: str) -> None:
    """Note circumstances beside a value that was said before; its words tell of them too."""
    value.given = replace(value.given, notes=notes_with(value.given.notes or Notes(), beside))
    value.text = f"{value.text}, {words}"


def _of(said: SaidBeside, hold: frozenset[Circumstance], lifted: Iterable[Circumstance]) -> SaidBeside:
    wanted = frozenset(lifted)
    return SaidBeside(
        tuple(one for one in said.hold if one in hold), tuple(one for one in said.lifted if one in wanted), None
    )


def _without(these: tuple[Circumstance, ...], those: tuple[Circumstance, ...]) -> tuple[Circumstance, ...]:
    return tuple(one for one in these if one not in those)


def _asked(given: ProposedReading) -> ProposedReading:
    return replace(given, doubts=tuple(dict.fromkeys((*given.doubts, Doubt.NOTES_UNSURE))))
