"""The three lines: what happened, why, what to do."""

from __future__ import annotations

from analysis.findings import Advice, Estimate, Finding, MatchFacts, NotChecked, Passed, QualityNote
from analysis.wording.names import CAUSE_WORDS, capital, channel_words, listed, name_of

DO_WORDS = {
    "stall": "Free the {part} and turn it by hand; look for a bent shaft or a jammed wheel.",
    "thermal_limit": "Let the {part} cool; find what held its motor before the next match.",
    "short": "Look for chafed or pinched wires on {could_be} before you power up.",
    "weak_cell": "Take this pack out of use; measure each cell now.",
    "pack_empty": "Fit a full pack; this one is used up.",
    "cold_pack": "Warm the pack to room temperature before the next match.",
    "ageing": "Keep this pack for tests; fit a fresher one.",
    "not_full": "Charge the pack full before the next match.",
    "pack_resistance": "Fit a pack with less resistance or lower the current limit.",
    "joint_step": "Remake {could_be}.",
    "joint_intermittent": "Remake {could_be}; wiggle each under test.",
    "contact_heating": "Remake {part}; look for browned plastic.",
    "terminal_loose": "Tighten {part}.",
    "disconnect_opened": "Check {could_be}: seat, tightness, cracked solder.",
    "disconnect_bounce": "Check {could_be}: seat and tightness.",
    "fuse_opened": "Find what drew the current before you replace the fuse.",
    "thin_wire": "Fit a thicker wire in {part}.",
    "sync_loss": "Check the three motor leads of {part} and its plugs; then lower its start power.",
    "start_failure": "Check the three motor leads of {part}; turn the weapon by hand with the pack out.",
    "winding_short": "Measure the windings of {part}; do not run it until they are equal.",
    "brown_out": "Feed the receiver from a supply of its own, or cure the sag above it.",
    "regulator_overload": "Take load off the regulator {part}: a supply of its own for the servo, or free the servo.",
    "radio_loss": "Look at the radio: antenna, its place and its plug. The supply was steady.",
    "undervoltage_restart": "Cure the sag at {part} first; its supply fell under what it needs.",
    "low_voltage_cutoff": "Fit a full pack, or cure the sag at {part}.",
    "spin_up": "Lower the spin-up current of {part} or lengthen its ramp.",
    "hit": "Lower the current limit of {part}, or fit parts rated for its hits.",
    "current_limit": "Nothing: the limiter did its job.",
    "regeneration_trip": "Brake {part} more softly.",
    "drag": "Turn {part} by hand; look for rubbing.",
    "brush_noise": "Look at the brushes and the commutator of {part}; fit suppression capacitors at the motor.",
    "push": "Nothing: it pushed within its rating.",
}  # fmt: skip


NO_ACTION = "No action."


# Notes that ask for something although nothing is past a rating.
WORTH_DOING = ("cold_pack", "ageing", "not_full", "drag", "pack_empty")


# Evidence that says how a figure was had, and not why it happened.
METHOD_STARTS = ("worst r.m.s.", "at ", "lowest ", "highest ", "hottest ", "18-block", "convection", "stated")


def why(finding: Finding) -> str:
    """The second line: the cause and the evidence."""
    sure = {"certain": "", "likely": "Likely ", "possible": "Possibly "}[finding.confidence]
    cause = CAUSE_WORDS.get(finding.cause, finding.cause)
    text = capital(f"{sure}{cause}") if sure else capital(cause)
    if finding.cause == "unknown":
        text = "The log shows no cause"
    if {"cold_pack", "ageing"} <= set(finding.could_be):
        text = "A cold pack or an ageing one: this log cannot tell them apart"
    told = [e for e in finding.evidence if not e.startswith(METHOD_STARTS)]
    proof = "; ".join((told or list(finding.evidence))[:2])
    return f"{text}: {proof}." if proof else f"{text}."


def do(finding: Finding) -> str:
    """The third line without a replayed change: what a builder does about this cause."""
    if {"cold_pack", "ageing"} <= set(finding.could_be):
        return "Warm the pack to room temperature and log one more match: then it shows whether it is old."
    text = DO_WORDS.get(finding.cause, "")
    if not text:
        return (
            "Look at it before the next match; the log names no cure."
            if finding.verdict != "note"
            else "Nothing to do."
        )
    parts = listed(finding.could_be) if finding.could_be else name_of(finding.part)
    return text.format(part=name_of(finding.part), could_be=parts)


