"""The live view in the terminal, on stderr: redrawn in place on a terminal, a plain line now and then elsewhere."""

from __future__ import annotations

import math
import shutil
import sys
import textwrap
import threading
import time
from collections import deque
from collections.abc import Sequence
from typing import Final, TextIO

from dashboard.live_words import CURRENT_S, clock_text, lost_text, number, size_text
from ingest.record.live import Live, SourceView, Value
from ingest.record.session import Session

REDRAW_S: Final = 0.5  # our choice: as often as an eye can read a figure
PLAIN_S: Final = 5.0  # our choice: a log of the recording that stays readable
MOST_ROWS: Final = 40
MOST_WAITING_LINES: Final = 1000  # our choice, as LAST_WORDS_S: an end is not held up by a terminal that stands still
LAST_WORDS_S: Final = 2.0
_UP, _CLEAR, _CLEAR_BELOW = "\x1b[{}A\r", "\x1b[K", "\x1b[J"


class Screen:
    """Call it with the session as often as you like; it draws when it is time. A lost terminal is no error.

    Writing is another thread's: a terminal that stands still (Ctrl-S, a pager that is not read) never holds up the
    recording. A picture that was not drawn yet gives way to the next; of lines so many wait.
    """

    def __init__(self, stream: TextIO | None = None, clock_s: float | None = None) -> None:
        self._stream = stream or sys.stderr
        self._tty = self._stream.isatty()
        self._every_s = REDRAW_S if self._tty else PLAIN_S
        self._last_s = clock_s if clock_s is not None else time.monotonic()
        self._rows = 0
        self._told = 0
        self._picture: tuple[Sequence[str], int] | None = None
        self._lines: deque[str] = deque(maxlen=MOST_WAITING_LINES)
        self._ready = threading.Condition()
        self._ended = False
        self._thread = threading.Thread(target=self._work, name="draw", daemon=True)
        self._thread.start()

    def __call__(self, session: Session) -> None:
        now_s = time.monotonic()
        ended = session.state == "ended"
        if not self._tty:
            self._tell_new(session)
        if ended or now_s - self._last_s >= self._every_s:
            self._last_s = now_s
            if self._tty:
                size = shutil.get_terminal_size((80, 24))
                self._hand(picture=(view_lines(session, min(MOST_ROWS, size.lines - 2)), size.columns))
            elif not ended:
                self._hand(line=plain_line(session) + "\n")
        if ended:
            with self._ready:
                self._ended = True
                self._ready.notify()
            self._thread.join(LAST_WORDS_S)

    def _tell_new(self, session: Session) -> None:
        for happening in session.happenings[self._told :]:
            self._hand(line=f"{happening.t_ns / 1e9:.1f} s: {happening.text}\n")
        self._told = len(session.happenings)

    def _hand(self, picture: tuple[Sequence[str], int] | None = None, line: str = "") -> None:
        with self._ready:
            self._picture = picture or self._picture
            if line:
                self._lines.append(line)
            self._ready.notify()

    def _work(self) -> None:
        while True:
            with self._ready:
                while self._picture is None and not self._lines:
                    if self._ended:
                        return
                    self._ready.wait()
                picture, self._picture = self._picture, None
                text = "".join(self._lines)
                self._lines.clear()
            if picture is not None:
                self._draw(*picture)
            if text:
                self._write(text)

    def _draw(self, lines: Sequence[str], columns: int) -> None:
        rows: list[str] = []
        for line in lines:  # an alarm is shown whole, the rest may be cut
            rows += (
                textwrap.wrap(line, columns - 1, subsequent_indent="   ") if line[:1] == ">" else [line[: columns - 1]]
            )
        text = _UP.format(self._rows) if self._rows else ""
        text += "".join(row + _CLEAR + "\n" for row in rows) + _CLEAR_BELOW
        self._rows = len(rows)
        self._write(text)

    def _write(self, text: str) -> None:
        encoding = self._stream.encoding or "utf-8"
        try:
            self._stream.write(text.encode(encoding, errors="replace").decode(encoding))
            self._stream.flush()
        except (OSError, ValueError):  # the terminal was closed: the recording ends by its own signal
            return


