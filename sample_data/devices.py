"""The demo's loggers: what each device writes at each event (the owner changed settings between events)."""

from __future__ import annotations

from dataclasses import replace

from .loggers import Column, Device

RPM_TO_ERPM = 7.0  # pole pairs of the weapon motor


def pack_logger(event: int, *, cells: bool = True, rate_Hz: float = 50.0) -> Device:
    """Sits at the pack's terminals, on the pack's side of the disconnect, with its own cell."""
    cell_columns = tuple(
        Column(f"Cell {i} [V]", f"cell{i}_voltage_V", "V", 1.0, 0.0, 3, 0.0015, 0.001) for i in range(1, 7)
    )
    if event == 1:
        columns: tuple[Column, ...] = (
            Column("Pack voltage [V]", "pack_voltage_V", "V", 1.0, 0.0, 2, 0.008, 0.01),
            Column("Pack current [A]", "pack_current_A", "A", 1.0, 0.0, 1, 0.25, 0.1),
            Column("Pack temp [°C]", "pack_temp_degC", "°C", 1.0, 0.0, 1, 0.05, 0.1),
        )
        return Device(
            "pack_logger.csv",
            rate_Hz,
            columns + (cell_columns if cells else ()),
            "s",
            "Time [s]",
            start_s=0.0,
            drift_ppm=12.0,
            own_power=True,
        )
    columns = (
        Column("Vbat (mV)", "pack_voltage_V", "mV", 1e3, 0.0, 0, 0.006, 0.004),
        Column("Ibat (mA)", "pack_current_A", "mA", 1e3, 0.0, 0, 0.25, 0.1),
        Column("Tbat (°C)", "pack_temp_degC", "°C", 1.0, 0.0, 1, 0.05, 0.1),
    )
    if cells:
        columns += tuple(
            Column(f"Cell {i} (mV)", f"cell{i}_voltage_V", "mV", 1e3, 0.0, 0, 0.0015, 0.001) for i in range(1, 7)
        )
    if event == 3:
        columns += (Column("Charge used (mAh)", "pack_charge_used_mAh", "mAh", 1.0, 0.0, 0),)
    return Device(
        "pack_logger.csv",
        rate_Hz,
        columns,
        "ms",
        "t (ms)",
        clock_zero=8.123,
        start_s=0.0,
        drift_ppm=-9.0,
        own_power=True,
    )


def fast_pack_logger() -> Device:
    """Voltage and current only, 1000 Hz."""
    columns = (
        Column("Vbat [cV]", "pack_voltage_V", "cV", 100.0, 0.0, 0, 0.006, 0.01),
        Column("Ibat [A]", "pack_current_A", "A", 1.0, 0.0, 1, 0.3, 0.1),
    )
    return Device(
        "pack_logger.csv",
        1000.0,
        columns,
        "ms",
        "t [ms]",
        clock_zero=0.0,
        drift_ppm=-9.0,
        average_s=0.001,
        jitter_s=0.0,
        own_power=True,
    )


def weapon(event: int, *, rate_Hz: float = 50.0) -> Device:
    """The weapon controller's own log; speed is electrical."""
    erpm = RPM_TO_ERPM
    if event == 1:
        columns = (
            Column("Input voltage", "weapon_voltage_V", "V", 1.0, 0.0, 2, 0.012, 0.02),
            Column("Input current", "weapon_input_current_A", "A", 1.0, 0.0, 1, 0.25, 0.1),
            Column("Motor current", "weapon_motor_current_A", "A", 1.0, 0.0, 1, 0.35, 0.1),
            Column("ERPM", "weapon_motor_speed_rpm", "ERPM", erpm, 0.0, 0, 6.0),
            Column("Duty", "weapon_duty_pct", "%", 1.0, 0.0, 1),
            Column("Command", "weapon_command_pct", "%", digits=1, digital=True),
            Column("Controller temp", "weapon_temp_degC", "°C", 1.0, 0.0, 1, 0.1, 0.1),
            Column("Motor temp", "weapon_motor_temp_degC", "°C", 1.0, 0.0, 1, 0.2, 0.1),
        )
        return Device(
            "weapon.csv",
            rate_Hz,
            columns,
            "s",
            "Time",
            start_s=2.37,
            drift_ppm=-21.0,
            delimiter=";",
            decimal=",",
            preamble=("Weapon controller log", "Log number;17", "Pole pairs;7", ""),
            units_row=True,
            line_end="\r\n",
            stops_with="weapon",
        )
    hot = "°F" if event == 3 else "°C"
    scale, shift = (1.8, 32.0) if event == 3 else (1.0, 0.0)
    columns = (
        Column("Input voltage [V]", "weapon_voltage_V", "V", 1.0, 0.0, 2, 0.012, 0.02),
        Column("Input current [A]", "weapon_input_current_A", "A", 1.0, 0.0, 1, 0.25, 0.1),
        Column("Motor current [A]", "weapon_motor_current_A", "A", 1.0, 0.0, 1, 0.35, 0.1),
        Column("ERPM", "weapon_motor_speed_rpm", "ERPM", erpm, 0.0, 0, 6.0),
        Column("Duty [%]", "weapon_duty_pct", "%", 1.0, 0.0, 1),
        Column("Command [%]", "weapon_command_pct", "%", digits=1, digital=True),
        Column(f"Controller temp [{hot}]", "weapon_temp_degC", hot, scale, shift, 1, 0.1, 0.1),
        Column(f"Motor temp [{hot}]", "weapon_motor_temp_degC", hot, scale, shift, 1, 0.2, 0.1),
    )
    return Device(
        "weapon.csv",
        rate_Hz,
        columns,
        "ms",
        "t [ms]",
        clock_zero=1.404,
        start_s=-3.18 if event == 2 else 1.62,
        drift_ppm=24.0,
        preamble=("# weapon controller", "# pole pairs: 7"),
        stops_with="weapon",
        bom=event == 3,
    )


