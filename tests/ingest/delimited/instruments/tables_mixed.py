"""Exports with two difficulties each: states, signs, clocks, units; each with its table."""

from __future__ import annotations

import math
from datetime import datetime, timedelta

from tests.ingest.delimited.instruments.tables import Told, charged_and_used, comma, drive, lines, rounded, told


@told
def state_de_comma() -> Told:
    t, signed, volts, ways = charged_and_used()
    g = {"R": "Pause", "D": "Entladen", "C": "Laden"}
    return Told(
        "zelle3.csv",
        (
            "\r\n".join(
                ["Zeit [s];Zustand;Spannung [V];Strom [A];Kapazität [Ah]"]
                + [
                    f"{comma(t[k], 1)};{g[ways[k]]};{comma(volts[k], 4)};{comma(abs(signed[k]), 3)};{comma(0.1, 3)}"
                    for k in range(150)
                ]
            )
            + "\r\n"
        ).encode("cp1252"),
        t=t,
        ch={"pack_voltage_V": volts, "pack_current_A": signed},
        maybe={"pack_charge_used_mAh": [100.0] * 150},
    )


@told
def state_signed_utf16() -> Told:
    t, signed, volts, ways = charged_and_used()
    g = {"R": "REST", "D": "DCHG", "C": "CHG"}
    return Told(
        "cell.txt",
        (
            "\r\n".join(
                ["Time(s)\tStatus\tVoltage(mV)\tCurrent(mA)"]
                + [f"{t[k]:.0f}\t{g[ways[k]]}\t{volts[k] * 1000:.1f}\t{-signed[k] * 1000:.0f}" for k in range(150)]
            )
            + "\r\n"
        ).encode("utf-16"),
        t=t,
        ch={"pack_voltage_V": volts, "pack_current_A": signed},
    )


@told
def state_unknown_word() -> Told:
    t, signed, volts, ways = charged_and_used()
    g = {"R": "Rest", "D": "CC_DChg", "C": "CCCV_Chg"}
    return Told(
        "step_records.csv",
        lines(
            [["Index", "Step Type", "Total Time", "Voltage(V)", "Current(A)"]]
            + [
                [
                    k + 1,
                    g[ways[k]] if k < 140 else "SIM",
                    f"0:{k // 60:02d}:{k % 60:02d}.0",
                    volts[k],
                    f"{abs(signed[k]):.4f}",
                ]
                for k in range(150)
            ]
        ),
        t=t,
        ch={"pack_voltage_V": volts, "pack_current_A": [signed[k] if k < 140 else None for k in range(150)]},
    )


@told
def charge_only_counter() -> Told:
    n = 120
    vv = [round(3.4 + 0.006 * k, 4) for k in range(n)]
    return Told(
        "charge_0C5.csv",
        lines(
            [["Time (min)", "Voltage (V)", "Current (A)", "Charge capacity (mAh)"]]
            + [[f"{k * 0.5:.2f}", vv[k], "1.2500", f"{1250 * k * 0.5 / 60:.3f}"] for k in range(n)]
        ),
        t=[k * 30.0 for k in range(n)],
        ch={"pack_voltage_V": vv},
        maybe={"pack_current_A": [-1.25] * n},
    )


@told
def ampm_overflow_stats() -> Told:
    clock, amps, pack_V, _warm, _used = drive(120, 1.0, cells=6, peak=20, r=0.01)
    s0 = datetime(2024, 12, 3, 11, 59, 20)

    def f(d):
        return (
            f"{d.month}/{d.day}/{d.year} {d.hour % 12 or 12}:{d.minute:02d}"
            f":{d.second:02d} {('AM' if d.hour < 12 else 'PM')}"
        )

    rows = (
        ["Date/Time,Pack Voltage (V),Pack Current (A)"]
        + [
            f"{f(s0 + timedelta(seconds=clock[k]))},{pack_V[k]:.3f}"
            f",{('OVERFLOW' if k == 40 else format(amps[k], '.3f'))}"
            for k in range(120)
        ]
        + ["", "Min,20.0,0.0", "Max,25.0,20.0"]
    )
    return Told(
        "rec.csv",
        "\r\n".join(rows) + "\r\n",
        t=clock,
        ch={
            "pack_voltage_V": rounded(pack_V, 3),
            "pack_current_A": [None if k == 40 else round(amps[k], 3) for k in range(120)],
        },
    )


