"""What a column's figures say: a unit that nobody stated, and figures that cannot be.

The usual ranges below are our choice: what a combat robot of 150 g to 110 kg shows in a match. They only ever
narrow the choice between units; the wide ranges of the vocabulary (ingest.channels) decide what is implausible.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ingest.channels import QUANTITIES, is_plausible
from ingest.delimited.meaning_draft import FITS, FOLLOWS, SAID, UNKNOWN, Draft
from ingest.delimited.meaning_names import is_raw
from ingest.delimited.meaning_sentinels import finite
from ingest.delimited.words_units import Unit, parse_unit, temperature_unit_without_scale

Sample = NDArray[np.float64]

_ENOUGH: Final = 8  # our choice: fewer figures than this decide nothing


@dataclass(frozen=True)
class _Usual:
    """The usual range of the top (95 %) of a channel's size, and the units that a file might use for it."""

    low: float
    high: float
    units: tuple[str, ...]


_USUAL: Final = {
    "cell": _Usual(2.4, 4.6, ("V", "0.1 V", "cV", "mV")),
    "rail_voltage_V": _Usual(2.5, 16.0, ("V", "0.1 V", "cV", "mV")),
    "voltage_V": _Usual(2.8, 75.0, ("V", "0.1 V", "cV", "mV")),
    "current": _Usual(0.3, 600.0, ("A", "0.1 A", "cA", "mA")),
    "power_W": _Usual(1.0, 30000.0, ("W", "kW")),
    "charge_used_mAh": _Usual(20.0, 40000.0, ("mAh", "Ah")),
    "energy_used_Wh": _Usual(0.3, 2000.0, ("Wh", "mWh")),
}


def usual_range(draft: Draft) -> _Usual | None:
    """The usual range of what the column is, where there is one."""
    channel = draft.parsed
    if channel is None:
        return (
            _USUAL["current" if draft.kind == "current" else "voltage_V"]
            if draft.kind in ("voltage", "current")
            else None
        )
    if channel.name == "cell_min_V" or channel.part.rpartition("_")[2].startswith("cell"):
        return _USUAL["cell"]
    return _USUAL.get("current" if channel.quantity.kind == "current" else channel.quantity.suffix)


def _whole(values: Sample) -> bool:
    return bool(np.all(values == np.round(values)))


def top_of(values: Sample) -> float:
    """The size that 95 % of the figures stay below."""
    return float(np.percentile(np.abs(values), 95.0)) if values.size else 0.0


def settle_unit(draft: Draft) -> None:
    """Scale and offset: from the stated unit, else from the one unit that the figures allow."""
    values = finite(draft.raw())
    if draft.unit is not None:
        draft.scale, draft.offset = draft.unit.scale, draft.unit.offset
        if draft.unit.kind == "pulse":
            _pulse(draft, values, draft.unit)
        return
    if draft.kind in ("fault", "failsafe", "frames_lost"):
        draft.unit_level = SAID  # these have no unit
        if draft.kind == "failsafe" and values.size and not np.isin(values, (0.0, 1.0)).all():
            draft.drop("not only 0 and 1")
            draft.cap = UNKNOWN
        return
    if draft.no_channel or draft.evidence.kind == "text" or (draft.channel is None and not draft.alternatives):
        return
    if is_raw(draft):
        _unknown(draft, "these are a converter's counts; what one count is worth is not said")
    elif values.size < _ENOUGH or not np.any(values):
        _unknown(draft, "no unit is stated and there are too few figures to tell it from")
    elif draft.kind == "temperature":
        _temperature(draft, values)
    elif draft.kind in ("command", "duty"):
        _command(draft, values)
    elif draft.kind in ("strength", "quality"):
        _link(draft, values)
    elif (usual := usual_range(draft)) is not None:
        _scaled(draft, values, usual)
    else:
        _unknown(draft, "no unit is stated")


def _unknown(draft: Draft, why: str, *units: str) -> None:
    """No unit: no channel, and the question."""
    draft.unit_level = UNKNOWN
    draft.fault("unit_unknown", "doubtful", why)
    channel = draft.channel or (draft.alternatives[0] if draft.alternatives else None)
    offered = units[0] if units else (draft.parsed.unit if draft.parsed else None)
    draft.drop(why)
    either = f" {' or '.join(units)}?" if len(units) > 1 else ""
    draft.ask(f'Which unit is "{draft.key}" in?{either}', channel=channel, unit=offered)
    others = " or ".join(f'"{unit}"' for unit in units[1:])
    if others and draft.question.endswith(f'unit = "{offered}"'):
        draft.question += f"    # or {others}"


