"""Sentences for what power, wiring and pack did; sentences.py fills them in.

Fields: part, value, at ("at 31.2 s"), times (", twice"), places (what it may sit in), limit, long (its length).
"""

from __future__ import annotations

from analysis.findings import Finding

_BY_CHECK: dict[tuple[str, str], str] = {
    ("power", "disconnect_bounce"): "Power was gone for {long} {at}{times} and came back: {places} opened.",
    ("power", "fuse_opened"): "The {part} went dead {at} with {value} flowing{times}: {places} opened.",
    ("power", "terminal_loose"): "{part} went dead {at} with {value} flowing{times}: {places} opened.",
    ("power", "joint_intermittent"): "{part} was open for {long} {at}{times} and closed again: {places}.",
    ("joint", "joint_intermittent"): "{part} had up to {value} more for moments{times}, first {at}: {places}.",
    ("joint", "terminal_loose"): "From {since} on the resistance of {part} wandered, by {value} on average: {places}.",
    ("joint", "contact_heating"): "The resistance of {part} grew by {value} as it got warm: {places}.",
    ("receiver_restart", ""): "The receiver restarted {at}{times}; its rail was not seen to fall.",
    ("pack_empty", ""): "The pack was used up {at}: {value} without the load, where {limit} is the knee.",
}  # fmt: skip


def template(finding: Finding) -> str:
    """The sentence for this finding, "" where wording.py has its own."""
    exact = _BY_CHECK.get((finding.check, finding.cause))
    return exact or _BY_CHECK.get((finding.check, ""), "")