@told
def swiss_midnight_units() -> Told:
    s0 = datetime(2024, 12, 3, 23, 59, 20)
    clock, amps, pack_V, _warm, _used = drive(120, 1.0, cells=100, peak=20, r=0.3)
    watts = [round(pack_V[k] * amps[k], 1) for k in range(120)]

    def sw(x, nd):
        return f"{x:,.{nd}f}".replace(",", "’")

    rows = ["Uhrzeit;Batteriespannung;Batteriestrom;Leistung", "hh:mm:ss;V;A;W"] + [
        f"{s0 + timedelta(seconds=clock[k]):%H:%M:%S};{pack_V[k]:.1f};{amps[k]:.2f};{sw(watts[k], 1)}"
        for k in range(120)
    ]
    return Told(
        "log.csv",
        "\r\n".join(rows) + "\r\n",
        t=clock,
        maybe={"pack_voltage_V": rounded(pack_V, 1), "pack_current_A": rounded(amps, 2), "pack_power_W": watts},
        cols={"Leistung": watts, "Batteriespannung": rounded(pack_V, 1)},
    )


@told
def scope_own_times() -> Told:
    n = 300
    ta = [-0.0015 + k * 1e-05 for k in range(n)]
    rows = ["CH1 time (s),CH1 (V),CH2 time (s),CH2 (A)"] + [
        f"{ta[k]:.6e},{math.sin(k / 9):.4f},{ta[k] + 2.5e-06:.7e},{math.cos(k / 9):.4f}" for k in range(n)
    ]
    return Told(
        "scope2.csv", "\n".join(rows) + "\n", t=ta, cols={"CH1 (V)": [round(math.sin(k / 9), 4) for k in range(n)]}
    )


@told
def scope_interval_us() -> Told:
    rows = ["Bench scope export", "Sample interval: 10 us", "Vertical unit: V", "Samples: 500", "", "CH1"] + [
        f"{5 * math.sin(k / 17):.4f}" for k in range(500)
    ]
    return Told("wave.txt", "\n".join(rows) + "\n", t=[k * 1e-05 for k in range(500)])


@told
def scope_rate_MSa() -> Told:
    rows = ["Sampling rate,1.25 MSa/s,,", "Channels,CH1,CH2,", "Unit,V,V,", "", "CH1,CH2"] + [
        f"{5 * math.sin(k / 17):.4f},{0.1 * k:.3f}" for k in range(500)
    ]
    return Told("wave2.csv", "\n".join(rows) + "\n", t=[k / 1250000.0 for k in range(500)])


@told
def scope_index_interval() -> Told:
    rows = ["Record length;400", "Sample interval (s);2.0E-05", "Index;CH1 (V);CH2 (V)"] + [
        f"{k};{comma(math.sin(k / 5), 4)};{comma(k * 0.01, 4)}" for k in range(400)
    ]
    return Told("wave3.csv", "\n".join(rows) + "\n", t=[k * 2e-05 for k in range(400)])


@told
def timedelta_text() -> Told:
    clock, amps, pack_V, _warm, _used = drive(120, 1.0, cells=6, peak=20, r=0.01)
    rows = ["time,pack_voltage_V,pack_current_A"] + [
        f"0 days 00:{int(clock[k]) // 60:02d}:{int(clock[k]) % 60:02d}.500000,{pack_V[k]:.3f},{amps[k]:.3f}"
        for k in range(120)
    ]
    return Told(
        "frame.csv",
        "\n".join(rows) + "\n",
        t=clock,
        ch={"pack_voltage_V": rounded(pack_V, 3), "pack_current_A": rounded(amps, 3)},
    )


