"""A person with a meter: says what the display shows, listens to the read-back, and errs as people do."""

from __future__ import annotations

import random
from dataclasses import replace
from decimal import Decimal

from api.dialogue.events import OtherwiseSaid, Replied, SafetyQuestion, Told
from api.visit.safety_steps import STEP_BY_ID
from capture.reading import Command, Doubt, Reading
from grading.terms.quantity import Quantity, QuantityKind
from grading.terms.section import Section
from tests.api.dialogue.simulation.desk import Desk, Open
from tests.api.dialogue.simulation.rates import Ear, Eye, People

PATIENCE = 15
"""Turns about one reading after which the person takes a hand off the leads and taps."""


def readings_of(axis: str, rng: random.Random) -> list[Reading]:
    """Draw what the meters show on one axis: windings, ohmmeter and insulation, twelve readings."""
    found = []
    for terminals in ("U-V", "V-W", "W-U"):
        ohms = Quantity(f"{rng.randint(1, 9)}.{rng.randint(0, 99):02d}", "Ohm")
        found.append(Reading(QuantityKind.WINDING_RESISTANCE, ohms, axis, Section.THROUGH_CABLE, terminals))
    for terminals in ("U-PE", "V-PE", "W-PE"):
        ohms = Quantity(f"{rng.randint(1, 55)}.{rng.randint(0, 9)}", "MOhm")
        found.append(Reading(QuantityKind.RESISTANCE_TO_GROUND, ohms, axis, Section.MOTOR_ALONE, terminals))
    for section in (Section.MOTOR_ALONE, Section.CABLE_ALONE):
        for terminals in ("U-PE", "V-PE", "W-PE"):
            code = rng.choice(["MOhm", "MOhm", "GOhm"])
            digits = rng.choice([str(rng.randint(1, 999)), f"{rng.randint(1, 99)}.{rng.randint(0, 9)}"])
            shown = Quantity(digits, code)
            found.append(
                Reading(QuantityKind.INSULATION_RESISTANCE, shown, axis, section, terminals, Decimal(500))
            )  # fmt: skip
    return found


