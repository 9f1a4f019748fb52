"""A shop's own limits over the published ones: tighten freely, loosen only with a name and a reason.

Works on the parsed mapping (the caller reads the TOML file). Layout:

    [limits."insulation.machine"]      # id of a published limit
    value = "2"                        # in the unit of the limit
    decided_by = "..."                 # required to loosen
    reason = "..."                     # required to loosen

    [[extra]]                          # a limit of the shop's own on insulation resistance to earth, as measured
    id = "shop.cable"
    quantity = "insulation resistance of the cable"
    section = "cable_alone"            # optional: through_cable, motor_alone, cable_alone
    motor_kind = "ac_servo"            # optional: dc_servo, ac_servo, spindle
    component = "brake_coil"           # optional: power_winding, cable_cores, field, brake_coil, tacho, ...; else power
    value = "100"
    unit = "MOhm"
    per_km = false                     # optional: the value is in MOhm.km, for a cable of the length on record
    decided_by = "..."                 # optional
    reason = "..."                     # optional

    [rules]
    require_time = true                # a reading without its time on test is inconclusive
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from decimal import Decimal, InvalidOperation
from enum import StrEnum
from typing import Any, TypeVar

from grading.interval import METRES_PER_KM
from grading.limit import SHOP, Direction, Limit, SourceStatus
from grading.limits import FIXED, LIMITS
from grading.measurement import MotorKind
from grading.notices import Notice, NoticeKind
from grading.terms.component import Component
from grading.terms.quantity import UnitError, unit
from grading.terms.section import Section

_T = TypeVar("_T", bound=StrEnum)


class ShopProfileError(ValueError):
    """A profile cannot be used; the message lists every problem in it, one a line."""

    def __init__(self, problems: list[str]) -> None:
        """Keep the problems beside the message."""
        super().__init__("\n".join(problems))
        self.problems = tuple(problems)


@dataclass(frozen=True)
class ExtraLimit:
    """A limit of the shop's own.

    Attributes:
        limit: The limit, on insulation resistance to earth as measured.
        section: Applies to this part only; None for all.
        motor_kind: Applies to this motor kind only; None for all.
        component: Applies to this component only; None for all of the power circuit.
        per_km: The value is times the cable's length: in ohm·km, and so less of a longer cable.
    """

    limit: Limit
    section: Section | None = None
    motor_kind: MotorKind | None = None
    component: Component | None = None
    per_km: bool = False

    def of_length(self, length_m: Decimal | None) -> Limit | None:
        """Give the limit for a cable of a length; None where the limit goes by the length and that is not known."""
        if not self.per_km:
            return self.limit
        if length_m is None or length_m <= 0:
            return None
        return replace(self.limit, value=self.limit.value * METRES_PER_KM / length_m)

    def applies(self, section: Section | None, motor_kind: MotorKind, component: Component = Component.POWER) -> bool:
        """Tell whether a reading of this part and component of this kind of motor falls under the limit."""
        own = component.power if self.component is None else component is self.component
        return own and self.section in (None, section) and self.motor_kind in (None, motor_kind)


@dataclass(frozen=True)
class ShopProfile:
    """Limits as the shop wants them.

    Attributes:
        limits: Every published limit by id, the changed ones changed.
        extra: Limits of the shop's own.
        require_time: Whether an insulation reading without its time on test is inconclusive.
        notices: One per loosened limit, for every report.
    """

    limits: Mapping[str, Limit] = field(default_factory=lambda: LIMITS)
    extra: tuple[ExtraLimit, ...] = ()
    require_time: bool = False
    notices: tuple[Notice, ...] = ()


PUBLISHED = ShopProfile()


def read_profile(data: Mapping[str, Any]) -> ShopProfile:
    """Build a profile from a parsed TOML document.

    Args:
        data: The mapping, e.g. of `tomllib.load`.

    Raises:
        ShopProfileError: With every problem found: unknown ids or keys, values that are no positive decimal, loosening
            without `decided_by` and `reason`.
    """
    problems: list[str] = []
    problems += [
        f"[{key}] is not a section of a shop profile; use limits, extra or rules."
        for key in data
        if key not in {"limits", "extra", "rules"}
    ]
    changed = dict(_changed(_table(data, "limits", problems), problems))
    extra = tuple(_extras(data.get("extra", []), problems))
    rules = _table(data, "rules", problems)
    problems += [f"[rules] has no setting {key!r}; use require_time." for key in rules if key != "require_time"]
    require_time = rules.get("require_time", False)
    if not isinstance(require_time, bool):
        problems.append("[rules] require_time must be true or false.")
    if problems:
        raise ShopProfileError(problems)
    notices = tuple(
        Notice(NoticeKind.LIMIT_LOOSENED, limit=limit) for limit in changed.values() if limit.loosened_from is not None
    )
    return ShopProfile({**LIMITS, **changed}, extra, require_time, notices)


def is_looser(limit: Limit, value: Decimal) -> bool:
    """Tell whether `value` lets pass what the published limit would stop."""
    return value < limit.value if limit.direction is Direction.AT_LEAST else value > limit.value


def _changed(section: Mapping[str, Any], problems: list[str]) -> Iterator[tuple[str, Limit]]:
    for name, entry in section.items():
        where = f'[limits."{name}"]'
        published = LIMITS.get(name)
        if published is None:
            problems.append(f"{where}: there is no limit of this id; the published ones are {', '.join(LIMITS)}.")
            continue
        if name in FIXED:
            problems.append(f"{where}: no shop sets this one; it describes testers, circuits or gates.")
            continue
        if not isinstance(entry, Mapping):
            problems.append(f"{where} must be a table with a value.")
            continue
        value = _decimal(entry.get("value"), where, problems)
        if value is None:
            continue
        by, why = str(entry.get("decided_by", "")).strip(), str(entry.get("reason", "")).strip()
        looser = is_looser(published, value)
        if looser and not (by and why):
            problems.append(
                f"{where}: {value:f} is looser than {published.value:f} {published.unit} of {published.citation()}. "
                "Say who decided it (decided_by) and why (reason), or keep the published limit."
            )
            continue
        yield (
            name,
            replace(
                published,
                value=value,
                decided_by=by,
                reason=why,
                loosened_from=published.value if looser else None,
                set_by_shop=True,
            ),
        )


def _extras(entries: Any, problems: list[str]) -> Iterator[ExtraLimit]:
    if not isinstance(entries, list):
        problems.append("Write each limit of your own under [[extra]], with double brackets.")
        return
    for number, entry in enumerate(entries, 1):
        made = _extra(entry, f"[[extra]] number {number}", problems)
        if made is not None:
            yield made


def _extra(entry: Any, where: str, problems: list[str]) -> ExtraLimit | None:
    if not isinstance(entry, Mapping):
        problems.append(f"{where} must be a table.")
        return None
    before = len(problems)
    value = _decimal(entry.get("value"), where, problems)
    name = str(entry.get("id", "")).strip()
    if not name or name in LIMITS:
        problems.append(f"{where}: give it an id of its own that is not that of a published limit.")
    code = str(entry.get("unit", "MOhm"))
    try:
        if unit(code).dimension != "resistance":
            problems.append(f"{where}: the unit must be one of resistance, e.g. MOhm.")
    except UnitError as error:
        problems.append(f"{where}: {error}")
    section = _member(Section, entry.get("section"), where, problems)
    motor = _member(MotorKind, entry.get("motor_kind"), where, problems)
    per_km = entry.get("per_km", False)
    if not isinstance(per_km, bool):
        problems.append(f"{where}: per_km must be true or false.")
    component = _member(Component, entry.get("component"), where, problems)
    if value is None or len(problems) > before:
        return None
    quantity = str(entry.get("quantity", "insulation resistance to earth"))
    condition = (
        ", ".join(str(part.value) for part in (section, motor, component) if part is not None) or "every reading"
    )
    limit = Limit(
        name,
        quantity,
        condition,
        value,
        code,
        SHOP,
        "",
        SourceStatus.OF_SHOP,
        decided_by=str(entry.get("decided_by", "")),
        reason=str(entry.get("reason", "")),
    )
    return ExtraLimit(limit, section, motor, component, per_km)


def _member(kind: type[_T], text: Any, where: str, problems: list[str]) -> _T | None:
    if text is None:
        return None
    try:
        return kind(text)
    except ValueError:
        problems.append(f"{where}: {text!r} is not known; use one of {', '.join(kind)}.")
        return None


def _decimal(raw: Any, where: str, problems: list[str]) -> Decimal | None:
    if isinstance(raw, (str, int)) and not isinstance(raw, bool):
        try:
            value = Decimal(str(raw))
            if value.is_finite() and value > 0:
                return value
        except InvalidOperation:
            pass
    problems.append(f'{where}: value must be a positive decimal number in quotes, e.g. value = "2.5".')
    return None


def _table(data: Mapping[str, Any], key: str, problems: list[str]) -> Mapping[str, Any]:
    found = data.get(key, {})
    if isinstance(found, Mapping):
        return found
    problems.append(f"[{key}] must be a table.")
    return {}
