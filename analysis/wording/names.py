"""What things are called: units, checks, causes, verdicts, parts and channels, and figures as a person writes them."""

from __future__ import annotations

import math

UNIT_WORDS = {"degC": "°C", "mohm": "mΩ", "pct": "%", "Ah": "Ah", "1": ""}


CHECK_WORDS = {
    "continuous_current": "current over 60 s",
    "burst_current": "current in bursts",
    "contact_current": "current over 60 s",
    "contact_temperature": "temperature, estimated",
    "contact_drop": "drop at the test current",
    "wire_temperature": "temperature, estimated",
    "fuse_curve": "use of its time to open",
    "pack_current": "current",
    "pack_sag": "lowest voltage over 1 s",
    "cell_minimum": "lowest cell over 1 s",
    "pack_temperature": "temperature",
    "controller_cutoff": "lowest input against its cutoff",
    "controller_voltage": "lowest input against its restart",
    "controller_overvoltage": "highest input",
    "controller_temperature": "temperature",
    "motor_temperature": "temperature",
    "rail_voltage": "lowest rail voltage",
    "rail_current": "rail current",
    "link": "radio link",
    "charge_used": "charge used",
    "pack_resistance": "resistance at 1 s",
    "cell_resistance": "cell resistance",
    "charge_at_start": "charge at the start",
    "fits_build": "does it fit the log",
    "fuse_protects_wire": "fuse against wire",
    "main_disconnect": "main disconnect",
    "regulator_input": "input against the pack",
    "mass": "mass",
    "build": "ratings",
    "clock": "clock",
}


CAUSE_WORDS = {
    "stall": "a stalled motor",
    "push": "pushing",
    "spin_up": "spin-up",
    "hit": "a hit",
    "short": "a short",
    "pack_resistance": "the pack's own resistance",
    "weak_cell": "one weak cell",
    "pack_empty": "an empty pack",
    "cold_pack": "a cold pack",
    "not_full": "a pack that was not full",
    "ageing": "an ageing pack",
    "joint_step": "a joint that came loose",
    "joint_intermittent": "a joint that comes and goes",
    "contact_heating": "heating in a contact",
    "disconnect_opened": "the main disconnect opening",
    "disconnect_bounce": "the main disconnect bouncing",
    "fuse_opened": "a fuse that opened",
    "thin_wire": "a wire too thin for it",
    "terminal_loose": "a loose terminal",
    "current_limit": "the controller's current limit",
    "thermal_limit": "the controller's thermal limit",
    "low_voltage_cutoff": "the low-voltage cutoff",
    "regeneration_trip": "braking energy pushing the voltage up",
    "undervoltage_restart": "a restart from low voltage",
    "sync_loss": "lost synchronism",
    "start_failure": "a failed start",
    "winding_short": "a shorted winding",
    "drag": "drag",
    "brush_noise": "brush noise",
    "brown_out": "a brown-out",
    "regulator_overload": "an overloaded regulator",
    "radio_loss": "the radio",
    "unknown": "no cause seen",
}


VERDICT_WORDS = {
    "over": "Over",
    "fault": "Fault",
    "close": "Close",
    "within": "Within",
    "note": "Note",
    "unknown": "Not checked",
}


def unit(name: str) -> str:
    """A unit as a person writes it."""
    return UNIT_WORDS.get(name, name)


def number(value: float | None, unit_name: str = "") -> str:
    """A figure as a person writes it: as many digits as the unit deserves, a true minus, a comma for thousands."""
    if value is None or not math.isfinite(value):
        return "not known"
    decimals = {
        "V": 2 if abs(value) < 6 else 1,
        "degC": 0,
        "A": 0 if abs(value) >= 20 else 1,
        "s": 1,
        "mohm": 1,
        "mV": 1,
        "rpm": 0,
    }
    places = decimals.get(unit_name, 1 if abs(value) < 100 else 0)
    text = f"{value:,.{places}f}".replace("-", "−")
    return f"{text} {unit(unit_name)}".strip()


def name_of(part: str) -> str:
    """A part's id as words: battery_lead -> battery lead."""
    if part.startswith("cell") and part[4:].isdigit():
        return f"cell {part[4:]}"
    return part.replace("_", " ") if part else "the robot"


def listed(parts: tuple[str, ...], word: str = "and") -> str:
    """Parts as words with "and" (or another word) before the last."""
    names = [name_of(part) for part in parts]
    if len(names) <= 1:
        return names[0] if names else ""
    return ", ".join(names[:-1]) + f" {word} " + names[-1]


def capital(text: str) -> str:
    """The text with its first letter large."""
    return text[:1].upper() + text[1:]


def channel_words(channel: str | None) -> str:
    """A channel as words: weapon_input_current_A -> weapon input current."""
    return "the log" if channel is None else channel.rsplit("_", 1)[0].replace("_", " ")
