"""What figures may and may not decide: wrong labels, missing units, signs, sentinels, duplicates."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from ingest.delimited.column import ColumnEvidence, ColumnMeaning
from ingest.delimited.meaning import name_columns
from ingest.readings import Reading, ReadingColumn, parse_reading

ROWS = 800


def pack(seed: int = 5, ohm: float = 0.02, cells: int = 6) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Volts and amperes of a pack under a changing load; discharge positive."""
    rng = np.random.default_rng(seed)
    amps = np.abs(np.convolve(rng.normal(0.0, 45.0, ROWS), np.ones(12) / 5.0, "same")) + 0.4
    volts = cells * 4.1 - 0.5 * np.linspace(0.0, 1.0, ROWS) - ohm * amps + rng.normal(0.0, 0.01, ROWS)
    return np.round(volts, 3), np.round(amps, 2)


VOLTS, AMPS = pack()


def column(index: int, name: str, values: NDArray[np.float64], unit: str | None = None) -> ColumnEvidence:
    values = np.asarray(values, dtype=float)
    known = values[np.isfinite(values)]
    decimals = 0 if np.all(known == np.round(known)) else 2
    return ColumnEvidence(index, name, unit, "units row" if unit else None, "number", values, decimals, False)


def named(
    *columns: tuple[str, NDArray[np.float64]],
    file: str = "log1.csv",
    preamble: dict[str, str] | None = None,
    parts: dict[str, str] | None = None,
    reading: Reading | None = None,
) -> list[ColumnMeaning]:
    evidence = [column(i, name, values) for i, (name, values) in enumerate(columns)]
    return name_columns(evidence, file_name=file, preamble=preamble or {}, parts=parts or {}, reading=reading)


def codes(meaning: ColumnMeaning) -> list[str]:
    return [fault.code for fault in meaning.faults]


def answers(meaning: ColumnMeaning) -> Reading:
    """The question's own lines as a reading: they must load."""
    lines = meaning.question.split("\n", 1)[1]
    return parse_reading('[reading]\nname = "answer"\n' + lines)


# wrong labels


def test_millivolts_labelled_volts_are_implausible_and_no_channel() -> None:
    (found,) = named(("Vbat [V]", VOLTS * 1000.0))
    assert found.channel is None and found.sure == "unknown"
    assert codes(found) == ["implausible"]
    said = answers(found).columns["Vbat [V]"]
    assert (said.channel, said.unit) == ("pack_voltage_V", "mV")


def test_volts_labelled_millivolts_are_implausible() -> None:
    (found,) = named(("Vbat [mV]", VOLTS))
    assert found.channel is None and "implausible" in codes(found)


def test_milliamperes_labelled_amperes_are_implausible() -> None:
    (found,) = named(("Ibat [A]", AMPS * 1000.0))
    assert found.channel is None and "implausible" in codes(found)


def test_amperes_labelled_milliamperes_do_not_fit_the_sag() -> None:
    volts, amps = named(("Vbat [V]", VOLTS), ("Ibat [mA]", AMPS))
    assert amps.sure == "guess" and "implausible" in codes(amps)
    assert volts.sure == "guess"


def test_a_cell_in_millivolts_labelled_volts() -> None:
    (found,) = named(("Cell 1 [V]", np.round(VOLTS / 6.0 * 1000.0)))
    assert found.channel is None and "implausible" in codes(found)


def test_swapped_voltage_and_current_are_neither() -> None:
    volts, amps = named(("Voltage", AMPS), ("Current", VOLTS))
    assert volts.channel is None and amps.channel is None
    assert answers(volts).columns["Voltage"].channel == "pack_current_A"
    assert answers(amps).columns["Current"].channel == "pack_voltage_V"


def test_a_few_stray_values_keep_the_channel_but_are_told() -> None:
    values = VOLTS.copy()
    values[::200] = 500.0
    (found,) = named(("Vbat [V]", values))
    assert found.channel == "pack_voltage_V" and found.sure == "likely"
    assert "implausible" in codes(found)


