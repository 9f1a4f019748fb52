"""Words and context to readings, commands and doubts. Nothing is guessed: what does not fit is kept as a doubt.

`parse` is a pure function of the words and what held before them. "Correction" in mid-breath supersedes what was
said before it; a command counts only when nothing but fillers stands around it, so talk cannot confirm a value.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal

from capture.language.assemble import assemble
from capture.language.circumstances import said_beside
from capture.language.draft import Draft, SpokenValue
from capture.language.items import (
    SOUND_ALIKE,
    AxisSpoken,
    Cue,
    Item,
    Special,
    Tail,
    Terminals,
    UnitSpoken,
    scan,
)
from capture.language.kinds import doubts_about, kind_of, measures, plausible, to_ground
from capture.language.numbers import SpokenNumber
from capture.language.pauses import with_digits_for_homophones, without_idle_pauses
from capture.language.vocabulary import plain_text
from capture.reading import Command, Context, Doubt, Heard, Reading, SaidBeside, Utterance
from grading.terms.quantity import Qualifier, Quantity, QuantityKind
from grading.terms.section import Section

_LEAD_FAMILIES = {"U": ("U", "V", "W"), "1": ("1", "2", "3"), "T": ("T1", "T2", "T3"), "A": ("A1", "A2")}
_TO_GROUND = frozenset({QuantityKind.INSULATION_RESISTANCE, QuantityKind.RESISTANCE_TO_GROUND})
_SURROUNDINGS = frozenset(
    {
        QuantityKind.TEMPERATURE,
        QuantityKind.HUMIDITY,
        QuantityKind.TIME,
        QuantityKind.VOLTAGE,
        QuantityKind.CURRENT,
        QuantityKind.CAPACITANCE,
    }
)  # said between two readings of a test without ending it
_SKIPPED = (Cue.FILLER, Cue.PAUSE)
_YES_NO = {
    Command.CONFIRM: frozenset({"no", "wrong"}),
    Command.REJECT: frozenset({"yes", "yeah", "right", "correct", "affirmative", "okay"}),
}


@dataclass
class _Result:
    readings: list[Reading] = field(default_factory=list)
    alternatives: list[Reading] = field(default_factory=list)
    doubts: list[Doubt] = field(default_factory=list)
    context: Context = field(default_factory=Context)


def parse(heard: Heard | str, context: Context | None = None) -> Utterance:
    """Understand one utterance.

    Args:
        heard: Recognised or typed words; multi-word entries may be joined by "_", pauses written as commas.
        context: What held before.

    Returns:
        The readings, command, new context, alternatives and doubts; `confidence` is 1 when there is a reading,
        command or context, since it says nothing about the hearing.
    """
    heard = Heard(heard) if isinstance(heard, str) else heard
    context = context or Context()
    words, guessed = with_digits_for_homophones(without_idle_pauses(plain_text(heard.text)))
    scanned, beside = said_beside(list(scan(words)))
    items, denied = _without_denied(_corrections_named(scanned, words))
    parts = _split_corrections(items)
    command, doubts = _command(parts, items, words)
    drafts = [assemble(part) for part in parts]
    draft = drafts[-1]
    for earlier in reversed(drafts[:-1]):  # the latest place said wins
        draft = draft.with_place_of(earlier)
    drafts_before = [*drafts[:-1], *(assemble(part) for part in denied)]
    superseded = [reading for earlier in drafts_before for reading in _finish(earlier, context).readings]
    result = _same(draft, context) if command is Command.SAME else _finish(draft, context)
    if command in (Command.CONFIRM, Command.REJECT, Command.UNDO) and result.readings:
        command = None  # "confirm five meg": yes to the old value, or the new one? Only a person can say
        doubts.append(Doubt.CONFLICT)
    if beside.anything:
        if command is Command.REJECT and any(item.piece is Command.CORRECT for item in items):
            command = Command.CORRECT  # "scratch that, after cleaning": the value stays
        elif command is not None and command is not Command.CORRECT:
            command = None
            doubts.append(Doubt.CONFLICT)
        elif _unknown(items) and not result.readings:
            beside = SaidBeside()  # talk that mentions one
            doubts.append(Doubt.UNKNOWN_WORDS)
    said = bool(result.readings or command or draft.places or beside.anything or result.context != context)
    if words and not (said or doubts or result.doubts):
        doubts.append(Doubt.UNKNOWN_WORDS if _unknown(items) else Doubt.VALUE_MISSING)
    doubts += [*result.doubts, *([Doubt.DIGITS_AMBIGUOUS] if guessed else [])]
    return Utterance(
        heard,
        tuple(result.readings),
        command,
        result.context,
        tuple(result.alternatives),
        1.0 if said else 0.0,
        tuple(dict.fromkeys(doubts)),
        tuple(superseded),
        beside,
    )


def _corrections_named(items: list[Item], words: Sequence[str]) -> list[Item]:
    """Take "correct Z motor alone U: fifteen" for a correction; "correct" without a place stays a soft answer."""
    first = next((item for item in items if item.piece not in (Cue.FILLER, Cue.PAUSE)), None)
    if first is None or first.piece is not Cue.SOFT or words[first.start : first.end] != ["correct"]:
        return items
    placed = any(isinstance(item.piece, AxisSpoken | Terminals) or item.piece is Cue.NOT for item in items)
    valued = any(isinstance(item.piece, SpokenNumber) for item in items)
    if not (placed and valued):
        return items
    return [replace(item, piece=Command.CORRECT) if item is first else item for item in items]


def _without_denied(items: list[Item]) -> tuple[list[Item], list[list[Item]]]:
    """Part "fifteen, not fifty meg" into what is said and what is denied; the unit belongs to both."""
    denied: list[list[Item]] = []
    kept: list[Item] = []
    index = 0
    while index < len(items):
        item = items[index]
        following = next((at for at in range(index + 1, len(items)) if items[at].piece not in _SKIPPED), None)
        if item.piece is not Cue.NOT:
            kept.append(item)
            index += 1
        elif following is None or not isinstance(items[following].piece, SpokenNumber):
            kept.append(replace(item, piece=Cue.UNKNOWN))  # "not" of anything else turns a meaning round
            index += 1
        else:
            end = following + 1
            while end < len(items) and isinstance(items[end].piece, UnitSpoken | Tail):
                end += 1
            denied.append(items[following:end])
            while kept and kept[-1].piece in _SKIPPED:
                kept.pop()
            if kept and isinstance(kept[-1].piece, SpokenNumber):
                kept += items[following + 1 : end]
            index = end
    return kept, denied


def _split_corrections(items: Sequence[Item]) -> list[list[Item]]:
    parts: list[list[Item]] = [[]]
    for item in items:
        if item.piece is Command.CORRECT:
            parts.append([])
        else:
            parts[-1].append(item)
    return parts


def _unknown(items: Sequence[Item]) -> bool:
    return any(item.piece is Cue.UNKNOWN for item in items)


def _command(
    parts: Sequence[Sequence[Item]], items: Sequence[Item], words: Sequence[str]
) -> tuple[Command | None, list[Doubt]]:
    """Find the one command of an utterance; opposites and commands amid unknown words are none."""
    given = list(dict.fromkeys(item.piece for item in items if isinstance(item.piece, Command)))
    if Command.CORRECT in given:
        given.remove(Command.CORRECT)
        if not given and not any(_says_something(item) for part in parts[:-1] for item in part):
            said_scratch = "scratch" in words and not any(_says_something(item) for item in parts[-1])
            return (Command.REJECT if said_scratch else Command.CORRECT), []
    if not given:
        return None, []
    if set(given) == {Command.CONFIRM, Command.NEXT}:
        given = [Command.CONFIRM]
    opposite = _YES_NO.get(given[0], frozenset()) & set(words)
    if len(given) > 1 or opposite:
        return None, [Doubt.CONFLICT]
    # The unknown word may have been "don't".
    return (None, [Doubt.UNKNOWN_WORDS]) if _unknown(items) else (given[0], [])


def _says_something(item: Item) -> bool:
    return item.piece not in (Cue.FILLER, Cue.PAUSE, Cue.SOFT)


def _same(draft: Draft, context: Context) -> _Result:
    """Copy the last value of the same test to where the words now point."""
    last, kind = context.last, draft.topic.kind if draft.topic is not None else context.kind
    moved = _context(draft, context)
    if last is None or (kind is not None and last.kind is not None and kind is not last.kind):
        return _Result(doubts=[Doubt.VALUE_MISSING], context=moved)
    copy = replace(
        last,
        kind=last.kind or kind,
        axis=moved.axis,
        section=moved.section,
        terminals=moved.terminals,
        test_voltage_set=moved.test_voltage_set,
    )
    return _Result(readings=[copy], doubts=doubts_about(copy), context=moved.after(copy))


def _finish(draft: Draft, context: Context) -> _Result:
    """Fill a draft from the context and say what stays open."""
    draft = _settle_voltages(_settle_axis(draft, context), context)
    result = _Result(doubts=list(draft.doubts), context=_context(draft, context))
    values = _per_lead(draft, context)
    several = len(values) > 1 or draft.each > 1
    for value in values:
        terminals = _terminals(value.terminals or draft.terminals, context, draft)
        kind = kind_of(draft.topic, value.quantity, terminals, high_voltage=draft.high_voltage, context=context)
        quantity = value.quantity
        if quantity.unit is None:
            quantity = _with_unit(quantity, kind, several=several)
        reading = _reading(draft, quantity, kind, terminals, context)
        result.readings.append(reading)
        result.doubts += [*value.doubts, *doubts_about(reading)]
        if len(values) == 1 and not measures(draft.topic, quantity):
            result.doubts.append(Doubt.UNIT_UNSURE)
        if kind not in _SURROUNDINGS:
            result.context = result.context.after(reading)
        if len(values) == 1 or value.terminals is not None:  # else nobody could tell whose alternative it is
            others = [replace(reading, quantity=other) for other in value.others]
            result.alternatives += [other for other in others if plausible(other)]
    if len(result.readings) == 1:
        result.alternatives += _others_beside(draft, result.readings[0])
        axes = [axis for axis in _alike(draft, context) if axis != result.readings[0].axis]
        result.alternatives += [replace(result.readings[0], axis=axis) for axis in axes]
    kinds = {reading.kind for reading in result.readings}
    alike = len(kinds) == 1 and not draft.each and not _placed(draft)  # a temperature and a humidity are no list
    if several and alike and (draft.unpaused or len(values) == 2):
        result.doubts.append(Doubt.DIGITS_AMBIGUOUS)
    return result


def _placed(draft: Draft) -> bool:
    return all(value.terminals is not None for value in draft.values)


def _reading(
    draft: Draft, quantity: Quantity, kind: QuantityKind | None, terminals: str | None, context: Context
) -> Reading:
    """Make one reading, its place filled from the context where it was not said."""
    insulation = kind is QuantityKind.INSULATION_RESISTANCE
    on_axis = kind not in (QuantityKind.TEMPERATURE, QuantityKind.HUMIDITY, QuantityKind.TIME)
    of_motor = kind is QuantityKind.TEMPERATURE and draft.topic is not None and draft.topic.of_motor
    if terminals is None and kind is context.kind:
        terminals = context.terminals
    return Reading(
        kind,
        quantity,
        draft.axis or (context.axis if on_axis or of_motor else None),
        draft.section or (Section.MOTOR_ALONE if of_motor else context.section if on_axis else None),
        terminals if on_axis else None,
        draft.set_volts or (context.test_voltage_set if insulation else None),
        draft.built_volts,
        draft.elapsed_s,
    )


def _context(draft: Draft, context: Context) -> Context:
    """Make the context that holds after the words about place and voltage; nothing new amid unknown words."""
    if Doubt.UNKNOWN_WORDS in draft.doubts and not draft.values:
        return context
    terminals = _terminals(draft.terminals, context, draft)
    kind = _kind_named(draft, context)
    return replace(
        context,
        kind=kind,
        axis=draft.axis if draft.axis and draft.axis_unambiguous else context.axis,
        section=draft.section or context.section,
        terminals=terminals or _terminals_held(context, kind),
        test_voltage_set=draft.set_volts or context.test_voltage_set,
        voltage_next=draft.voltage_next,
    )


def _terminals_held(context: Context, kind: QuantityKind | None) -> str | None:
    """Keep the test point that still holds: a change of test keeps only one to ground, for a test to ground."""
    if kind is context.kind or (kind in _TO_GROUND and to_ground(context.terminals)):
        return context.terminals
    return None


def _kind_named(draft: Draft, context: Context) -> QuantityKind | None:
    """Give the test named by itself ("insulation"), for the readings to come."""
    if draft.topic is None or draft.topic.weak or draft.values or draft.topic.kind in _SURROUNDINGS:
        return context.kind
    return draft.topic.kind


def _terminals(spoken: str | None, context: Context, draft: Draft) -> str | None:
    """Complete a lead named without its partner: to ground when that is what is tested."""
    if spoken is None or not spoken.endswith("-"):
        return spoken
    grounded = to_ground(context.terminals) or context.kind is QuantityKind.INSULATION_RESISTANCE
    return f"{spoken}PE" if grounded or draft.high_voltage else None


def _alike(draft: Draft, context: Context) -> list[str]:
    """List the job's axes that a letter said as an axis cannot be told from."""
    if draft.axis is None or draft.axis_unambiguous or not draft.axis_named or draft.axis[0] not in SOUND_ALIKE:
        return []
    return [axis for axis in context.axes if axis[0] in SOUND_ALIKE and axis[1:] == draft.axis[1:]]


