"""Running figures of every column: least, greatest, missing; and the columns as they are stored."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import pyarrow as pa
import pyarrow.compute as pc

from ingest.channels import is_plausible, parse_channel
from ingest.delimited.clock import ClockPlan
from ingest.delimited.column import ColumnEvidence, ColumnMeaning
from ingest.delimited.plan import ColumnPlan
from ingest.log import Column, Fault, channel_field


@dataclass
class Tally:
    """One source column on its way into the log. stored: its name there, or None."""

    plan: ColumnPlan
    evidence: ColumnEvidence
    meaning: ColumnMeaning
    stored: str | None
    clock: ClockPlan | None = None  # where this column is the clock or a part of it
    low: float | None = None
    high: float | None = None
    first_text: str | None = None
    last_text: str | None = None
    missing: int = 0
    rows: int = 0
    words: set[str] = field(default_factory=set)
    bad: int = 0
    sentinels_hit: int = 0

    @property
    def numeric(self) -> bool:
        return self.plan.kind in ("number", "flag")

    def field(self) -> pa.Field:
        """The Arrow field of the stored column."""
        if not self.numeric:
            return pa.field(
                self.stored,
                pa.dictionary(pa.int32(), pa.string()),
                nullable=True,
                metadata={"source": self.plan.source},
            )
        parsed = parse_channel(self.stored) if self.stored else None
        return channel_field(
            self.stored or "",
            part=parsed.part if parsed else "",
            quantity=self.meaning.quantity,
            unit=self.meaning.unit or "",
            source=self.plan.source,
            source_unit=self.meaning.source_unit or "",
            scale=self.meaning.scale,
            offset=self.meaning.offset,
        )

    def take(self, values: pa.Array) -> pa.Array:
        """Count a block of the column; the values as stored (sentinels gone, converted)."""
        self.rows += len(values)
        if not self.numeric:
            return self._take_text(values)
        top = pc.min_max(values)
        low, high = top["min"].as_py(), top["max"].as_py()
        if low is not None:
            inside = [s for s in self.meaning.sentinels if low <= s <= high]
            if inside:
                hit = pc.is_in(values, value_set=pa.array(inside, values.type))
                self.sentinels_hit += pc.sum(hit).as_py() or 0
                values = pc.if_else(hit, pa.scalar(None, values.type), values)
                top = pc.min_max(values)
                low, high = top["min"].as_py(), top["max"].as_py()
        self.missing += values.null_count
        if low is not None and high is not None:
            self.low = low if self.low is None else min(self.low, low)
            self.high = high if self.high is None else max(self.high, high)
        if self.stored is None:
            return values
        if pa.types.is_integer(values.type):
            values = values.cast(pa.float64(), safe=False)
        if self.meaning.scale != 1.0:
            values = pc.multiply(values, self.meaning.scale)
        if self.meaning.offset != 0.0:
            values = pc.add(values, self.meaning.offset)
        return values

    def _take_text(self, values: pa.Array) -> pa.Array:
        self.missing += values.null_count
        if len(values) and self.plan.kind == "time":
            some = values.drop_null() if values.null_count else values
            if len(some):
                self.first_text = self.first_text or some[0].as_py()
                self.last_text = some[-1].as_py()
        if self.stored is None:
            return values
        return pc.dictionary_encode(values)

    def late_faults(self) -> list[Fault]:
        """What only the whole file shows: values that stand for none, and figures no such channel can have."""
        found: list[Fault] = []
        said = {fault.code for fault in self.meaning.faults}
        name = self.plan.source
        if self.sentinels_hit and "sentinel" not in said:
            note = f"{self.sentinels_hit} cells hold a value that stands for none; they are taken as missing."
            found.append(Fault("sentinel", "repaired", note, None, name, self.sentinels_hit))
        channel = parse_channel(self.meaning.channel) if self.meaning.channel else None
        about = self.column()
        if channel is None or about.min is None or about.max is None or "implausible" in said:
            return found
        if not is_plausible(channel, about.min, about.max):
            limits = f"{channel.quantity.low:g} to {channel.quantity.high:g} {channel.unit}"
            figures = f"{about.min:.4g} to {about.max:.4g} {channel.unit}"
            note = f"{figures} is outside what {channel.name} can be ({limits})."
            found.append(Fault("implausible", "doubtful", note, None, name))
        return found

    def column(self) -> Column:
        """The contract's description of the column, complete when all blocks were taken."""
        meaning = self.meaning
        low = high = None
        if self.clock is not None:
            meaning = replace(
                meaning,
                quantity="time",
                channel=None,
                unit="s",
                source_unit=self.clock.unit,
                sure=self.clock.sure,
                why=self.clock.why,
                alternatives=self.clock.alternatives,
            )
        if self.numeric and self.low is not None and self.high is not None:
            if self.clock is not None and self.clock.parts[0][1] == "number":
                tick_s = self.clock.tick_s or 1.0
                ends = sorted(x / round(1 / tick_s) if tick_s < 1 else x * tick_s for x in (self.low, self.high))
            else:
                ends = sorted(x * meaning.scale + meaning.offset for x in (self.low, self.high))
            low, high = float(ends[0]), float(ends[1])
        kind = self.plan.kind
        return Column(
            source=self.plan.source,
            kind=kind,
            quantity=meaning.quantity,
            channel=meaning.channel if self.stored == meaning.channel else None,
            unit=meaning.unit,
            source_unit=meaning.source_unit,
            sure=meaning.sure,
            why=meaning.why,
            scale=meaning.scale,
            offset=meaning.offset,
            min=low,
            max=high,
            source_min=_plain(self.low) if self.numeric else self.first_text,
            source_max=_plain(self.high) if self.numeric else self.last_text,
            missing=self.missing,
            alternatives=tuple(meaning.alternatives),
            question=meaning.question,
        )


def _plain(value: float | None) -> float | None:
    return None if value is None else float(value)


def stored_names(
    plans: list[ColumnPlan], meanings: list[ColumnMeaning], clock: set[int], ignored: set[str]
) -> list[str | None]:
    """Channel names, `other:` names, None where a column is not stored; every name once."""
    names: list[str | None] = []
    taken: set[str] = set()
    for plan, meaning in zip(plans, meanings, strict=True):
        if plan.index in clock or plan.source in ignored:
            names.append(None)
            continue
        if plan.kind in ("number", "flag") and meaning.channel and meaning.channel not in taken:
            name: str | None = meaning.channel
        elif plan.kind in ("number", "flag") or (plan.kind == "text" and plan.few_words):
            name = f"other:{plan.source or f'column {plan.index + 1}'}"
            stem, k = name, 2
            while name in taken:
                name, k = f"{stem}#{k}", k + 1
        else:
            name = None
        if name is not None:
            taken.add(name)
        names.append(name)
    return names
