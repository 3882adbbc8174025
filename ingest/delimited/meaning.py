"""What each column of a text log means: quantity, part, channel, unit, how sure, and why.

Certain: words and unit are stated and the figures agree. Likely: one of them is stated and the figures agree.
Guess: only the figures speak for it. Unknown: it could be several things; then it is no channel, because a wrong
channel is worse than none, and a question says which lines of a reading file settle it.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from ingest.channels import parse_channel
from ingest.delimited.column import ColumnEvidence, ColumnMeaning
from ingest.delimited.consistency import check_together
from ingest.delimited.meaning_draft import FITS, FOLLOWS, SAID, UNKNOWN, Draft, FileContext
from ingest.delimited.meaning_file import file_context
from ingest.delimited.meaning_names import designators, read_name, stated_unit
from ingest.delimited.meaning_parts import give_part
from ingest.delimited.meaning_sentinels import find_sentinels, finite
from ingest.delimited.meaning_thousands import doubt_thousands
from ingest.delimited.meaning_twice import once_each
from ingest.delimited.meaning_values import judge_values, settle_unit
from ingest.delimited.mojibake import mended
from ingest.delimited.words import PART
from ingest.delimited.words_units import parse_unit
from ingest.log import Sure
from ingest.readings import Reading, ReadingColumn

_SURE: Final[dict[int, Sure]] = {SAID: "certain", FOLLOWS: "likely", FITS: "guess", UNKNOWN: "unknown"}
_TIME_UNITS: Final = {1.0: "s", 1e-3: "ms", 1e-6: "us", 1e-9: "ns", 60.0: "min", 3600.0: "h"}
# Our choice: weapon motors of small robots reach this; above it a column is more likely electrical speed.
_DOUBTFUL_RPM: Final = 40_000.0
_MOST_CELLS: Final = 64  # our choice: no pack of a small robot has more in series
_OF_THE_SHAFT: Final = frozenset(("motor", "shaft", "mech", "mechanical"))


def clock_unit_hint(source: str, unit_text: str | None) -> str | None:
    """The time unit that a clock's name or stated unit says: s, ms, us, ns, min or h; None where neither does."""
    evidence = ColumnEvidence(0, source, unit_text, "units row" if unit_text else None, "number", np.empty(0), 0, True)
    for text in (unit_text, stated_unit(evidence, frozenset())[1], source.strip().split("_")[-1], source.strip()):
        unit = parse_unit(text)
        if unit is not None and unit.kind == "time":
            return _TIME_UNITS.get(unit.scale)
    return None


def name_columns(
    columns: Sequence[ColumnEvidence],
    *,
    file_name: str,
    preamble: Mapping[str, str],
    parts: Mapping[str, str],
    reading: Reading | None,
    pole_pairs: Mapping[str, int] | None = None,
) -> list[ColumnMeaning]:
    """The meaning of each column, in the order given; value_in_unit = source_value * scale + offset.

    parts maps the build's ids to their kind, pole_pairs its controllers and motors to their pole pairs.
    What the reading says of a column stands; the rest is worked out.
    """
    names = [column.source for column in columns]
    lettered = designators(names)
    times = Counter(names)
    context = file_context(file_name, preamble, parts, reading.part if reading else None, names)
    context = replace(context, build_poles=pole_pairs or {})
    drafts = []
    for column in columns:
        unique = bool(column.source.strip()) and times[column.source] == 1
        place = f"#{column.index + 1}"
        draft = Draft(column, column.source if unique else place)
        said = None
        if reading is not None:
            said = reading.columns.get(place) or (reading.columns.get(column.source) if unique else None)
        read_name(draft, names, lettered)
        if said is not None:
            _as_read(draft, said, context)
        else:
            _work_out(draft, context)
        drafts.append(draft)
    check_together(drafts)
    doubt_thousands(drafts)
    _rows_of_cells(drafts)
    once_each(drafts, _level)
    return [_finished(draft, context) for draft in drafts]


def _rows_of_cells(drafts: Sequence[Draft]) -> None:
    """A list of cells is no log: no clock, and a column that only numbers the cells."""
    if any(d.evidence.is_clock or d.from_reading for d in drafts):
        return
    for listed in drafts:
        values = listed.evidence.values
        if listed.kind != "other" or not {PART.get(w, w) for w in listed.words} & {"cell", "zelle", "cellule"}:
            continue
        if 1 < values.size <= _MOST_CELLS and bool(np.all(np.diff(values) == 1.0)):
            for draft in drafts:
                if draft.channel is not None:
                    draft.drop(f'each row is a cell of its own ("{listed.key}" numbers them)')
            return


