"""What the words of one utterance say, before the context fills the gaps."""

from __future__ import annotations

from dataclasses import dataclass, replace
from decimal import Decimal

from capture.language.items import Special, Topic
from capture.reading import Doubt
from grading.terms.quantity import Quantity
from grading.terms.section import Section


@dataclass(frozen=True)
class SpokenValue:
    """One value as said: what it is, what else the words could be, what must be asked, where it was measured."""

    quantity: Quantity
    others: tuple[Quantity, ...] = ()
    doubts: tuple[Doubt, ...] = ()
    terminals: str | None = None


@dataclass(frozen=True)
class Draft:
    """What the words alone say.

    Attributes:
        values: Values in the order spoken.
        axis, section, terminals, topic: Where and what, as said; `axis_unambiguous` is False for a letter that sounds
            like others, `axis_named` is True where "axis" was said with it.
        set_volts, built_volts: Test voltages, V; `built_others` sound like `built_volts`.
        elapsed_s: Time since the voltage was applied, s; `elapsed_others` sound like it.
        each: 2 or 3 when one value was said of several leads.
        unpaused: Two numbers followed one another with nothing between.
        unsettled: "It's climbing" or the like was said.
        high_voltage: A test voltage was mentioned.
        voltage_next: "Set to" came without a number.
        doubts: What must be asked whatever the values.
    """

    values: tuple[SpokenValue, ...] = ()
    axis: str | None = None
    axis_unambiguous: bool = True
    axis_named: bool = False
    section: Section | None = None
    terminals: str | None = None
    topic: Topic | None = None
    set_volts: Decimal | None = None
    built_volts: Decimal | None = None
    built_others: tuple[Decimal, ...] = ()
    elapsed_s: Decimal | None = None
    elapsed_others: tuple[Decimal, ...] = ()
    each: int = 0
    unpaused: bool = False
    unsettled: bool = False
    high_voltage: bool = False
    voltage_next: bool = False
    doubts: tuple[Doubt, ...] = ()

    @property
    def places(self) -> bool:
        """Whether anything was said that holds for later readings."""
        said = (self.axis, self.section, self.terminals, self.topic, self.set_volts)
        return self.voltage_next or any(part is not None for part in said)

    def with_place_of(self, earlier: Draft) -> Draft:
        """Keep the place that was named before a correction."""
        return replace(
            self,
            axis=self.axis or earlier.axis,
            axis_unambiguous=self.axis_unambiguous if self.axis else earlier.axis_unambiguous,
            axis_named=self.axis_named if self.axis else earlier.axis_named,
            section=self.section or earlier.section,
            terminals=self.terminals or earlier.terminals,
            topic=self.topic or earlier.topic,
            set_volts=self.set_volts or earlier.set_volts,
        )

    def with_special(self, special: Special, doubts: tuple[Doubt, ...] = ()) -> Draft:
        """Give the draft with one value that has no digits."""
        return replace(self, values=(SpokenValue(Quantity(None, None, special.qualifier), doubts=doubts),))