def _settle_axis(draft: Draft, context: Context) -> Draft:
    """Accept "B axis" where the job has a B axis and no other that sounds like it."""
    if _alike(draft, context) != [draft.axis]:
        return draft
    doubts = tuple(doubt for doubt in draft.doubts if doubt is not Doubt.AXIS_MISSING)
    return replace(draft, axis_unambiguous=True, doubts=doubts)


def _settle_voltages(draft: Draft, context: Context) -> Draft:
    """Decide what a voltage without a value means: a setting, a collapse, or nothing yet."""
    if context.voltage_next and len(draft.values) == 1 and draft.values[0].quantity.unit in (None, "V"):
        value = draft.values[0].quantity.value
        return replace(draft, values=(), set_volts=value)
    if draft.values or draft.built_volts is None:
        return draft
    asked = draft.set_volts or context.test_voltage_set
    # Between 10 % below (program's rule) and `kinds.OVERSHOOT` above, the tester built its voltage and showed no value.
    held = asked is not None and asked * Decimal("0.9") <= draft.built_volts <= asked * Decimal("1.25")
    qualifier = Qualifier.NONE if held else Qualifier.COLLAPSED
    doubts = (Doubt.VALUE_MISSING,) if held else ()
    return draft.with_special(Special(qualifier), doubts)


