"""What a recording says about itself: sources that were away, parts, damaged blocks, a torn end."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from ingest.log import Fault

if TYPE_CHECKING:
    from ingest.record.parts import Part
    from ingest.record.recorded import Hole, Recording

MOST_TOLD: Final = 50  # our choice: of one kind; more are counted
_PLACED: Final = {
    "clock": "placed by the computer's own clock, which ran on",
    "wall clock": "placed by the computer's wall clock, as far as that was right",
    "unknown": "when it began is not known, as the wall clock went back: a recording of its own",
}
_GAPS: Final = ("lost", "overflow", "dropped", "counted", "slept", "clock")


def recording_faults(recording: Recording) -> list[Fault]:
    """In the order in which they lie in time, as far as it is known; the torn end last."""
    faults: list[Fault] = []
    gaps = [event for event in recording.events if event.kind in _GAPS]
    for event in gaps[:MOST_TOLD]:
        code = "wall_clock_set" if event.kind == "clock" else "source_lost"
        faults.append(Fault(code, "doubtful", f"At {event.t_ns / 1e9:.1f} s: {event.text}."))
    if len(gaps) > MOST_TOLD:
        faults.append(Fault("source_lost", "doubtful", f"So {len(gaps) - MOST_TOLD} times more."))
    faults += [_of_part(part, k) for k, part in enumerate(recording.parts[1 : MOST_TOLD + 1], 2)]
    faults += [_of_hole(hole) for hole in recording.holes[:MOST_TOLD]]
    if len(recording.holes) > MOST_TOLD:
        more = recording.holes[MOST_TOLD:]
        lost = sum(hole.damage.blocks for hole in more)
        faults.append(Fault("damaged_block", "dropped", f"{len(more)} damaged places more; {lost} blocks.", count=lost))
    if recording.torn_bytes or recording.ended is None:
        note = "It was not closed"
        torn = recording.torn_bytes
        note += f"; {torn} bytes behind the last whole block are left out." if torn else "."
        faults.append(Fault("truncated", "dropped", note))
    return faults


def _of_part(part: Part, count: int) -> Fault:
    begun = f" on {part.wall_start}" if part.wall_start else ""
    where = f" at {part.shift_ns / 1e9:.1f} s" if part.placed != "unknown" else ""
    note = f"Part {count} was begun{begun}{where}, behind a gap; {_PLACED[part.placed]}."
    return Fault("recorded_in_parts", "doubtful", note)


def _of_hole(hole: Hole) -> Fault:
    start, end, blocks = hole.damage
    many = f"{blocks} {'block' if blocks == 1 else 'blocks'}" if blocks else "no block of its own"
    note = f"Damaged from byte {start} to {end}: {end - start} bytes, {many}"
    if hole.from_ns is not None and hole.to_ns is not None:
        note += f", lost between {hole.from_ns / 1e9:.2f} s and {hole.to_ns / 1e9:.2f} s"
    return Fault("damaged_block", "dropped", f"{note}; what stands behind is read.", count=max(1, blocks))