def _take(draft: Draft, text: str, level: int, why: str, *others: str) -> None:
    """A unit that the figures speak for; FOLLOWS is good for "likely", FITS is a guess and asks."""
    unit = parse_unit(text, draft.kind)
    assert unit is not None  # the texts are this module's own
    draft.unit, draft.unit_level, draft.unit_text = unit, level, text
    draft.scale, draft.offset = unit.scale, unit.offset
    draft.why.append(why)
    if level <= FITS:
        draft.fault("unit_unknown", "doubtful", f"no unit is stated; {why}")
    either = f" or {', '.join(others)}" if others else ""
    draft.ask(f'Is "{draft.key}" in {text}{either}? No unit is stated; {why}.', channel=draft.channel, unit=text)


def _scaled(draft: Draft, values: Sample, usual: _Usual) -> None:
    """One of several prefixes. Figures with decimals are in the plain unit unless that cannot be."""
    top, whole = top_of(values), _whole(values)
    fits = [text for text in usual.units if usual.low <= top * _scale(text) <= usual.high]
    plain = usual.units[0]
    if not whole:
        fits = [t for t in fits if t in (plain, "mV", "mA", "kW", "Ah", "mWh")]
    if draft.kind in ("charge", "energy", "power"):
        if len(fits) == 1:
            _take(draft, fits[0], FITS, f"figures up to {top:g} fit {fits[0]}")
        else:
            _unknown(draft, f"no unit is stated and figures up to {top:g} fit none or several", *fits)
        return
    if fits == [plain]:
        _take(draft, plain, FOLLOWS, f"figures up to {top:g} fit only {plain}")
    elif len(fits) == 1:
        _take(draft, fits[0], FITS, f"figures up to {top:g} fit only {fits[0]}")
    elif plain in fits:
        _take(draft, plain, FITS, f"figures up to {top:g} fit {plain} best", *fits[1:])
    else:
        shown = f"no unit is stated and figures up to {top:g} fit "
        _unknown(draft, shown + (" and ".join(fits) if fits else "no unit known here"), *fits)


def _scale(text: str) -> float:
    unit = parse_unit(text)
    assert unit is not None  # the texts are this module's own
    return unit.scale


# start and top of a temperature's figures in each unit: a pit between 2 and 45 degC, parts up to 180 degC
_DEGREES: Final = (("degC", 2.0, 45.0, 180.0), ("degF", 36.0, 113.0, 356.0), ("K", 275.0, 318.0, 453.0),
                   ("0.1 degC", 20.0, 450.0, 1800.0), ("cdegC", 200.0, 4500.0, 18000.0))  # fmt: skip


def _temperature(draft: Draft, values: Sample) -> None:
    low, top = float(np.percentile(values, 5.0)), float(np.percentile(values, 99.0))
    fits = [name for name, cold, warm, hot in _DEGREES if cold <= low <= warm and top <= hot]
    if not _whole(values):
        fits = [name for name in fits if name not in ("0.1 degC", "cdegC")]
    if temperature_unit_without_scale(draft.unit_text):
        fits = [name for name in fits if name in ("degC", "degF")]
    span = f"figures from {low:g} to {top:g}"
    if fits == ["degC"]:
        _take(draft, "degC", FOLLOWS, f"{span} fit only degC")
    elif "degF" in fits or ("degC" not in fits and low > 45.0 and top <= 180.0):
        # a part that is still warm in degC reads as a cool one in degF: only a person can tell
        _unknown(draft, f"no unit is stated and {span} fit degF and a warm part in degC", "degF", "degC")
    elif len(fits) == 1:
        _take(draft, fits[0], FITS, f"{span} fit only {fits[0]}")
    else:
        _unknown(draft, f"no unit is stated and {span} fit " + (" and ".join(fits) if fits else "none"), *fits)


def _command(draft: Draft, values: Sample) -> None:
    low, high = float(values.min()), float(values.max())
    size = max(abs(low), abs(high))
    if draft.kind_level == FITS and low < 750.0:
        _unknown(draft, 'the word "PWM" alone may mean a pulse width or a duty', "us", "%")
    elif size <= 1.05 and not _whole(values):
        _take(draft, "0..1", FOLLOWS, "figures within 1 are a fraction")
    elif 1.05 < size <= 105.0:
        _take(draft, "%", FOLLOWS, f"figures up to {size:g} fit only %")
    elif draft.kind == "command" and low >= 750.0 and high <= 2250.0 and low < 1600.0:
        draft.kind_level = SAID
        unit = parse_unit("us", "command")
        assert unit is not None  # the text is this module's own
        draft.unit, draft.unit_text, draft.unit_level = unit, "us", FOLLOWS
        draft.why.append("figures between 750 and 2250 are pulse widths in us")
        draft.scale, draft.offset = unit.scale, unit.offset
        _pulse(draft, values, unit)
    else:
        _unknown(draft, f"no unit is stated and figures from {low:g} to {high:g} fit no command known here", "%", "us")