def view_lines(session: Session, most: int) -> list[str]:
    """The whole view, at most so many lines; what does not fit is counted."""
    lines = [head_line(session)]
    room = most - 2 - len(session.live.alarms) - 2 - len(session.live.views)
    for view in session.live.views:
        lines.append(source_line(view, session.now_s))
        values = [v for v in view.values.values() if math.isfinite(v.last)]
        shown = values if len(values) <= room else values[: max(0, room - 1)]
        lines += [value_line(value, session.now_s) for value in shown]
        if len(shown) < len(values):
            lines.append(f"  and {len(values) - len(shown)} more")
        room -= len(shown) + 1
    lines += extreme_lines(session.live)
    lines += alarm_lines(session.live)
    if session.state != "ended":
        lines.append("Ctrl-C ends it.")
    return lines


def head_line(session: Session) -> str:
    if session.state == "waiting":
        start = session.plan.start_when
        words = f"waiting for {start.text}" if start is not None else "waiting"
    elif session.state == "ended":
        words = "ended"
    else:
        words = f"recording to {session.files[-1].name}" if session.files else session.state
    parts = [words, clock_text(session.elapsed_s), size_text(session.bytes_written)]
    if session.free_bytes is not None:
        parts.append(f"disk left {size_text(session.free_bytes)}")
    return "   ".join(parts)


def source_line(view: SourceView, now_s: float) -> str:
    packets, size, good = view.rates()
    words = {"silent": "nothing came yet", "lost": "VANISHED, looking for it"}.get(view.state, view.state)
    if view.state == "listening" and now_s - view.last_s > CURRENT_S:
        words = f"silent for {now_s - view.last_s:.0f} s"
    parts = [view.name, words, f"{size_text(size)}/s"]
    if view.decoder.word:
        parts.append(f"{good:,.0f} {view.decoder.word}/s")
    elif view.source.kind == "udp":
        parts.append(f"{packets:,.0f} datagrams/s")
    parts.append(lost_text(view))
    return "   ".join(part for part in parts if part)


def value_line(value: Value, now_s: float) -> str:
    old = f"   {now_s - value.seen_s:.0f} s old" if now_s - value.seen_s > CURRENT_S else ""
    unit = f" {value.unit}" if value.unit else ""
    least = {"voltage": f"   lowest {number(value.low)} at {value.low_at_s:.1f} s"}
    most = {q: f"   highest {number(value.high)} at {value.high_at_s:.1f} s" for q in ("current", "temperature")}
    return f"  {value.name:<28} {number(value.last):>10}{unit}{(least | most).get(value.quantity, '')}{old}"


def extreme_lines(live: Live) -> list[str]:
    lowest, highest = live.lowest_voltage(), live.highest_current()
    lines = []
    if lowest is not None:
        lines.append(f"lowest voltage   {lowest.name} {number(lowest.value)} {lowest.unit} at {lowest.at_s:.1f} s")
    if highest is not None:
        lines.append(f"highest current  {highest.name} {number(highest.value)} {highest.unit} at {highest.at_s:.1f} s")
    return lines


def alarm_lines(live: Live) -> list[str]:
    """A word and a sign each; what is not watched is said too."""
    lines = [
        f"{'>>' if alarm.now else '> '} {alarm.sentence}{'' if alarm.now else ', not now'}" for alarm in live.alarms
    ]
    if live.watch.limits:
        lines.append(f"{len({limit.channel for limit in live.watch.limits} & live.watch.seen)} of "
                     f"{len({limit.channel for limit in live.watch.limits})} rated channels are watched")  # fmt: skip
    return lines


def plain_line(session: Session) -> str:
    parts = [head_line(session)]
    for view in session.live.views:
        parts.append(source_line(view, session.now_s).replace("   ", " "))
    lowest, highest = session.live.lowest_voltage(), session.live.highest_current()
    parts += [
        f"{word} {e.name} {number(e.value)} {e.unit}"
        for word, e in (("lowest", lowest), ("highest", highest))
        if e is not None
    ]
    parts += [alarm.sentence for alarm in session.live.alarms if alarm.now]
    return "; ".join(parts)
