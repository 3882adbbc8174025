"""What is being worked out about one column, and what the file as a whole says about its part."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from ingest.channels import Channel, parse_channel
from ingest.delimited.column import ColumnEvidence
from ingest.delimited.words_units import Unit, parse_unit
from ingest.log import Fault, Severity
from ingest.readings_examples import column_lines, comment

# How far a statement carries: 3 said outright, 2 follows from something said, 1 only fits, 0 unknown.
SAID, FOLLOWS, FITS, UNKNOWN = 3, 2, 1, 0

# Our own kinds that are finer than the contract's quantities.
QUANTITY_OF = {
    "spin": "acceleration",
    "duty": "command",
    "uptime": "time",
    "frames_lost": "count",
    "failsafe": "other",
    "fault": "other",
    "strength": "other",
    "quality": "other",
    "linear speed": "speed",
    "frequency": "other",
    "percent": "other",
    "pulse": "command",
}


@dataclass
class Draft:
    """One column while its meaning is worked out. Levels are SAID, FOLLOWS, FITS or UNKNOWN."""

    evidence: ColumnEvidence
    key: str
    words: tuple[str, ...] = ()
    kind: str = "other"
    kind_level: int = UNKNOWN
    unit: Unit | None = None
    unit_text: str | None = None
    unit_level: int = UNKNOWN
    part: str | None = None
    part_level: int = UNKNOWN
    role_level: int = SAID
    suffix: str | None = None
    channel: str | None = None
    scale: float = 1.0
    offset: float = 0.0
    cap: int = SAID
    sentinels: tuple[float, ...] = ()
    why: list[str] = field(default_factory=list)
    alternatives: list[str] = field(default_factory=list)
    question: str = ""
    faults: list[Fault] = field(default_factory=list)
    letter: str = ""
    no_channel: bool = False
    from_reading: bool = False
    scale_said: bool = False
    way: ColumnEvidence | None = None  # the column of words that gives each row's sign

    @property
    def source(self) -> str:
        """The name that says what it is: that of the file's list of channels, where it has one."""
        return self.evidence.label or self.evidence.source

    @property
    def quantity(self) -> str:
        return QUANTITY_OF.get(self.kind, self.kind)

    @property
    def parsed(self) -> Channel | None:
        return None if self.channel is None else parse_channel(self.channel)

    def raw(self) -> NDArray[np.float64]:
        """The sample as written, sentinels as NaN."""
        values = self.evidence.values
        if self.sentinels:
            values = np.where(np.isin(values, self.sentinels), np.nan, values)
        return values

    def converted(self) -> NDArray[np.float64]:
        """The sample in the channel's unit."""
        raw = self.raw()
        if self.way is not None and self.way.ways is not None:
            raw = raw * np.where(self.way.ways == 0.0, 1.0, self.way.ways)
        return raw * self.scale + self.offset

    def turn_round(self) -> None:
        """The other sign, in the answer that is offered too."""
        self.scale, self.offset = -self.scale, 0.0 - self.offset
        if self.question and "\nscale = " not in self.question:
            self.question += "\nscale = -1.0"

    def limit(self, level: int, why: str = "") -> None:
        """Never surer than `level` from here on."""
        self.cap = min(self.cap, level)
        if why:
            self.why.append(why)

    def drop(self, why: str, *alternatives: str | None) -> None:
        """No channel: a wrong one is worse than none."""
        if self.channel is not None:
            self.alternatives.append(self.channel)
        self.alternatives += [a for a in alternatives if a is not None]
        self.channel = None
        self.why.append(why)

    def ask(self, text: str, **keys: object) -> None:
        """A question with the lines of a reading file that answer it. The first question stands."""
        channel = parse_channel(str(keys["channel"])) if keys.get("channel") else None
        if channel is not None and keys.get("unit"):
            unit = parse_unit(str(keys["unit"]), channel.quantity.kind)
            if unit is None or unit.unit != channel.unit:
                keys.pop("unit")  # the answer that is offered must load
        if not self.question:
            self.question = f"{comment(text)}\n{column_lines(self.key, **keys)}"

    def fault(self, code: str, severity: Severity, note: str) -> None:
        if all(f.code != code for f in self.faults):
            self.faults.append(Fault(code, severity, note, column=self.evidence.source))


@dataclass(frozen=True)
class FileContext:
    """What the file as a whole says: whose log it is, and the build's parts."""

    parts: Mapping[str, str]
    hint: str | None = None
    hint_kind: str = ""
    hint_level: int = UNKNOWN
    hint_why: str = ""
    pole_pairs: int | None = None
    one_controller: bool = False  # the log of some controller, it is not said which
    siblings: frozenset[tuple[str, ...]] = frozenset()
    build_poles: Mapping[str, int] = field(default_factory=dict)

    def of_kind(self, *kinds: str) -> list[str]:
        return [part for part, kind in self.parts.items() if kind in kinds]