def _per_lead(draft: Draft, context: Context) -> Sequence[SpokenValue]:
    """Give each value of a list of three its leads, in the order of the test plan: U-V, V-W, W-U."""
    said = list(draft.values)
    values = said * draft.each if draft.each > 1 and len(said) == 1 else said
    if len(values) != (draft.each or 3) or len(values) < 2 or any(value.terminals for value in values):
        return said
    if context.kind is None or draft.unsettled:  # three values of one climbing reading are no list of leads
        return said
    family = (context.terminals or "")[:1]
    leads = _LEAD_FAMILIES.get("U" if len(values) == 3 else "A", ())
    if family in _LEAD_FAMILIES and len(_LEAD_FAMILIES[family]) == len(values):
        leads = _LEAD_FAMILIES[family]
    if context.kind is QuantityKind.WINDING_RESISTANCE:
        if len(values) != 3:
            return said
        names = [f"{first}-{second}" for first, second in zip(leads, (*leads[1:], leads[0]), strict=True)]
    else:
        names = [f"{lead}-PE" for lead in leads]
    return [replace(value, terminals=name) for value, name in zip(values, names, strict=True)]


def _with_unit(quantity: Quantity, kind: QuantityKind | None, *, several: bool) -> Quantity:
    """Give a value said without digits the unit of its test; digits get one only in a list over windings.

    A list over the windings ("point eight, point eight one, point eight") is always in ohms and is read back with
    that unit; a single bare number is asked about.
    """
    ohms = {
        QuantityKind.WINDING_RESISTANCE: "Ohm",
        QuantityKind.RESISTANCE_TO_GROUND: "Ohm",
        QuantityKind.CONTINUITY: "Ohm",
        QuantityKind.INSULATION_RESISTANCE: "MOhm",
    }
    if quantity.digits is None and kind in ohms:
        return replace(quantity, unit=ohms[kind])
    if several and kind is QuantityKind.WINDING_RESISTANCE:
        return replace(quantity, unit="Ohm")
    return quantity


def _others_beside(draft: Draft, reading: Reading) -> list[Reading]:
    """Make the same reading with a built voltage or a time that sounds alike, where that one is possible."""
    others = [replace(reading, test_voltage_built=volts) for volts in draft.built_others]
    others += [replace(reading, elapsed_s=seconds) for seconds in draft.elapsed_others]
    return [other for other in others if plausible(other)]