def _pulse(draft: Draft, values: Sample, unit: Unit) -> None:
    """A pulse is -100…100 % about 1500 us, or 0…100 % from 1000 us where it rests at the bottom."""
    if values.size < _ENOUGH:
        draft.limit(FITS, "too few figures to see where the stick rests")
        return
    pulses = values * (1000.0 if unit.text.lower() == "ms" else 1.0)
    if pulses.min() < 500.0 or pulses.max() > 2500.0:
        draft.drop("pulse widths are between 500 and 2500 us")
        draft.cap = UNKNOWN
        draft.fault("implausible", "doubtful", f"a pulse of {pulses.max():g} us")
        return
    middle = float(np.mean((pulses >= 1450.0) & (pulses <= 1550.0)))
    bottom = float(np.mean(pulses <= 1100.0))
    asked = f'Does "{draft.key}" rest at 1500 us (both ways) or at 1000 us (one way)?'
    if middle >= 0.2 and middle > bottom and pulses.min() < 1450.0:
        draft.why.append("rests at 1500 us: both ways")
    elif bottom >= 0.2 and bottom > 3.0 * middle:
        draft.scale, draft.offset = draft.scale / 2.0, -100.0
        draft.limit(FOLLOWS, "rests at 1000 us: one way, 0 to 100 %")
        draft.ask(asked, channel=draft.channel, unit="%", scale=draft.scale, offset=draft.offset)
    else:
        draft.limit(FITS, "it does not show whether the stick rests at 1500 us or 1000 us")
        draft.ask(asked, channel=draft.channel, unit="us")


def _link(draft: Draft, values: Sample) -> None:
    low, high = float(values.min()), float(values.max())
    if draft.kind == "strength" and low >= -140.0 and high < 0.0:
        _take(draft, "dBm", FOLLOWS, "figures below zero are dBm")
    elif draft.kind == "quality" and low >= 0.0 and 1.0 < high <= 100.0:
        _take(draft, "%", FOLLOWS, "figures from 0 to 100 are %")
    elif draft.kind == "strength" and low >= 0.0 and 1.0 < high <= 100.0:
        _unknown(draft, "a signal strength from 0 to 100 may be % or -dBm", "dBm", "%")
    else:
        _unknown(
            draft,
            f"no unit is stated and figures from {low:g} to {high:g} fit none",
            "dBm" if draft.kind == "strength" else "%",
        )


def judge_values(draft: Draft) -> None:
    """Drop a channel whose figures cannot be: a wrong unit, a wrong name, a broken sensor."""
    channel = draft.parsed
    values = finite(draft.converted())
    if channel is None or not values.size:
        return
    low, high = (float(v) for v in np.percentile(values, (2.0, 98.0)))
    usual = usual_range(draft)
    top = top_of(values)
    wrong = not is_plausible(channel, low, high) or (usual is _USUAL["cell"] and top > 5.0)
    too_small = usual is not None and channel.quantity.kind == "voltage" and 1e-9 < top < usual.low / 5.0
    if wrong or too_small:
        shown = f"{low:.4g} to {high:.4g} {channel.unit}"
        stated = f'read as {draft.unit_text or channel.unit}, "{draft.key}" would be {shown}'
        draft.fault("implausible", "doubtful", stated)
        better = _better_unit(draft, usual)
        name = draft.channel
        draft.drop(f"{stated}, which cannot be")
        draft.cap = UNKNOWN
        draft.question = ""
        draft.ask(f'Which unit is "{draft.key}" really in? {stated[0].upper()}{stated[1:]}.', channel=name, unit=better)
    elif not is_plausible(channel, float(values.min()), float(values.max())):
        stray = int(np.sum((values < channel.quantity.low) | (values > channel.quantity.high)))
        limits = f"{channel.quantity.low:g} to {channel.quantity.high:g} {channel.unit}"
        draft.fault("implausible", "doubtful", f"{stray} of {values.size} sampled values are outside {limits}")
        draft.limit(FOLLOWS)


def _better_unit(draft: Draft, usual: _Usual | None) -> str:
    quantity = QUANTITIES[draft.parsed.quantity.suffix] if draft.parsed else None
    if usual is not None:
        top = top_of(finite(draft.raw()))
        for text in usual.units[::-1]:
            if usual.low <= top * _scale(text) <= usual.high:
                return text
    return quantity.unit if quantity else ""