@told
def coarse_stamps() -> Told:
    t0 = datetime(2024, 3, 5, 10, 0, 0)
    clock, amps, pack_V, _warm, _used = drive(200, 0.1, cells=6, peak=20, r=0.01)
    rows = ["Timestamp,Pack voltage [V],Pack current [A]"] + [
        f"{t0 + timedelta(seconds=int(clock[k])):%Y-%m-%d %H:%M:%S},{pack_V[k]:.3f},{amps[k]:.3f}" for k in range(200)
    ]
    return Told(
        "fast.csv",
        "\n".join(rows) + "\n",
        t=[float(int(x)) for x in clock],
        ch={"pack_voltage_V": rounded(pack_V, 3), "pack_current_A": rounded(amps, 3)},
    )


@told
def mmss() -> Told:
    clock, amps, pack_V, _warm, _used = drive(120, 1.0, cells=6, peak=20, r=0.01)
    rows = ["Elapsed (mm:ss);U_batt (V);I_batt (A)"] + [
        f"{int(clock[k]) // 60:02d}:{int(clock[k]) % 60:02d};{pack_V[k]:.2f};{amps[k]:.2f}" for k in range(120)
    ]
    return Told(
        "ms.csv",
        "\n".join(rows) + "\n",
        t=clock,
        ch={"pack_voltage_V": rounded(pack_V, 2), "pack_current_A": rounded(amps, 2)},
    )


@told
def colon_ms() -> Told:
    t0 = datetime(2024, 3, 5, 10, 0, 0)
    clock, amps, pack_V, _warm, _used = drive(200, 0.1, cells=6, peak=20, r=0.01)
    rows = ["Time,Pack Voltage (V),Pack Current (A)"] + [
        f"{t0 + timedelta(seconds=clock[k]):%H:%M:%S}:{round(clock[k] * 1000) % 1000:03d},{pack_V[k]:.3f},{amps[k]:.3f}"
        for k in range(200)
    ]
    return Told(
        "cm.csv",
        "\n".join(rows) + "\n",
        t=clock,
        ch={"pack_voltage_V": rounded(pack_V, 3), "pack_current_A": rounded(amps, 3)},
    )


@told
def newline_header() -> Told:
    clock, amps, pack_V, _warm, _used = drive(120, 1.0, cells=6, peak=20, r=0.01)
    rows = '"Time\n(s)","Pack Voltage\n(V)","Pack Current\n(A)"\r\n' + "".join(
        f"{clock[k]:.1f},{pack_V[k]:.3f},{amps[k]:.3f}\r\n" for k in range(120)
    )
    return Told("nl.csv", rows, t=clock, ch={"pack_voltage_V": rounded(pack_V, 3), "pack_current_A": rounded(amps, 3)})


@told
def quoted_decimal_comma() -> Told:
    clock, amps, pack_V, _warm, _used = drive(120, 1.0, cells=6, peak=20, r=0.01)
    rows = ['"Zeit, s","Packspannung, V","Packstrom, A"'] + [
        f'"{comma(clock[k], 1)}","{comma(pack_V[k])}","{comma(amps[k])}"' for k in range(120)
    ]
    return Told(
        "qc.csv",
        "\r\n".join(rows) + "\r\n",
        t=clock,
        ch={"pack_voltage_V": rounded(pack_V, 3), "pack_current_A": rounded(amps, 3)},
    )