# missing units


def test_fahrenheit_without_a_unit_is_asked_for() -> None:
    (found,) = named(("ESC temp", np.linspace(71.0, 160.0, ROWS).round(1)), file="weapon.csv")
    assert found.channel is None and "unit_unknown" in codes(found)
    assert answers(found).columns["ESC temp"].unit == "degF"
    assert "degC" in found.question


@pytest.mark.parametrize(("scale", "unit"), [(1000.0, "mV"), (100.0, "cV")])
def test_whole_numbers_that_only_one_prefix_fits_are_a_guess(scale: float, unit: str) -> None:
    (found,) = named(("Voltage", np.round(VOLTS * scale)))
    if found.channel is not None:
        assert found.source_unit == unit and found.sure == "guess" and found.question


def test_whole_numbers_that_two_prefixes_fit_are_no_channel() -> None:
    (found,) = named(("Voltage", np.round(VOLTS / 6.0 * 1000.0)))  # 4.1 V in mV, or 41 V in cV
    assert found.channel is None and found.sure == "unknown"


def test_power_settles_a_unit_that_only_fitted() -> None:
    whole = np.round(AMPS)
    alone = named(("Vbat [V]", VOLTS), ("Ibat", whole))[1]
    amps = named(("Vbat [V]", VOLTS), ("Ibat", whole), ("Power [W]", np.round(VOLTS * whole, 1)))[1]
    assert (alone.sure, amps.sure, amps.channel) == ("guess", "likely", "pack_current_A")


def test_power_that_is_not_volts_times_amperes_is_told() -> None:
    found = named(("Vbat [V]", VOLTS), ("Ibat [A]", AMPS), ("Battery power [W]", np.round(VOLTS * AMPS * 10.0)))
    assert all("implausible" in codes(m) and m.sure == "guess" for m in found)


def test_cells_add_up_to_the_pack() -> None:
    cells = [(f"Cell {k} [V]", np.round(VOLTS / 6.0, 3)) for k in range(1, 7)]
    found = named(("Vbat [V]", VOLTS), *cells)
    assert all(m.sure == "certain" and "add up" in m.why for m in found)


def test_cells_counted_from_zero() -> None:
    found = named(*[(f"cell{k}", np.round(VOLTS / 6.0, 3)) for k in range(6)])
    assert [m.channel for m in found] == [f"cell{k}_voltage_V" for k in range(1, 7)]


# sign


def test_negative_discharge_is_turned_round() -> None:
    amps = named(("Vbat [V]", VOLTS), ("Ibat [A]", -AMPS))[1]
    assert (amps.channel, amps.scale) == ("pack_current_A", -1.0)
    assert codes(amps) == ["sign_normalised"]


def test_negative_discharge_is_turned_round_by_the_charge_counter() -> None:
    counter = np.round(np.cumsum(AMPS) * 0.02 / 3.6)
    amps = named(("Ibat [mA]", -AMPS * 1000.0), ("mAh used", counter))[0]
    assert amps.scale == -0.001 and codes(amps) == ["sign_normalised"]


def test_the_answer_to_a_question_reads_the_column_as_it_was_read() -> None:
    columns = ("Vbat", VOLTS), ("Current", -AMPS)
    first = named(*columns)[1]
    said = answers(first)
    second = named(*columns, reading=said)[1]
    assert first.sure == "likely" and second.sure == "certain"
    assert (second.channel, second.scale, second.offset) == (first.channel, first.scale, first.offset)


def test_a_reading_that_says_no_scale_leaves_the_sign_to_be_found() -> None:
    reading = Reading("r", columns={"Current": ReadingColumn("Current", "pack_current_A", "A")})
    assert named(("Vbat", VOLTS), ("Current", -AMPS), reading=reading)[1].scale == -1.0


def test_negative_current_without_a_witness_is_asked_for() -> None:
    (amps,) = named(("Ibat [A]", -AMPS))
    assert amps.scale == 1.0 and amps.sure == "guess"
    assert answers(amps).columns["Ibat [A]"].scale == -1.0