class Person:
    """Works through one visit."""

    def __init__(self, desk: Desk, ear: Ear, eye: Eye, people: People, rng: random.Random) -> None:
        self.desk, self.ear, self.eye, self.people, self.rng = desk, ear, eye, people, rng

    def works(self) -> None:
        """Measure every axis, from lock-out to the last value."""
        for axis in self.desk.axes:
            self.desk.counts.axes += 1
            waiting: Reading | None = None
            for truth in readings_of(axis, self.rng):
                if truth.kind is QuantityKind.INSULATION_RESISTANCE and self.desk.gates[axis]:
                    self.settles()
                    self.desk.meant(axis)
                    self.settles()
                self.says(truth)
                # Some say the next value before they have answered.
                if self.chance(self.people.interrupt) and waiting is None:
                    waiting = truth
                    continue
                waiting = None
                self.settles()
            self.settles()

    def chance(self, share: float) -> bool:
        """Draw."""
        return self.rng.random() < share

    def other(self, quantity: Quantity) -> Quantity:
        """Draw a value that is not this one: one digit of it heard as another, or another unit in one of ten."""
        digits = quantity.digits or "0"
        if self.chance(0.1):
            units = [code for code in ("Ohm", "kOhm", "MOhm", "GOhm") if code != quantity.unit]
            return replace(quantity, unit=self.rng.choice(units))
        places = [index for index, digit in enumerate(digits) if digit.isdigit()]
        place = self.rng.choice(places)
        digit = self.rng.choice([d for d in "123456789" if d != digits[place]])
        return replace(quantity, digits=digits[:place] + digit + digits[place + 1 :])

    def heard(self, truth: Reading) -> Open | None:
        """Say a value, and give what is understood of it; None where nothing is."""
        self.desk.counts.answers += 1
        if self.chance(self.people.mumble):
            self.desk.happened(OtherwiseSaid())
            return None
        said = truth.quantity
        if self.chance(self.people.contradict):
            said = self.other(said)
        roll = self.rng.random()
        if roll < self.ear.wrong:
            return Open(replace(truth, quantity=self.other(said)), truth, (), misheard=True)
        if roll < self.ear.wrong + self.ear.asked:
            right = self.chance(self.ear.asked_right)
            first, second = (said, self.other(said)) if right else (self.other(said), said)
            others = (replace(truth, quantity=second),)
            return Open(replace(truth, quantity=first), truth, (Doubt.LOW_CONFIDENCE,), others)
        return Open(replace(truth, quantity=said), truth, ())

    def says(self, truth: Reading) -> None:
        """Say a value until something was understood; perhaps show a photo of the display too."""
        found = None
        while found is None:
            found = self.heard(truth)
        if self.chance(self.eye.accepted):
            seen = self.other(truth.quantity) if self.chance(self.eye.wrong) else truth.quantity
            if seen == found.reading.quantity:
                found = replace(found, doubts=(), alternatives=(), heard_once=False)
            else:
                other = replace(truth, quantity=seen)
                found = replace(found, doubts=(Doubt.CONFLICT,), alternatives=(other,))
        self.desk.propose(found)

    def told(self, command: Command) -> None:
        """Say a command; what is not understood is said again later."""
        self.desk.counts.answers += 1
        if self.chance(self.ear.command * (1 - self.people.mumble)):
            self.desk.happened(Told(command))
        else:
            self.desk.happened(OtherwiseSaid())

    def settles(self) -> None:
        """Answer until no question is open."""
        turns = 0
        while self.desk.state.open is not None:
            turns += 1
            if isinstance(self.desk.state.open, SafetyQuestion):
                self._answers(self.desk.state.open)
            elif turns > PATIENCE:
                self._taps()
            else:
                self._hears()

    def _answers(self, question: SafetyQuestion) -> None:
        self.desk.counts.answers += 1
        if not self.chance(self.ear.command * (1 - self.people.mumble)):
            self.desk.happened(OtherwiseSaid())
            return
        step = STEP_BY_ID[question.step]
        if step.value_unit:
            sure = not self.chance(self.ear.asked)
            self.desk.happened(Replied("volts", f"{self.rng.randint(0, 9)}.{self.rng.randint(0, 9)}", sure))
        elif step.may_not_apply and self.chance(0.5):
            self.desk.happened(Told(Command.NOT_APPLICABLE))
        else:
            self.desk.happened(Replied("yes"))

    def _hears(self) -> None:
        """Listen to the read-back: confirm what sounds right, correct what is noticed to be wrong."""
        found = self.desk.asked()
        assert found is not None
        name, one = found
        right = one.reading.quantity == one.truth.quantity
        if one.doubts:
            self._chooses(name, one)
        elif right or not self.chance(self.people.notice):
            self._agrees(name, one)
        elif self.chance(0.8):
            given = self.heard(one.truth)
            if given is not None:
                self.desk.change(name, given)
        else:
            self.told(Command.REJECT)
            if name not in self.desk.open:
                self.says(one.truth)

    def _agrees(self, name: str, one: Open) -> None:
        """Confirm by the word, or by saying the value again, read from the display once more."""
        if not self.desk.twice(name):
            self.told(Command.CONFIRM)
            return
        # Who was misheard is misheard alike more often than by chance; and who misread a display may do so again.
        wrong = one.reading.quantity != one.truth.quantity
        alike = wrong and self.chance(self.ear.alike if one.misheard else self.people.alike)
        given = Open(one.reading, one.truth, ()) if alike else self.heard(one.truth)
        self.desk.counts.answers += alike
        if given is not None:
            self.desk.again(name, given)

    def _chooses(self, name: str, one: Open) -> None:
        """Say the value again, as asked; who does not notice may name the wrong one of two."""
        if one.alternatives and not self.chance(self.people.notice) and self.chance(0.5):
            wrong = next((c for c in (one.reading, *one.alternatives) if c.quantity != one.truth.quantity), one.reading)
            given = self.heard(wrong)
        else:
            given = self.heard(one.truth)
        if given is not None:
            self.desk.change(name, replace(given, truth=one.truth))

    def _taps(self) -> None:
        found = self.desk.asked()
        assert found is not None
        name, one = found
        self.desk.counts.taps += 2  # the value typed or chosen, and confirmed
        self.desk.change(name, Open(one.truth, one.truth, (), heard_once=False))
        self.desk.happened(Told(Command.CONFIRM))