def drive(side: str, event: int, *, rate_Hz: float = 20.0) -> Device:
    """A drive controller's log, tab separated with a microsecond counter."""
    part, motor = f"{side}_drive", f"{side}_motor"
    hot, scale, shift = ("°F", 1.8, 32.0) if event == 3 else ("°C", 1.0, 0.0)
    columns = (
        Column("Vin [V]", f"{part}_voltage_V", "V", 1.0, 0.0, 2, 0.012, 0.02),
        Column("Input current [A]", f"{part}_input_current_A", "A", 1.0, 0.0, 2, 0.06, 0.05),
        Column("Motor current [A]", f"{part}_motor_current_A", "A", 1.0, 0.0, 2, 0.12, 0.05),
        Column("Duty [%]", f"{part}_duty_pct", "%", 1.0, 0.0, 1),
        Column("Command [%]", f"{part}_command_pct", "%", digits=1, digital=True),
        Column("Speed [rpm]", f"{motor}_speed_rpm", "rpm", 1.0, 0.0, 0, 4.0),
        Column(f"Controller temp [{hot}]", f"{part}_temp_degC", hot, scale, shift, 1, 0.1, 0.1),
    )
    left = side == "left"
    return Device(
        f"{part}.txt",
        rate_Hz,
        columns,
        "us",
        "t [us]",
        clock_zero=3.914 if left else 4.671,
        start_s=-1.94 if left else -1.21,
        drift_ppm=17.0 if left else -30.0,
        delimiter="\t",
    )


def receiver(event: int, *, rate_Hz: float = 20.0, uptime: bool = False) -> Device:
    """A logger on the receiver's telemetry, with a wall clock; it watches the 5 V rail and the regulator's input."""
    columns: tuple[Column, ...] = (
        Column(
            "Link quality [%]", "link_quality_pct", "%", digits=0, noise=0.4, lowest=0.0, full_scale=100.0, digital=True
        ),
        Column("RSSI [dBm]", "link_strength_dBm", "dBm", digits=0, noise=0.6, digital=True),
        Column("Failsafe", "link_failsafe_active", digits=0, digital=True),
        Column("Rail voltage [V]", "receiver_rail_voltage_V", "V", 1.0, 0.0, 2, 0.006, 0.01),
        Column("Rail current [A]", "receiver_rail_current_A", "A", 1.0, 0.0, 2, 0.02, 0.01),
        Column("Receiver supply input voltage [V]", "receiver_supply_voltage_V", "V", 1.0, 0.0, 2, 0.012, 0.02),
    )
    if uptime:
        columns += (Column("Receiver uptime [s]", "receiver_uptime_s", "s", digits=1, digital=True),)
    device = Device(
        "receiver.log",
        rate_Hz,
        columns,
        "iso",
        "Time",
        start_s=1.02,
        drift_ppm=35.0,
        delimiter=",",
        average_s=0.010,
    )
    if event == 3:
        return replace(device, clock="time_of_day", clock_header="Time of day", start_s=-2.46, delimiter=" | ")
    return device


def slow_logger(restart: tuple[float, float]) -> Device:
    """Everything on one small logger at 2 Hz; its clock starts again when it restarts."""
    columns = (
        Column("Pack voltage [V]", "pack_voltage_V", "V", 1.0, 0.0, 2, 0.008, 0.01),
        Column("Pack current [A]", "pack_current_A", "A", 1.0, 0.0, 1, 0.25, 0.1),
        Column("Weapon input current [A]", "weapon_input_current_A", "A", 1.0, 0.0, 1, 0.25, 0.1),
        Column("Weapon input voltage [V]", "weapon_voltage_V", "V", 1.0, 0.0, 2, 0.012, 0.02),
        Column("Weapon temp [°C]", "weapon_temp_degC", "°C", 1.0, 0.0, 1, 0.1, 0.1),
        Column("Receiver rail voltage [V]", "receiver_rail_voltage_V", "V", 1.0, 0.0, 2, 0.006, 0.01),
        Column(
            "Link quality [%]", "link_quality_pct", "%", digits=0, noise=0.4, lowest=0.0, full_scale=100.0, digital=True
        ),
    )
    return Device("slow_logger.csv", 2.0, columns, "s", "t [s]", drift_ppm=18.0, restart=restart, own_power=True)