def _work_out(draft: Draft, context: FileContext) -> None:
    if draft.evidence.kind == "text":
        draft.no_channel, draft.kind, draft.kind_level = True, "other", SAID
        draft.why.append("text")
        return
    if draft.evidence.is_clock or draft.evidence.kind == "time":
        draft.no_channel, draft.kind, draft.kind_level = True, "time", SAID
        draft.why.append("the clock" if draft.evidence.is_clock else "a time")
        return
    find_sentinels(draft)
    if draft.evidence.label:
        draft.limit(FOLLOWS, f'the file calls it "{draft.evidence.label}"')
    give_part(draft, context)
    settle_unit(draft)
    if draft.kind == "speed":
        _speed(draft, context)
    judge_values(draft)
    if draft.channel is not None and draft.evidence.shifted:
        name = draft.channel
        draft.drop("there are not as many names as cells: this one may be another column's")
        draft.cap, draft.question = UNKNOWN, ""
        draft.ask(f'Is "{draft.key}" {name}? There are not as many names as cells.', channel=name)
    if draft.channel is not None and not draft.source.strip():
        draft.limit(FITS, "the column has no name")
    elif draft.channel is not None and draft.key != draft.evidence.source and draft.part_level < SAID:
        draft.limit(FITS, "another column has the same name")


def _as_read(draft: Draft, said: ReadingColumn, context: FileContext) -> None:
    """What the user says of a column stands; figures that cannot be are still told."""
    if said.ignore:
        draft.no_channel, draft.kind_level, draft.why = True, SAID, ["the reading file leaves it out"]
        draft.unit = None
        return
    if said.sentinels is not None:
        draft.sentinels = said.sentinels
    else:
        find_sentinels(draft)
    if said.channel is None:
        give_part(draft, context)
    else:
        draft.channel, draft.no_channel = said.channel, False
        draft.part_level = draft.kind_level = draft.role_level = SAID
    channel = draft.parsed
    if channel is not None and said.channel is not None:
        draft.kind = "spin" if channel.quantity.suffix == "spin_dps" else channel.quantity.kind
        draft.why = [f"the reading file says {said.channel}"]
        draft.cap = SAID
    if said.unit is not None:
        draft.unit, draft.unit_text, draft.unit_level = parse_unit(said.unit, draft.kind), said.unit, SAID
        draft.why.append(f"the reading file says {said.unit}")
    elif channel is not None and draft.unit is not None and draft.unit.unit != channel.unit:
        draft.unit, draft.unit_text = None, None
    if draft.unit is not None:
        draft.scale, draft.offset = draft.unit.scale, draft.unit.offset
    elif said.scale is not None or (channel is not None and channel.unit == "1"):
        draft.unit_level = SAID  # the scale gives the channel's own unit
    else:
        settle_unit(draft)
    draft.scale_said = said.scale is not None
    draft.from_reading = said.channel is not None and draft.unit_level == SAID
    scale, offset = said.scale if said.scale is not None else 1.0, said.offset or 0.0
    draft.scale, draft.offset = draft.scale * scale, draft.scale * offset + draft.offset
    if said.pole_pairs is not None:
        draft.scale /= said.pole_pairs
    elif draft.kind == "speed" and draft.unit is not None and draft.unit.electrical:
        _speed(draft, context)
    if draft.from_reading:
        _told(draft)
    else:
        judge_values(draft)


def _told(draft: Draft) -> None:
    channel, values = draft.parsed, finite(draft.converted())
    if channel is not None and values.size:
        low, high = float(values.min()), float(values.max())
        if low < channel.quantity.low or high > channel.quantity.high:
            note = f"as the reading file says it is {low:.4g} to {high:.4g} {channel.unit}"
            draft.fault("implausible", "doubtful", note)