def test_positive_discharge_stays() -> None:
    amps = named(("Vbat [V]", VOLTS), ("Ibat [A]", AMPS))[1]
    assert (amps.scale, amps.sure, codes(amps)) == (1.0, "certain", [])


def test_a_current_that_lifts_the_voltage_is_asked_for() -> None:
    amps = named(("Vbat [V]", 2 * VOLTS.max() - VOLTS), ("Ibat [A]", AMPS))[1]
    assert amps.sure == "guess" and amps.question


# duplicates and several candidates


def test_two_currents_that_differ_are_neither() -> None:
    found = named(("Current [A]", AMPS), ("Current [A]", AMPS[::-1]))
    assert [m.channel for m in found] == [None, None]
    assert answers(found[0]).columns["#1"].channel == "pack_current_A"


def test_two_columns_with_the_same_figures_are_one_channel() -> None:
    found = named(("Vbat [V]", VOLTS), ("Battery voltage [mV]", np.round(VOLTS * 1000.0)))
    assert [m.channel for m in found].count("pack_voltage_V") == 1


def test_the_surer_of_two_is_kept() -> None:
    found = named(("Voltage", VOLTS[::-1]), ("Battery voltage [V]", VOLTS))
    assert [m.channel for m in found] == [None, "pack_voltage_V"]


def test_three_phases_are_no_channels() -> None:
    found = named(*[(f"Current {letter}", AMPS) for letter in "ABC"], file="weapon.csv")
    assert [m.channel for m in found] == [None] * 3


# electrical speed


def test_electrical_speed_needs_the_pole_pairs() -> None:
    speed = np.round(7.0 * (4000.0 + 50.0 * AMPS))
    (unknown,) = named(("eRPM", speed), file="weapon.csv")
    assert unknown.channel is None
    assert answers(unknown).columns["eRPM"].pole_pairs == 7
    (known,) = named(("eRPM", speed), file="weapon.csv", preamble={"Motor poles": "14"})
    assert known.channel == "weapon_speed_rpm" and known.scale == pytest.approx(1.0 / 7.0)


def test_speed_far_above_a_shaft_is_doubted() -> None:
    (found,) = named(("RPM", np.round(60_000.0 + 100.0 * AMPS)), file="weapon.csv")
    assert found.sure == "guess" and "electrical" in found.question


# commands


def test_pulses_about_1500_go_both_ways_and_from_1000_one_way() -> None:
    both = np.where(np.arange(ROWS) % 2 == 0, 1500.0, 1500.0 + 5.0 * np.linspace(-100.0, 100.0, ROWS).round())
    one = np.where(np.arange(ROWS) % 2 == 0, 1000.0, 1000.0 + 10.0 * np.linspace(0.0, 100.0, ROWS).round())
    (first,) = named(("Throttle [us]", both), file="weapon.csv")
    (second,) = named(("Throttle [us]", one), file="weapon.csv")
    assert (first.scale, first.offset) == (0.2, -300.0)
    assert (second.scale, second.offset) == (0.1, -100.0) and second.question


# sentinels


@pytest.mark.parametrize("sentinel", [-999.0, 65535.0, -32768.0, 9.91e37, 655.35, -9999.0])
def test_sentinels_are_missing_and_told(sentinel: float) -> None:
    values = VOLTS.copy()
    values[100:105] = sentinel
    (found,) = named(("Vbat [V]", values))
    assert found.sentinels == (sentinel,) and codes(found) == ["sentinel"]
    assert found.channel == "pack_voltage_V" and found.sure == "certain"


def test_a_thermometer_that_was_unplugged_or_reset() -> None:
    values = np.linspace(22.0, 41.0, ROWS).round(1)
    values[200], values[300:303] = 85.0, -127.0
    (found,) = named(("ESC temp [°C]", values), file="weapon.csv")
    assert found.sentinels == (-127.0, 85.0)


