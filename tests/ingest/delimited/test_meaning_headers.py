"""Invented headers of many kinds, with the channel, the unit and the certainty that a builder would expect.

Expected meanings are common practice of the trade, no source; conversions are checked in test_meaning_units.py.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from ingest.delimited.column import ColumnEvidence, ColumnMeaning
from ingest.delimited.meaning import clock_unit_hint, name_columns

ROWS = 600
_RNG = np.random.default_rng(20260509)
_T = np.arange(ROWS) * 0.02
_AMPS = np.abs(np.convolve(_RNG.normal(0.0, 45.0, ROWS), np.ones(12) / 5.0, "same"))
_VOLTS = 24.9 - 0.004 * _T - 0.021 * _AMPS + _RNG.normal(0.0, 0.02, ROWS)
_WARM = 21.0 + 0.8 * _T
_STICK = np.where(_RNG.random(ROWS) < 0.5, 0.0, _RNG.uniform(-100.0, 100.0, ROWS))
FIGURES: dict[str, Any] = {
    "V": np.round(_VOLTS, 2),
    "mV": np.round(_VOLTS * 1000.0),
    "cV": np.round(_VOLTS * 100.0),
    "A": np.round(_AMPS, 2),
    "mA": np.round(_AMPS * 1000.0),
    "cA": np.round(_AMPS * 100.0),
    "degC": np.round(_WARM, 1),
    "degF": np.round(_WARM * 1.8 + 32.0, 1),
    "K": np.round(_WARM + 273.15, 2),
    "ddegC": np.round(_WARM * 10.0),
    "rpm": np.round(4000.0 + 60.0 * _AMPS),
    "erpm": np.round(7.0 * (4000.0 + 60.0 * _AMPS)),
    "Hz": np.round(7.0 * (4000.0 + 60.0 * _AMPS) / 60.0, 1),
    "pct": np.round(_STICK),
    "fraction": np.round(_STICK / 100.0, 3),
    "us": np.round(1500.0 + 5.0 * _STICK),
    "oneway": np.round(1000.0 + 10.0 * np.maximum(_STICK, 0.0)),
    "duty": np.round(np.abs(_STICK), 1),
    "cell": np.round(_VOLTS / 6.0, 3),
    "cellmV": np.round(_VOLTS / 6.0 * 1000.0),
    "rail": np.round(5.02 + _RNG.normal(0.0, 0.02, ROWS), 2),
    "railA": np.round(0.9 + 0.4 * _RNG.random(ROWS), 2),
    "dBm": np.round(-55.0 - 20.0 * _RNG.random(ROWS)),
    "lq": np.round(96.0 + 4.0 * _RNG.random(ROWS)),
    "flag": (_RNG.random(ROWS) < 0.01).astype(float),
    "mAh": np.round(np.cumsum(_AMPS) * 0.02 / 3.6),
    "Ah": np.round(np.cumsum(_AMPS) * 0.02 / 3600.0, 4),
    "Wh": np.round(np.cumsum(_AMPS * _VOLTS) * 0.02 / 3600.0, 4),
    "W": np.round(_AMPS * _VOLTS, 1),
    "g": np.round(_RNG.normal(0.0, 3.0, ROWS), 2),
    "ms2": np.round(_RNG.normal(0.0, 30.0, ROWS), 2),
    "dps": np.round(_RNG.normal(0.0, 400.0, ROWS), 1),
    "t": _T,
    "count": np.arange(ROWS, dtype=float),
    "bar": np.round(6.0 + 0.1 * _RNG.random(ROWS), 2),
    "odd": np.round(_RNG.uniform(0.0, 7.0, ROWS), 2),
}


def column(name: str, figures: str, unit: str | None = None, *, index: int = 0, clock: bool = False) -> ColumnEvidence:
    values = FIGURES[figures]
    decimals = 0 if np.all(values == np.round(values)) else 2
    return ColumnEvidence(index, name, unit, "units row" if unit else None, "number", values, decimals, clock)


def meaning(
    name: str, figures: str, file: str, unit: str | None = None, parts: dict[str, str] | None = None
) -> ColumnMeaning:
    columns = [column(name, figures, unit)]
    return name_columns(columns, file_name=file, preamble={}, parts=parts or {}, reading=None)[0]


BUILD = {
    "weapon": "controller",
    "left_drive": "controller",
    "right_drive": "controller",
    "weapon_motor": "motor",
    "battery_lead": "wire",
    "main_fuse": "fuse",
    "receiver_supply": "regulator",
}

# file, header, units row or None, figures, channel or None, certainty
CASES = [
    # supply voltage of a log that names no part: the pack's
    ("log1.csv", "Voltage", None, "V", "pack_voltage_V", "likely"),
    ("log1.csv", "Voltage [V]", None, "V", "pack_voltage_V", "likely"),
    ("log1.csv", "Vbat", None, "V", "pack_voltage_V", "likely"),
    ("log1.csv", "VBAT", "mV", "mV", "pack_voltage_V", "certain"),
    ("log1.csv", "Vbatt (V)", None, "V", "pack_voltage_V", "certain"),
    ("log1.csv", "Ubatt_mV", None, "mV", "pack_voltage_V", "certain"),
    ("log1.csv", "U_Batt [V]", None, "V", "pack_voltage_V", "certain"),
    ("log1.csv", "Batt. Volts", None, "V", "pack_voltage_V", "certain"),
    ("log1.csv", "battery_voltage", "cV", "cV", "pack_voltage_V", "certain"),
    ("log1.csv", "batteryVoltageMv", None, "mV", "pack_voltage_V", "certain"),
    ("log1.csv", "PackVoltage", "V", "V", "pack_voltage_V", "certain"),
    ("log1.csv", "pack_voltage_V", None, "V", "pack_voltage_V", "certain"),
    ("log1.csv", "Battery (10mV)", None, "cV", "pack_voltage_V", "certain"),
    ("log1.csv", "Volts", None, "V", "pack_voltage_V", "likely"),
    ("log1.csv", "V", None, "V", "pack_voltage_V", "likely"),
    ("log1.csv", "Akkuspannung [V]", None, "V", "pack_voltage_V", "certain"),
    ("log1.csv", "Batteriespannung in V", None, "V", "pack_voltage_V", "certain"),
    ("log1.csv", "Spannung", "mV", "mV", "pack_voltage_V", "likely"),
    ("log1.csv", "Tension batterie (V)", None, "V", "pack_voltage_V", "certain"),
    ("log1.csv", "Tensión batería [V]", None, "V", "pack_voltage_V", "certain"),
    ("log1.csv", "Lipo voltage, V", None, "V", "pack_voltage_V", "certain"),
    ("log1.csv", "Battery voltage / V", None, "V", "pack_voltage_V", "certain"),
    ("2026-05-09 pack.csv", "Voltage [V]", None, "V", "pack_voltage_V", "likely"),
    # supply current
    ("log1.csv", "Current", None, "A", "pack_current_A", "likely"),
    ("log1.csv", "Ibat [mA]", None, "mA", "pack_current_A", "certain"),
    ("weapon.csv", "Ibat [mA]", None, "mA", "pack_current_A", "certain"),
    ("log1.csv", "I_batt (A)", None, "A", "pack_current_A", "certain"),
    ("log1.csv", "Battery current", "A", "A", "pack_current_A", "certain"),
    ("log1.csv", "Discharge current [A]", None, "A", "pack_current_A", "likely"),
    ("log1.csv", "Amps", None, "A", "pack_current_A", "likely"),
    ("log1.csv", "Strom [cA]", None, "cA", "pack_current_A", "likely"),
    ("log1.csv", "Gesamtstrom (A)", None, "A", "pack_current_A", "likely"),
    ("log1.csv", "Courant batterie A", None, "A", "pack_current_A", "certain"),
    ("pack_logger.csv", "Corriente", "A", "A", "pack_current_A", "likely"),
    ("log1.csv", "Charge current [A]", None, "A", None, "unknown"),
    # a controller's file
    ("weapon.csv", "Input voltage", None, "V", "weapon_voltage_V", "likely"),
    ("weapon.csv", "Input voltage [V]", None, "V", "weapon_voltage_V", "likely"),
    ("weapon.csv", "Vin", None, "V", "weapon_voltage_V", "likely"),
    ("weapon.csv", "Input Current (A)", None, "A", "weapon_input_current_A", "likely"),
    ("weapon.csv", "I_in", None, "A", "weapon_input_current_A", "likely"),
    ("weapon.csv", "Current [A]", None, "A", "weapon_input_current_A", "likely"),
    ("weapon.csv", "DC bus current", "mA", "mA", "weapon_input_current_A", "likely"),
    ("weapon.csv", "Motor current [A]", None, "A", "weapon_motor_current_A", "likely"),
    ("weapon.csv", "Phase current [A]", None, "A", "weapon_motor_current_A", "likely"),
    ("weapon.csv", "Motorstrom [A]", None, "A", "weapon_motor_current_A", "likely"),
    ("weapon.csv", "iMotor", "A", "A", "weapon_motor_current_A", "likely"),
    ("weapon.csv", "Iq [A]", None, "A", "weapon_motor_current_A", "likely"),
    ("weapon.csv", "Output current [A]", None, "A", "weapon_motor_current_A", "guess"),
    ("weapon.csv", "Phase A current [A]", None, "A", None, "certain"),
    ("weapon.csv", "Motor voltage [V]", None, "V", None, "certain"),
    ("weapon.csv", "Eingangsspannung [V]", None, "V", "weapon_voltage_V", "likely"),
    ("weapon.csv", "ESC temp (°C)", None, "degC", "weapon_temp_degC", "likely"),
    ("weapon.csv", "FET Temperature", "degF", "degF", "weapon_temp_degC", "likely"),
    ("weapon.csv", "MOSFETtemp", None, "degC", "weapon_temp_degC", "likely"),
    ("weapon.csv", "Temp", None, "degC", "weapon_temp_degC", "likely"),
    ("weapon.csv", "Temp", None, "degF", None, "unknown"),
    ("weapon.csv", "Temp [deg]", None, "degF", None, "unknown"),
    ("weapon.csv", "T_mos_C", None, "degC", "weapon_temp_degC", "likely"),
    ("weapon.csv", "tempC", None, "degC", "weapon_temp_degC", "likely"),
    ("weapon.csv", "Motor temp [°C]", None, "degC", "weapon_motor_temp_degC", "likely"),
    ("weapon.csv", "Reglertemperatur [°C]", None, "degC", "weapon_temp_degC", "likely"),
    ("weapon.csv", "Température [°C]", None, "degC", "weapon_temp_degC", "likely"),
    ("weapon.csv", "Temperature [K]", None, "K", "weapon_temp_degC", "likely"),
    ("weapon.csv", "Temp [0.1 degC]", None, "ddegC", "weapon_temp_degC", "likely"),
    ("weapon.csv", "RPM", None, "rpm", "weapon_speed_rpm", "likely"),
    ("weapon.csv", "Motor RPM", None, "rpm", "weapon_speed_rpm", "likely"),
    ("weapon.csv", "Drehzahl [1/min]", None, "rpm", "weapon_speed_rpm", "likely"),
    ("weapon.csv", "Vitesse moteur [tr/min]", None, "rpm", "weapon_speed_rpm", "likely"),
    ("weapon.csv", "eRPM", None, "erpm", None, "unknown"),
    ("weapon.csv", "Electrical speed [Hz]", None, "Hz", None, "unknown"),
    ("weapon.csv", "Speed", None, "rpm", None, "unknown"),
    ("weapon.csv", "Speed [m/s]", None, "odd", None, "certain"),
    ("weapon.csv", "Throttle [%]", None, "pct", "weapon_command_pct", "likely"),
    ("weapon.csv", "Throttle", None, "us", "weapon_command_pct", "likely"),
    ("weapon.csv", "throttle_us", None, "oneway", "weapon_command_pct", "likely"),
    ("weapon.csv", "Stick position", None, "fraction", "weapon_command_pct", "likely"),
    ("weapon.csv", "Duty cycle [%]", None, "duty", "weapon_duty_pct", "likely"),
    ("weapon.csv", "PWM", None, "duty", None, "unknown"),
    ("weapon.csv", "mAh used", None, "mAh", "weapon_charge_used_mAh", "likely"),
    ("weapon.csv", "Fault code", None, "flag", "weapon_fault_code", "likely"),
    ("weapon.csv", "Uptime [s]", None, "t", "weapon_uptime_s", "likely"),
    ("left_drive.txt", "Current", "A", "A", "left_drive_input_current_A", "likely"),
    ("left_drive.txt", "Left current [A]", None, "A", "left_drive_input_current_A", "likely"),
    ("drum_m06.csv", "Motor current", "A", "A", "drum_motor_current_A", "likely"),
    # parts named by the header
    ("log1.csv", "Weapon current [A]", None, "A", "weapon_input_current_A", "likely"),
    ("log1.csv", "Weapon motor current [A]", None, "A", "weapon_motor_current_A", "certain"),
    ("log1.csv", "Weapon input current [A]", None, "A", "weapon_input_current_A", "certain"),
    ("log1.csv", "Left drive temp [°C]", None, "degC", "left_drive_temp_degC", "certain"),
    ("log1.csv", "weapon_speed_rpm", None, "rpm", "weapon_speed_rpm", "certain"),
    ("log1.csv", "weapon_V", None, "V", "weapon_voltage_V", "certain"),
    ("log1.csv", "Battery temperature [°C]", None, "degC", "pack_temp_degC", "certain"),
    ("log1.csv", "Temp [°C]", None, "degC", None, "unknown"),
    ("log1.csv", "RPM", None, "rpm", None, "unknown"),
    ("log1.csv", "Flonk current [A]", None, "A", None, "unknown"),
    # cells
    ("log1.csv", "Cell 1 [V]", None, "cell", "cell1_voltage_V", "certain"),
    ("log1.csv", "cell3_mV", None, "cellmV", "cell3_voltage_V", "certain"),
    ("log1.csv", "Zelle 2", "V", "cell", "cell2_voltage_V", "certain"),
    ("log1.csv", "Vcell_min [V]", None, "cell", "cell_min_V", "certain"),
    ("log1.csv", "Lowest cell (V)", None, "cell", "cell_min_V", "certain"),
    ("log1.csv", "Cell voltage [V]", None, "cell", None, "unknown"),
    ("log1.csv", "Cell max [V]", None, "cell", None, "certain"),
    ("log1.csv", "Cell delta [mV]", None, "odd", None, "certain"),
    # receiver, radio, chassis
    ("receiver.log", "Rail voltage [V]", None, "rail", "receiver_rail_voltage_V", "certain"),
    ("receiver.log", "Voltage [V]", None, "rail", "receiver_rail_voltage_V", "likely"),
    ("log1.csv", "BEC voltage", None, "rail", "receiver_rail_voltage_V", "likely"),
    ("log1.csv", "RX voltage [V]", None, "rail", "receiver_rail_voltage_V", "certain"),
    ("receiver.log", "Receiver supply input voltage [V]", None, "V", "receiver_supply_voltage_V", "guess"),
    ("log1.csv", "Receiver power supply voltage [V]", None, "rail", "receiver_rail_voltage_V", "certain"),
    ("log1.csv", "RX voltage [kV]", None, "rail", None, "unknown"),
    ("log1.csv", "5V rail current [A]", None, "railA", "receiver_rail_current_A", "certain"),
    ("log1.csv", "RSSI [dBm]", None, "dBm", "link_strength_dBm", "certain"),
    ("log1.csv", "RSSI", None, "dBm", "link_strength_dBm", "likely"),
    ("log1.csv", "Link quality [%]", None, "lq", "link_quality_pct", "certain"),
    ("log1.csv", "LQ", None, "lq", "link_quality_pct", "likely"),
    ("log1.csv", "RSSI", None, "lq", None, "unknown"),
    ("log1.csv", "Failsafe", None, "flag", "link_failsafe_active", "certain"),
    ("log1.csv", "Lost frames", None, "count", "link_frames_lost", "certain"),
    ("log1.csv", "Shock [g]", None, "g", "chassis_shock_g", "certain"),
    ("log1.csv", "Acceleration [m/s²]", None, "ms2", "chassis_shock_g", "certain"),
    ("log1.csv", "AccX [g]", None, "g", None, "certain"),
    ("log1.csv", "Gyro Z [deg/s]", None, "dps", "chassis_spin_dps", "likely"),
    ("log1.csv", "Yaw rate (dps)", None, "dps", "chassis_spin_dps", "certain"),
    ("log1.csv", "Chassis temp [°C]", None, "degC", "chassis_temp_degC", "certain"),
    ("log1.csv", "Ambient temp [°C]", None, "degC", "chassis_temp_degC", "guess"),
    # counters of a cycler or a charger
    ("log1.csv", "Discharge_Capacity(Ah)", None, "Ah", "pack_charge_used_mAh", "likely"),
    ("log1.csv", "Charge_Capacity(Ah)", None, "Ah", None, "certain"),
    ("log1.csv", "Energy (Wh)", None, "Wh", "pack_energy_used_Wh", "likely"),
    ("log1.csv", "Power [W]", None, "W", "pack_power_W", "likely"),
    ("log1.csv", "Internal Resistance [mOhm]", None, "odd", None, "certain"),
    ("log1.csv", "Pressure [bar]", None, "bar", None, "certain"),
    ("log1.csv", "Cycle", None, "count", None, "certain"),
    ("log1.csv", "State of charge [%]", None, "lq", None, "certain"),
    ("log1.csv", "Battery %", None, "lq", None, "likely"),
    ("log1.csv", "dV/dt (V/s)", None, "odd", None, "unknown"),
    ("log1.csv", "Date", None, "count", None, "certain"),
    # what must never become a part silently
    ("esc_log.csv", "Current", None, "A", None, "unknown"),
    ("esc_log.csv", "Voltage", None, "V", "pack_voltage_V", "guess"),
    ("receiver.log", "Battery [V]", None, "rail", "pack_voltage_V", "guess"),
    ("receiver.log", "CH1 [us]", None, "us", None, "unknown"),
    ("receiver.log", "Weapon channel (us)", None, "us", "weapon_command_pct", "guess"),
    ("weapon.csv", "Wheel speed [rpm]", None, "rpm", "wheel_speed_rpm", "guess"),
    ("log1.csv", "ESC1 RPM", None, "rpm", None, "unknown"),
    ("log1.csv", "loadvoltage", None, "V", None, "unknown"),
    ("log1.csv", "VCC", None, "rail", None, "unknown"),
    ("weapon.csv", "Channel 1", None, "V", None, "unknown"),
    ("weapon.csv", "CH2 Volts", None, "V", None, "unknown"),
    ("weapon.csv", "Value", None, "A", None, "unknown"),
    ("weapon.csv", "AIN0 [V]", None, "V", None, "unknown"),
    ("log1.csv", "Temp 1 [°C]", None, "degC", None, "unknown"),
    ("log1.csv", "Current 2 [A]", None, "A", None, "unknown"),
    ("log1.csv", "Current limit [A]", None, "A", None, "certain"),
    ("log1.csv", "Max current [A]", None, "A", None, "certain"),
    ("log1.csv", "Average current [A]", None, "A", None, "certain"),
    ("log1.csv", "", None, "V", None, "unknown"),
    ("log1.csv", "xyzzy", None, "odd", None, "unknown"),
    ("log1.csv", "Voltage [A]", None, "A", None, "unknown"),
    ("log1.csv", "Voltage [V/10]", None, "cV", None, "unknown"),
    ("log1.csv", "Voltage raw", None, "mV", None, "unknown"),
]


@pytest.mark.parametrize(("file", "header", "unit", "figures", "channel", "sure"), CASES)
def test_header(file: str, header: str, unit: str | None, figures: str, channel: str | None, sure: str) -> None:
    found = meaning(header, figures, file, unit)
    assert (found.channel, found.sure) == (channel, sure), found
    if channel is None and sure == "unknown":
        assert "[[column]]" in found.question
    if sure == "guess":
        assert found.question
    assert found.why


# with a build: its ids, and nothing else, may become parts
BUILD_CASES = [
    ("weapon.csv", "Input voltage [V]", "V", "weapon_voltage_V", "certain"),
    ("weapon.csv", "Input current [A]", "A", "weapon_input_current_A", "certain"),
    ("weapon.csv", "Motor temp [°C]", "degC", "weapon_motor_temp_degC", "certain"),
    ("m06_left_drive.csv", "Motor current [A]", "A", "left_drive_motor_current_A", "certain"),
    ("left.csv", "Motor current [A]", "A", "left_drive_motor_current_A", "likely"),
    ("log1.csv", "Battery lead current [A]", "A", "battery_lead_current_A", "certain"),
    ("log1.csv", "Main fuse temp [°C]", "degC", "main_fuse_temp_degC", "certain"),
    ("log1.csv", "Right drive current [A]", "A", "right_drive_input_current_A", "likely"),
    ("log1.csv", "Weapon motor temp [°C]", "degC", "weapon_motor_temp_degC", "certain"),
    ("log1.csv", "Weapon motor current [A]", "A", "weapon_motor_current_A", "certain"),
    ("log1.csv", "Weapon RPM", "rpm", "weapon_speed_rpm", "likely"),
    ("log1.csv", "Lifter current [A]", "A", None, "unknown"),
    ("log1.csv", "Voltage [V]", "V", "pack_voltage_V", "likely"),
    ("log1.csv", "Drive current [A]", "A", None, "unknown"),
    ("log1.csv", "Receiver supply input voltage [V]", "V", "receiver_supply_voltage_V", "certain"),
    ("log1.csv", "BEC input voltage [V]", "V", "receiver_supply_voltage_V", "likely"),
    ("log1.csv", "Receiver voltage [V]", "rail", "receiver_rail_voltage_V", "certain"),
]


@pytest.mark.parametrize(("file", "header", "figures", "channel", "sure"), BUILD_CASES)
def test_header_with_a_build(file: str, header: str, figures: str, channel: str | None, sure: str) -> None:
    found = meaning(header, figures, file, parts=BUILD)
    assert (found.channel, found.sure) == (channel, sure), found


@pytest.mark.parametrize(
    ("source", "unit", "hint"),
    [
        ("t_ms", None, "ms"),
        ("Time", "s", "s"),
        ("Time [s]", None, "s"),
        ("Timestamp (us)", None, "us"),
        ("Zeit / ms", None, "ms"),
        ("millis", None, "ms"),
        ("micros", None, "us"),
        ("Time", None, None),
        ("elapsed_min", None, "min"),
        ("t", "h", "h"),
        ("timeMs", None, "ms"),
        ("time_ns", None, "ns"),
        ("Voltage [V]", None, None),
        ("", None, None),
    ],
)
def test_clock_unit(source: str, unit: str | None, hint: str | None) -> None:
    assert clock_unit_hint(source, unit) == hint


def test_the_clock_and_text_are_no_channels() -> None:
    text = ColumnEvidence(1, "Voltage", None, None, "text", np.full(ROWS, np.nan), 0, False)
    clock, words = name_columns(
        [column("Time [s]", "t", clock=True), text], file_name="log1.csv", preamble={}, parts={}, reading=None
    )
    assert (clock.quantity, clock.channel, clock.sure) == ("time", None, "certain")
    assert (words.quantity, words.channel) == ("other", None)