@told
def summary_beside() -> Told:
    clock, amps, pack_V, _warm, _used = drive(120, 1.0, cells=6, peak=20, r=0.01)
    rows = ["Time (s),Pack voltage (V),Pack current (A),,,Summary,Value"] + [
        f"{clock[k]:.1f},{pack_V[k]:.3f},{amps[k]:.3f},,,"
        + (["Capacity (Ah),2.45", "Energy (Wh),55.1", "Mean temp (C),31.0"][k] if k < 3 else ",")
        for k in range(120)
    ]
    return Told(
        "xls.csv",
        "\r\n".join(rows) + "\r\n",
        t=clock,
        ch={"pack_voltage_V": rounded(pack_V, 3), "pack_current_A": rounded(amps, 3)},
    )


@told
def krpm_kW() -> Told:
    clock, amps, pack_V, _warm, _used = drive(120, 1.0, cells=6, peak=20, r=0.01)
    rows = ["t [s]\tU_dc [V]\tI_dc [A]\tn [krpm]\tP_dc [kW]\tT_mot [°C]"] + [
        f"{clock[k]:.1f}\t{pack_V[k]:.2f}\t{amps[k]:.2f}\t{1 + k * 0.01:.3f}"
        f"\t{pack_V[k] * amps[k] / 1000:.4f}\t{40 + k * 0.1:.1f}"
        for k in range(120)
    ]
    return Told(
        "dyn.txt",
        "\n".join(rows) + "\n",
        t=clock,
        maybe={
            "pack_voltage_V": rounded(pack_V, 2),
            "pack_current_A": rounded(amps, 2),
            "pack_power_W": [round(pack_V[k] * amps[k] / 1000, 4) * 1000 for k in range(120)],
        },
    )


@told
def erpm_poles() -> Told:
    clock, amps, pack_V, _warm, _used = drive(120, 1.0, cells=6, peak=20, r=0.01)
    rows = [
        "Motor pole pairs: 7",
        "Firmware: 1.2",
        "",
        "ms;eRPM;Duty [%];Input voltage [V];Input current [A];Motor current [A];FET temp [C]",
    ] + [
        f"{int(clock[k] * 1000)};{7000 + 70 * k};{k % 100};{pack_V[k]:.2f}"
        f";{amps[k]:.2f};{amps[k] * 1.5:.2f};{30 + k * 0.1:.1f}"
        for k in range(120)
    ]
    return Told(
        "weapon.csv",
        "\n".join(rows) + "\n",
        t=clock,
        ch={
            "weapon_speed_rpm": [1000.0 + 10 * k for k in range(120)],
            "weapon_voltage_V": rounded(pack_V, 2),
            "weapon_input_current_A": rounded(amps, 2),
        },
        maybe={
            "weapon_duty_pct": [k % 100 for k in range(120)],
            "weapon_motor_current_A": [round(float(f"{amps[k] * 1.5:.2f}"), 2) for k in range(120)],
            "weapon_temp_degC": [round(30 + k * 0.1, 1) for k in range(120)],
        },
    )


@told
def kelvin_slash() -> Told:
    clock, amps, pack_V, _warm, _used = drive(120, 1.0, cells=6, peak=20, r=0.01)
    rows = ["time/s,voltage/V,current/A,cell temperature/K"] + [
        f"{clock[k]:.1f},{pack_V[k] / 6:.4f},{amps[k]:.3f},{298.15 + k * 0.01:.2f}" for k in range(120)
    ]
    return Told(
        "k.csv",
        "\n".join(rows) + "\n",
        t=clock,
        ch={"pack_voltage_V": [float(f"{v / 6:.4f}") for v in pack_V], "pack_current_A": rounded(amps, 3)},
        maybe={"pack_temp_degC": [float(f"{298.15 + k * 0.01:.2f}") - 273.15 for k in range(120)]},
    )


@told
def two_ranges() -> Told:
    clock, amps, pack_V, _warm, _used = drive(120, 1.0, cells=6, peak=20, r=0.01)
    rows = ["Time (s),I high range (A),I low range (mA),V supply (V)"] + [
        f"{clock[k]:.1f},{amps[k]:.2f},{('OL' if amps[k] > 0.5 else format(amps[k] * 1000, '.2f'))},{pack_V[k]:.3f}"
        for k in range(120)
    ]
    return Told(
        "dual.csv",
        "\n".join(rows) + "\n",
        t=clock,
        maybe={"pack_voltage_V": rounded(pack_V, 3), "pack_current_A": rounded(amps, 2)},
    )