def test_a_part_that_really_reaches_85_degrees() -> None:
    (found,) = named(("ESC temp [°C]", np.arange(60.0, 110.0, 0.5)), file="weapon.csv")
    assert found.sentinels == ()


def test_a_speed_that_really_passes_32767() -> None:
    (found,) = named(("Motor speed [rpm]", np.arange(0.0, 40_000.0, 1.0)), file="weapon.csv")
    assert 32767.0 not in found.sentinels and 65535.0 not in found.sentinels


def test_a_peak_that_happens_to_be_a_run_of_nines_stays() -> None:
    values = np.concatenate([AMPS * 1000.0, np.arange(50_000.0, 99_999.0, 500.0), [99_999.0]])
    (found,) = named(("Ibat [mA]", values))
    assert found.sentinels == ()


def test_zero_is_never_a_sentinel() -> None:
    values = AMPS.copy()
    values[:400] = 0.0
    (found,) = named(("Ibat [A]", values))
    assert found.sentinels == () and found.sure == "certain"


# what a reading says stands


def test_a_reading_settles_channel_unit_scale_and_sentinels() -> None:
    column_ = ReadingColumn("T1", channel="weapon_temp_degC", unit="degF", sentinels=(777.0,))
    reading = Reading("r", columns={"T1": column_, "x": ReadingColumn("x", ignore=True)})
    first, second = named(("T1", np.linspace(70.0, 150.0, ROWS)), ("x", AMPS), reading=reading)
    assert (first.channel, first.sure, first.sentinels) == ("weapon_temp_degC", "certain", (777.0,))
    assert 212.0 * first.scale + first.offset == pytest.approx(100.0)
    assert second.channel is None and second.question == ""


def test_a_readings_scale_comes_before_its_unit() -> None:
    reading = Reading("r", columns={"raw": ReadingColumn("raw", "pack_voltage_V", "mV", scale=12.2, offset=40.0)})
    (found,) = named(("raw", np.round(VOLTS * 80.0)), reading=reading)
    assert 1000.0 * found.scale + found.offset == pytest.approx((1000.0 * 12.2 + 40.0) / 1000.0)


def test_a_readings_part_and_pole_pairs() -> None:
    reading = Reading("r", part="drum", columns={"RPM": ReadingColumn("RPM", unit="erpm", pole_pairs=4)})
    speed, amps = named(("RPM", np.round(4000.0 + 10.0 * AMPS)), ("Input current [A]", AMPS), reading=reading)
    assert speed.channel == "drum_speed_rpm" and speed.scale == pytest.approx(0.25)
    assert amps.channel == "drum_input_current_A"


def test_a_reading_may_name_a_column_by_its_place() -> None:
    reading = Reading("r", columns={"#2": ReadingColumn("#2", "weapon_input_current_A", "A")})
    found = named(("", VOLTS), ("", AMPS), reading=reading)
    assert found[1].channel == "weapon_input_current_A" and found[1].sure == "certain"


def test_figures_that_contradict_the_reading_are_told() -> None:
    reading = Reading("r", columns={"Vbat": ReadingColumn("Vbat", "pack_voltage_V", "V")})
    (found,) = named(("Vbat", VOLTS * 1000.0), reading=reading)
    assert found.channel == "pack_voltage_V" and codes(found) == ["implausible"]


# never silently wrong: where the certainty is certain or likely, the scale is right

_LABELS = {"voltage": ["Vbat", "Battery voltage", "Voltage"], "current": ["Ibat", "Battery current", "Current"]}
_WRITTEN = {
    "voltage": {"V": 1.0, "dV": 0.1, "cV": 0.01, "mV": 0.001},
    "current": {"A": 1.0, "dA": 0.1, "cA": 0.01, "mA": 0.001},
}
_STYLES = ["{name}", "{name} [{unit}]", "{name}_{unit}", "{name} ({unit})", "{name}, {unit}"]