def _speed(draft: Draft, context: FileContext) -> None:
    """Electrical speed becomes the shaft's only where the pole pairs are known."""
    channel = draft.channel or (draft.alternatives[0] if draft.alternatives else None)
    asked = f'How many pole pairs has the motor of "{draft.key}"? Its speed is electrical.'
    if (draft.unit is not None and draft.unit.electrical) or "erpm" in draft.words:
        part = channel.removesuffix("_speed_rpm") if channel else ""
        stated = context.build_poles.get(part)
        pairs = context.pole_pairs or stated
        if pairs:
            draft.scale /= pairs
            where = "preamble" if context.pole_pairs else "build"
            draft.limit(FOLLOWS, f"electrical speed over {pairs} pole pairs, as the {where} says")
            if context.pole_pairs and stated and stated != context.pole_pairs:
                note = f"the build says {stated} pole pairs, the file {context.pole_pairs}; the file's are used"
                draft.fault("pole_pairs_disagree", "doubtful", note)
        else:
            draft.drop("electrical speed, and the pole pairs are not known")
            draft.question = ""
            draft.ask(asked, channel=channel, unit=draft.unit_text, pole_pairs=7)
        return
    if draft.channel is None:
        return
    values = finite(draft.converted())
    if values.size and float(np.percentile(np.abs(values), 98.0)) > _DOUBTFUL_RPM:
        draft.limit(FITS, f"above {_DOUBTFUL_RPM:g} rpm: this may be electrical speed")
        draft.ask(
            f'Is "{draft.key}" electrical speed? Then give the pole pairs.',
            channel=channel,
            unit="erpm",
            pole_pairs=7,
        )
    elif "wheel" in draft.words:
        draft.limit(FITS, "a wheel turns slower than its motor by the gearing")
    elif draft.source.strip() != draft.channel and not _OF_THE_SHAFT & set(draft.words):
        draft.limit(FOLLOWS, "taken as the shaft's speed, not the electrical one")


def _level(draft: Draft) -> int:
    if draft.from_reading:
        return SAID
    return min(draft.kind_level, draft.unit_level, draft.part_level, draft.role_level, draft.cap)


def _finished(draft: Draft, context: FileContext) -> ColumnMeaning:
    level = _level(draft)
    if draft.channel is not None and level == UNKNOWN:
        draft.drop("too little is known")
    channel = draft.parsed
    alternatives = tuple(dict.fromkeys(a for a in draft.alternatives if a != draft.channel))
    if channel is None:
        settled = draft.no_channel and draft.cap > UNKNOWN
        level = min(draft.kind_level, SAID) if settled else UNKNOWN
        if not settled:
            _ask_what(draft, context, alternatives)
    elif level <= FITS:
        draft.ask(f'Is "{draft.key}" {draft.channel}?', channel=draft.channel, unit=draft.unit_text)
    unit, source_unit = _units(draft)
    _tell_mended(draft)
    plainly = "the words and the unit say so" if level > UNKNOWN else "neither its words nor a unit are known here"
    why = [w for w in dict.fromkeys(draft.why) if w] or [plainly]
    return ColumnMeaning(
        quantity=draft.quantity,
        channel=draft.channel,
        unit=unit,
        source_unit=source_unit,
        scale=draft.scale if channel is not None else 1.0,
        offset=draft.offset if channel is not None else 0.0,
        sentinels=draft.sentinels,
        sure=_SURE[level],
        why="; ".join(why),
        alternatives=alternatives,
        question="" if _SURE[level] == "certain" else draft.question,
        faults=tuple(draft.faults),
        way_column=draft.way.index if draft.way is not None and channel is not None else None,
        way_letters=draft.way is not None and draft.way.way_letters,
    )


def _tell_mended(draft: Draft) -> None:
    text = draft.unit_text or draft.evidence.unit_text or ""
    meant = mended(text)
    if meant != text and parse_unit(meant, draft.kind) is not None:
        draft.fault("encoding", "repaired", f'The unit "{text}" lost its signs on the way; it is read as {meant}.')


def _units(draft: Draft) -> tuple[str | None, str | None]:
    channel = draft.parsed
    written = draft.unit_text if draft.unit is not None or draft.unit_text else None
    if channel is None:
        return written, written
    return channel.unit, written or (channel.unit if channel.unit != "1" else None)


def _ask_what(draft: Draft, context: FileContext, alternatives: tuple[str, ...]) -> None:
    known = [a for a in alternatives if parse_channel(a) is not None]
    text = f'What is "{draft.key}"?'
    if draft.kind_level and draft.unit_level and draft.part is None:
        text = f'Which part is "{draft.key}" of?'
    if known:
        draft.ask(text, channel=known[0], unit=draft.unit_text if draft.unit is not None else None)
    elif draft.kind != "other" and draft.kind_level:
        draft.ask(f"{text} Give its channel, or leave it out with ignore = true.", ignore=True)
    else:
        draft.ask(f"{text} If it is of no use, leave it out.", ignore=True)