def three_lines(
    facts: MatchFacts,
    findings: tuple[Finding, ...],
    passed: tuple[Passed, ...],
    not_checked: tuple[NotChecked, ...],
    quality: tuple[QualityNote, ...],
    advice: tuple[Advice, ...],
    estimates: tuple[Estimate, ...] = (),
) -> tuple[str, str, str]:
    """What happened, why, what to do."""
    serious = [f for f in findings if f.verdict in ("over", "fault", "close") and not f.consequence_of]
    serious = serious or [f for f in findings if f.verdict in ("over", "fault", "close")]
    if serious:
        first = serious[0]
        act = next((a.sentence for a in advice if a.proved and first.id in a.clears), "") or do(first)
        return first.sentence, why(first), act
    blind = _blind(quality, not_checked)
    timeless = next((note for note in quality if note.code == "clock_missing"), None)
    if facts.verdict == "unknown" and timeless is not None:
        return (
            "Nothing could be held against a rating.",
            timeless.note.partition(":")[0] + ".",
            "Say how many samples a second it holds: --rate HZ.",
        )
    if facts.verdict == "unknown" and facts.build is None and (told := _told(estimates)):
        return (
            told,
            "No build is named, so no wire, contact, fuse, controller or motor was held against its rating.",
            "Name the build and the pack of this match: --build and --pack.",
        )
    if facts.verdict == "unknown":
        return (
            "Nothing could be held against a rating.",
            not_checked[0].reason + "." if not_checked else "No build or pack is known.",
            capital(not_checked[0].mend) + "." if not_checked else "Name the build and the pack.",
        )
    smallest = min(passed, key=lambda p: p.margin_pct, default=None)
    margin = f"The smallest margin is {smallest.margin_pct:.0f} %, at the {name_of(smallest.part)}." if smallest else ""
    noted = [f for f in findings if f.verdict == "note"]
    second = noted[0].sentence if noted else "Nothing in the log against it."
    if blind:
        return f"Nothing past its rating in what was logged. {margin}".strip(), blind, _mend(quality, not_checked)
    act = do(noted[0]) if noted and noted[0].cause in WORTH_DOING else NO_ACTION
    return f"Nothing past its rating. {margin}".strip(), second, act


BLIND = (
    "sensor_clipped", "implausible", "undersampled", "clock_missing", "clock_reset", "leftovers", "truncated",
    "logger_gap",
)  # fmt: skip


def _blind(quality: tuple[QualityNote, ...], not_checked: tuple[NotChecked, ...]) -> str:
    for code in BLIND:
        for note in quality:
            if note.code == code and code == "sensor_clipped":
                return f"In {channel_words(note.channel)} {note.note}."
            if note.code == code == "implausible" and note.channel:
                return f"{capital(channel_words(note.channel))}: {note.note}."
            if note.code == code:
                return capital(note.note) + "."
    return ""


def in_part(verdict: str, made: int, missing: int) -> str:
    """What a "within" rests on where fewer checks could be made than not: "9 of 54 checks"; else nothing."""
    return f"{made} of {made + missing} checks" if verdict == "within" and missing > made else ""


def _told(estimates: tuple[Estimate, ...]) -> str:
    """What the log alone says of the pack: its current, its lowest voltage, what it gave."""
    of_pack = {e.name: e.value for e in estimates if e.part == "pack"}
    words = [
        f"up to {of_pack['pack_peak_A']:.0f} A" if "pack_peak_A" in of_pack else "",
        f"{of_pack['pack_mean_A']:.0f} A on average" if "pack_mean_A" in of_pack else "",
        f"{of_pack['charge_used_Ah']:.2f} Ah in all" if "charge_used_Ah" in of_pack else "",
    ]
    gave = ", ".join(word for word in words if word)
    fell = f"at the lowest {of_pack['pack_minimum_V']:.1f} V" if "pack_minimum_V" in of_pack else ""
    if gave:
        return f"The pack gave {gave}{'; ' + fell if fell else ''}."
    return f"The pack had {fell}." if fell else ""


def _mend(quality: tuple[QualityNote, ...], not_checked: tuple[NotChecked, ...]) -> str:
    clipped = next((note.channel for note in quality if note.code == "sensor_clipped"), None)
    if clipped is not None:
        return f"Take every peak of {channel_words(clipped)} as at least that; fit a sensor with a larger range."
    channels = {note.channel for note in quality if note.channel}
    for row in not_checked:
        if any(channel in row.reason or channel in row.mend for channel in channels):
            return capital(row.mend) + "."
    return "Read what was not checked before you trust it."