@settings(deadline=None, max_examples=150)
@given(
    cells=st.integers(2, 14),
    ohm=st.floats(0.004, 0.06),
    seed=st.integers(0, 1000),
    v=st.sampled_from(sorted(_WRITTEN["voltage"])),
    i=st.sampled_from(sorted(_WRITTEN["current"])),
    styles=st.tuples(st.sampled_from(_STYLES), st.sampled_from(_STYLES)),
    names=st.tuples(st.integers(0, 2), st.integers(0, 2)),
    size=st.floats(0.3, 2.5),
    sign=st.sampled_from([1.0, -1.0]),
)
def test_never_silently_wrong(
    cells: int,
    ohm: float,
    seed: int,
    v: str,
    i: str,
    styles: tuple[str, str],
    names: tuple[int, int],
    size: float,
    sign: float,
) -> None:
    _, amps = pack(seed)
    amps = amps * size
    volts = cells * 4.1 - 0.4 * np.linspace(0.0, 1.0, ROWS) - ohm * amps
    truth = {"voltage": volts, "current": amps}
    columns = []
    for kind, unit, style, name in (("voltage", v, styles[0], names[0]), ("current", i, styles[1], names[1])):
        factor = _WRITTEN[kind][unit]
        written = truth[kind] / factor * (sign if kind == "current" else 1.0)
        written = np.round(written, 2 if factor == 1.0 else 0)
        columns.append((style.format(name=_LABELS[kind][name], unit=unit), written))
    for kind, (label, written), found in zip(truth, columns, named(*columns), strict=True):
        if found.sure in ("certain", "likely"):
            stored = written * found.scale + found.offset
            assert np.max(np.abs(stored - truth[kind])) < 0.06 * np.max(np.abs(truth[kind])), (label, found)
        else:
            assert found.question


@settings(deadline=None, max_examples=60)
@given(
    start=st.floats(5.0, 42.0),
    rise=st.floats(0.0, 80.0),
    unit=st.sampled_from(["degC", "degF", "K"]),
    said=st.booleans(),
)
def test_temperature_is_never_silently_wrong(start: float, rise: float, unit: str, said: bool) -> None:
    truth = start + rise * np.linspace(0.0, 1.0, ROWS) ** 2
    written = {"degC": truth, "degF": truth * 1.8 + 32.0, "K": truth + 273.15}[unit].round(1)
    name = f"ESC temp [{unit}]" if said else "ESC temp"
    (found,) = named((name, written), file="weapon.csv")
    if found.sure in ("certain", "likely"):
        assert np.max(np.abs(written * found.scale + found.offset - truth)) < 0.11
    else:
        assert found.question and not said


@given(
    st.text(max_size=24),
    st.one_of(st.none(), st.text(max_size=6)),
    st.lists(st.floats(width=32), min_size=0, max_size=40),
)
def test_any_header_and_figures_are_answered(name: str, unit: str | None, values: list[float]) -> None:
    evidence = column(0, name, np.asarray(values, dtype=float), unit)
    (found,) = name_columns([evidence], file_name="log1.csv", preamble={}, parts={}, reading=None)
    assert found.sure in ("certain", "likely", "guess", "unknown")
    assert np.isfinite(found.scale) and found.scale != 0
    if found.question:
        answers(found)


def test_a_value_that_cannot_be_is_missing_in_the_rows_that_were_not_sampled() -> None:
    (found,) = named(("Vbat [V]", np.resize(VOLTS, 20_000)))
    assert 65535.0 in found.sentinels and -999.0 in found.sentinels
    assert not any(-1.0 <= s <= 120.0 for s in found.sentinels) and codes(found) == []


@pytest.mark.parametrize("piece", ["_", "a_", " ,", "(", "Voltage", "1", "/a", " in ", "1e9"])
def test_a_very_long_name_is_answered(piece: str) -> None:
    long = piece * 20_000
    (found,) = named((long, VOLTS), file=long[:200], preamble={long: long})
    assert found.sure in ("certain", "likely", "guess", "unknown")
