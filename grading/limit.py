"""One limit as data: what it limits, its value, its source and provenance (the table of them: `grading.limits`)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from decimal import Decimal
from enum import StrEnum

from grading.terms.lazy import lazy
from grading.terms.quantity import unit as unit_of


class SourceStatus(StrEnum):
    """Provenance of the figure in a limit."""

    READ = "read in the document"  # V1
    SECONDARY = "read in a secondary text"  # V2
    QUOTED = "quoted second-hand, document not opened"  # Q
    FROM_MEMORY = "from memory, check before quoting the clause"  # M
    COMMON_PRACTICE = "common practice, no source"  # CP
    HOUSE_RULE = "program's rule, no source"  # P
    COMPUTED = "computed from a stated formula"  # C
    OF_SHOP = "set by the shop"


class Origin(StrEnum):
    """Where a figure is from, in the one word that stands beside it; the sources table has the remark."""

    READ = "read"  # in the document itself
    QUOTED = "quoted"  # by another text
    MEMORY = "memory"
    PRACTICE = "practice"  # of the trade or of this program, no standard
    SHOP = "shop"  # set by the shop's own profile


_ORIGINS: dict[SourceStatus, Origin] = {
    SourceStatus.READ: Origin.READ,
    SourceStatus.SECONDARY: Origin.QUOTED,
    SourceStatus.QUOTED: Origin.QUOTED,
    SourceStatus.FROM_MEMORY: Origin.MEMORY,
    SourceStatus.COMMON_PRACTICE: Origin.PRACTICE,
    SourceStatus.HOUSE_RULE: Origin.PRACTICE,
    SourceStatus.COMPUTED: Origin.PRACTICE,
    SourceStatus.OF_SHOP: Origin.SHOP,
}


class Direction(StrEnum):
    """Which side of a limit is good."""

    AT_LEAST = "at least"
    AT_MOST = "at most"


class Basis(StrEnum):
    """Which value is held against a limit."""

    AS_MEASURED = "as measured"
    CORRECTED_40C = "corrected to 40 °C"
    COMPUTED = "computed from readings"


@dataclass(frozen=True)
class Limit:
    """One limit as data.

    Attributes:
        id: Stable name; a shop profile refers to it.
        quantity: What it limits, in words.
        condition: When it applies, in words (winding kind, rated voltage, test voltage, section).
        value: The limit.
        unit: UCUM code of the limit ("MOhm", "%", "1" for a ratio).
        source: Document and edition, or "Common practice", or "Program's rule".
        clause: Clause or table, or "".
        status: Provenance of the figure.
        direction: Which side is good.
        basis: Which value is held against it.
        decided_by: Who changed it in a shop profile, or "".
        reason: Why, or "".
        loosened_from: The published value where a profile loosened it; every report must say so.
        set_by_shop: Whether a shop profile changed the value.
    """

    id: str
    quantity: str
    condition: str
    value: Decimal
    unit: str
    source: str
    clause: str
    status: SourceStatus
    direction: Direction = Direction.AT_LEAST
    basis: Basis = Basis.AS_MEASURED
    decided_by: str = ""
    reason: str = ""
    loosened_from: Decimal | None = None
    set_by_shop: bool = False

    @lazy
    def base_value(self) -> Decimal:
        """The value in the base unit of its dimension (ohm of a resistance)."""
        return self.value * self.scale

    @lazy
    def scale(self) -> Decimal:
        """What one of its unit is in the base unit of its dimension."""
        return unit_of(self.unit).factor

    @lazy
    def data(self) -> Mapping[str, str | bool | None]:
        """The limit as plain data: its fields, with decimals in plain notation, and what is written of its source."""
        held = {one.name: _plain(getattr(self, one.name)) for one in fields(self)}
        return {**held, "citation": self.citation(), "cited": self.cited(), "origin": self.origin.value}

    @property
    def document(self) -> str:
        """Source and clause: "IEC 60204-1, 18.3"."""
        return f"{self.source}, {self.clause}" if self.clause else self.source

    @property
    def origin(self) -> Origin:
        """Where the figure is from, in one word."""
        return Origin.SHOP if self.of_shop else _ORIGINS[self.status]

    @property
    def of_shop(self) -> bool:
        """Whether a shop profile set the figure."""
        return self.set_by_shop or self.source == SHOP

    def cited(self) -> str:
        """Give source and clause with the word for where the figure is from: "IEC 60204-1, 18.3 (quoted)"."""
        own = self.source in (*_OWN, SHOP)
        text = self.origin.value if own else f"{self.document} ({self.origin.value})"
        return text if self.loosened_from is None else f"{text}; loosened from {self.loosened_from:f}"

    def citation(self) -> str:
        """Give source and clause with its status: "IEC 60204-1, 18.3 (quoted second-hand, document not opened)"."""
        own = self.status in (SourceStatus.HOUSE_RULE, SourceStatus.COMMON_PRACTICE) and self.source in _OWN
        text = self.status.value if own else f"{self.document} ({self.status.value})"
        if self.loosened_from is None:
            return text
        return f"{text}; loosened from {self.loosened_from:f} by {self.decided_by}: {self.reason}"


def _plain(value: Decimal | StrEnum | str | bool | None) -> str | bool | None:
    if isinstance(value, Decimal):
        return format(value, "f")
    return value.value if isinstance(value, StrEnum) else value


HOUSE_RULE, COMMON_PRACTICE, SHOP = "Program's rule", "Common practice", "Shop profile"
_OWN = (HOUSE_RULE, COMMON_PRACTICE)
