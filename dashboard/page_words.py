"""Labels of the pages and the sheet: verdict words, names of checks, units, figures. Sentences are made elsewhere."""

from __future__ import annotations

import math
import re

from ingest.packs import Pack

VERDICT_WORDS = {
    "over": "Over",
    "fault": "Fault",
    "close": "Close",
    "within": "Within",
    "note": "Note",
    "unknown": "Not known",
}

VERDICT_ORDER = ("over", "fault", "close", "within", "unknown")

CHECK_NAMES = {
    "continuous_current": "current, continuous",
    "burst_current": "current, burst",
    "contact_current": "current, 60 s",
    "contact_temperature": "temperature",
    "contact_drop": "drop at 43 A",
    "wire_temperature": "temperature",
    "fuse_curve": "fuse curve",
    "pack_current": "current",
    "pack_sag": "lowest voltage",
    "cell_minimum": "lowest cell",
    "pack_temperature": "temperature",
    "controller_cutoff": "lowest input",
    "controller_voltage": "input voltage",
    "controller_temperature": "temperature",
    "motor_temperature": "temperature",
    "rail_voltage": "lowest rail",
    "rail_current": "rail current",
    "link": "radio",
    "charge_used": "charge used",
}

KIND_NAMES = {
    "current_spike": "current",
    "voltage_sag": "voltage",
    "thermal_buildup": "temperature",
    "signal_dropout": "dropout",
    "wiring_fault": "wiring",
    "power_loss": "power lost",
    "motor_fault": "motor",
}

CONTACT_WORDS = {"connector": "plug", "disconnect": "disconnect", "terminal": "terminal", "joint": "joint"}

UNITS = {"degC": "°C", "mohm": "mΩ", "ohm": "Ω", "pct": "%", "degF": "°F", "1": "", "mm2": "mm²", "us": "μs"}

_DECIMALS = {"degC": 0, "K": 0, "%": 0, "rpm": 0, "g": 0, "W": 0, "Ah": 2, "Wh": 1, "s": 1, "min": 0, "mAh": 0}


def unit_word(unit: str) -> str:
    return UNITS.get(unit, unit)


def number(value: float, unit: str) -> str:
    """A figure with the decimals its unit deserves; the minus is a minus, thousands take a comma."""
    if math.isinf(value):
        return "∞" if value > 0 else "−∞"
    decimals = _DECIMALS.get(unit)
    if decimals is None:
        size = abs(value)
        decimals = 2 if unit == "V" and size < 10 else 1 if unit in ("V", "mohm") or size < 10 else 0
    text = f"{abs(value):,.{decimals}f}"
    return f"−{text}" if value < 0 and float(text.replace(",", "")) != 0 else text


def figure(value: float | None, unit: str) -> str:
    """ "129 °C", "3.40 V"; "not known" where there is none."""
    if value is None or math.isnan(value):
        return "not known"
    word = unit_word(unit)
    return f"{number(value, unit)} {word}".rstrip()


def bounded(value: float, low: float | None, high: float | None, unit: str) -> str:
    """The figure, with ≥ or ≤ where it is itself the bound that the log gives."""
    if high is not None and math.isinf(high) and low == value:
        return f"≥ {figure(value, unit)}"
    if low is not None and math.isinf(low) and high == value:
        return f"≤ {figure(value, unit)}"
    return figure(value, unit)


def interval(low: float | None, high: float | None, unit: str) -> str:
    """ "109 to 156"; "200 or more" and "3.66 or less" for an open end; empty where there is none."""
    if low is None or high is None:
        return ""
    if math.isinf(high) and math.isinf(low):
        return ""
    if math.isinf(high):
        return f"{number(low, unit)} or more"
    if math.isinf(low):
        return f"{number(high, unit)} or less"
    low_text, high_text = number(low, unit), number(high, unit)
    return "" if low_text == high_text else f"{low_text} to {high_text}"


def margin(value_pct: float | None) -> str:
    return "" if value_pct is None else f"{number(value_pct, '%')} %"


def part_name(part: str) -> str:
    """ "battery_lead" is read "Battery lead"."""
    words = part.replace("_", " ").strip()
    return words[:1].upper() + words[1:]


def sentence(text: str) -> str:
    """With a capital and a full stop; a channel keeps its name as it is logged."""
    text = text.strip()
    first = text.partition(" ")[0]
    begun = text if "_" in first else text[:1].upper() + text[1:]
    return begun if not begun or begun[-1] in ".!?" else f"{begun}."


def pack_words(pack: Pack) -> str:
    """ "p1, 6 cells 3.3 Ah" """
    capacity = "" if pack.capacity_Ah is None else f" {pack.capacity_Ah:g} Ah"
    return f"{pack.id}, {pack.cells} cells{capacity}"


def check_name(check: str) -> str:
    return CHECK_NAMES.get(check, check.replace("_", " "))


def seconds(value: float) -> str:
    """A time on the match clock: tenths below 100 s and where they matter, "119" when they are zero."""
    text = f"{value:.1f}"
    return text[:-2] if text.endswith(".0") else text


_STATED_IN = re.compile(r"^(build|pack)s/([a-z0-9_]+)\.toml\b")


def short_source(source: str) -> str:
    """ "builds/b.toml weapon.cutoff_V" is "build b" where there is room for that only."""
    found = _STATED_IN.match(source)
    return f"{found[1]} {found[2]}" if found else source


def minutes(value: float) -> str:
    return f"{number(value, 'min')} min"