@told
def deci_bms() -> Told:
    clock, amps, pack_V, _warm, _used = drive(120, 1.0, cells=6, peak=20, r=0.01)
    cells = [[round((pack_V[k] / 6 + 0.002 * j) * 1000) for k in range(120)] for j in range(6)]
    pv = [round(sum(c[k] for c in cells) / 100) for k in range(120)]
    rows = ["time_ms,packVoltage(0.1V),packCurrent(0.1A),soc," + ",".join(f"cell_{j:02d}" for j in range(1, 7))] + [
        f"{int(clock[k] * 1000)},{pv[k]},{round(amps[k] * 10)},{90}," + ",".join(str(c[k]) for c in cells)
        for k in range(120)
    ]
    return Told(
        "bms.csv",
        "\n".join(rows) + "\n",
        t=clock,
        ch={},
        maybe={
            "pack_voltage_V": [x / 10 for x in pv],
            "pack_current_A": [round(i * 10) / 10 for i in amps],
            **{f"cell{j + 1}_voltage_V": [x / 1000 for x in cells[j]] for j in range(6)},
        },
    )


@told
def newest_first() -> Told:
    clock, _amps, pack_V, _warm, _used = drive(120, 1.0, cells=6, peak=20, r=0.01)
    rows = ["Time (s),Pack voltage (V)"] + [f"{clock[k]:.1f},{pack_V[k]:.3f}" for k in reversed(range(120))]
    return Told("rev.csv", "\n".join(rows) + "\n", t=clock)


@told
def two_recordings() -> Told:
    clock, amps, pack_V, _warm, _used = drive(120, 1.0, cells=6, peak=20, r=0.01)
    h = "Time (s);Pack voltage (V);Pack current (A)"
    half = [h] + [f"{clock[k]:.1f};{pack_V[k]:.3f};{amps[k]:.3f}" for k in range(60)]
    return Told(
        "two.csv",
        "\n".join([*half, "", "# new recording", *half]) + "\n",
        t=clock[:60] * 2,
        ch={"pack_voltage_V": rounded(pack_V[:60] * 2, 3), "pack_current_A": rounded(amps[:60] * 2, 3)},
        recs=[0] * 60 + [1] * 60,
    )


@told
def fixed_blanks() -> Told:
    clock, amps, pack_V, warm, _used = drive(120, 1.0, cells=6, peak=20, r=0.01)
    rows = [" Time(s)   Pack(V)   Pack(A)  Temp(C)"] + [
        f"{clock[k]:8.1f}{pack_V[k]:10.3f}{amps[k]:10.3f}" + (f"{warm[k]:9.2f}" if k % 4 == 0 else " " * 9)
        for k in range(120)
    ]
    return Told(
        "fix.prn",
        "\n".join(rows) + "\n",
        t=clock,
        ch={"pack_voltage_V": rounded(pack_V, 3), "pack_current_A": rounded(amps, 3)},
        maybe={"pack_temp_degC": [round(warm[k], 2) if k % 4 == 0 else None for k in range(120)]},
    )


@told
def labelled_glued() -> Told:
    clock, amps, _pack_V, _warm, _used = drive(120, 1.0, cells=6, peak=20, r=0.01)
    rows = [f"[{clock[k]:.1f}] V=12.{k % 100:02d}V, I={amps[k]:.2f}A, T=25.{k % 10}C" for k in range(120)]
    return Told(
        "serial.log",
        "\n".join(rows) + "\n",
        t=clock,
        ch={"pack_voltage_V": [float(f"12.{k % 100:02d}") for k in range(120)], "pack_current_A": rounded(amps, 2)},
    )
