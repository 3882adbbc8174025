"""Exports of meters, loggers and spreadsheets, each with the table that it was made from."""

from __future__ import annotations

import math
import random
from datetime import datetime, timedelta

from tests.ingest.delimited.instruments.tables import Told, comma, drive, rounded, told


@told
def bom_middle() -> Told:
    t, amps, volts, _warm, _used = drive(120, 0.5, cells=3, peak=5, r=0.02)
    h = "Time (s),Battery voltage (V),Battery current (A)"

    def part(a, b):
        return h + "\r\n" + "".join(f"{t[k]:.1f},{volts[k]:.3f},{amps[k]:.3f}\r\n" for k in range(a, b))

    return Told(
        "joined.csv",
        "\ufeff" + part(0, 60) + "\ufeff" + part(60, 120),
        t=t,
        ch={"pack_voltage_V": rounded(volts, 3), "pack_current_A": rounded(amps, 3)},
    )


@told
def comment_head() -> Told:
    t, amps, volts, warm, _used = drive(120, 0.01, cells=6, peak=30, r=0.005)
    out = ["# home logger v3", "# rate: 100 Hz", "# vbat in mV, ibat in cA", "# t_ms vbat ibat temp"] + [
        f"{round(t[k] * 1000)} {round(volts[k] * 1000)} {round(amps[k] * 100)} {warm[k]:.1f}" for k in range(120)
    ]
    return Told(
        "LOG00017.TXT",
        "\n".join(out) + "\n",
        t=t,
        ch={
            "pack_voltage_V": [round(v * 1000) / 1000 for v in volts],
            "pack_current_A": [round(i * 100) / 100 for i in amps],
        },
    )


@told
def json_head() -> Told:
    t, amps, volts, _warm, _used = drive(120, 0.01, cells=6, peak=30, r=0.005)
    out = ['{"device": "bench", "rate_hz": 100, "columns": ["t", "v", "i"], "units": ["s", "V", "A"]}'] + [
        f"{t[k]:.2f},{volts[k]:.3f},{amps[k]:.3f}" for k in range(120)
    ]
    return Told(
        "j.csv",
        "\n".join(out) + "\n",
        t=t,
        maybe={"pack_voltage_V": rounded(volts, 3), "pack_current_A": rounded(amps, 3)},
    )


@told
def transposed() -> Told:
    t, amps, volts, _warm, _used = drive(60, 1.0)
    out = [
        "Time (s)," + ",".join(f"{x:.1f}" for x in t),
        "Voltage (V)," + ",".join(f"{x:.3f}" for x in volts),
        "Current (A)," + ",".join(f"{x:.3f}" for x in amps),
    ]
    return Told("rows.csv", "\n".join(out) + "\n", t=t, ch={"pack_voltage_V": volts})


@told
def tidy_long() -> Told:
    t, amps, volts, warm, _used = drive(60, 1.0)
    out = ["time,channel,value"] + [
        f"{t[k]:.1f},{n},{x}"
        for k in range(60)
        for n, x in (("pack_voltage_V", volts[k]), ("pack_current_A", amps[k]), ("temp_C", warm[k]))
    ]
    return Told("tidy.csv", "\n".join(out) + "\n", t=t, ch={"pack_voltage_V": volts})


@told
def logfmt() -> Told:
    t, amps, volts, warm, _used = drive(100, 0.1, cells=6, peak=20, r=0.01)
    out = [f"t={t[k]:.1f} vbat={volts[k]:.2f} ibat={amps[k]:.2f} temp={warm[k]:.1f}" for k in range(100)]
    return Told(
        "bms.log",
        "\n".join(out) + "\n",
        t=t,
        ch={"pack_voltage_V": rounded(volts, 2), "pack_current_A": rounded(amps, 2)},
        maybe={},
    )


@told
def kv_records() -> Told:
    t, amps, volts, warm, _used = drive(60, 1.0, cells=6, peak=20, r=0.01)
    out = []
    for k in range(60):
        out += [
            f"Time: {t[k]:.1f} s",
            f"Voltage: {volts[k]:.2f} V",
            f"Current: {amps[k]:.2f} A",
            f"Temp: {warm[k]:.1f} C",
            "",
        ]
    return Told("monitor.txt", "\n".join(out) + "\n", t=t, ch={"pack_voltage_V": rounded(volts, 2)})


@told
def two_rates() -> Told:
    t, amps, volts, warm, _used = drive(200, 0.1, cells=6, peak=20, r=0.01)
    out = ["time [s],pack_current [A],pack_voltage [V],pack_temp [degC]"] + [
        f"{t[k]:.1f},{amps[k]:.2f},{(f'{volts[k]:.2f}' if k % 5 == 0 else '')}"
        f",{(f'{warm[k]:.1f}' if k % 50 == 0 else '')}"
        for k in range(200)
    ]
    return Told(
        "merged.csv",
        "\n".join(out) + "\n",
        t=t,
        ch={
            "pack_current_A": rounded(amps, 2),
            "pack_voltage_V": [round(volts[k], 2) if k % 5 == 0 else None for k in range(200)],
            "pack_temp_degC": [round(warm[k], 1) if k % 50 == 0 else None for k in range(200)],
        },
    )


@told
def dmm_unit_column() -> Told:
    n = 90
    t = [k * 1.0 for k in range(n)]
    v = [round(1.5 - 0.012 * k, 4) for k in range(n)]
    out = ["No.,Date,Time,Value,Unit,Mode,Auto"]
    for k in range(n):
        x = v[k]
        val, u = (f"{x:.4f}", "V") if x >= 1 else (f"{x * 1000:.1f}", "mV")
        out.append(f"{k + 1},2024-06-01,10:{k // 60:02d}:{k % 60:02d},{val},{u},DC,Auto")
    return Told(
        "dmm.csv", "\n".join(out) + "\n", t=t, cols={"Value": [x * 1000 for x in v]}, maybe={"pack_voltage_V": v}
    )


@told
def dmm_glued_auto() -> Told:
    n = 90
    t = [k * 0.5 for k in range(n)]
    a = [round(1.3 - 0.01 * k, 4) for k in range(n)]
    out = ["Time (s);Current;Voltage"]
    for k in range(n):
        x = a[k]
        out.append(f"{t[k]:.1f};{(f'{x:.4f} A' if x >= 1 else f'{x * 1000:.1f} mA')};12.{k % 10} V")
    return Told(
        "meter.csv",
        "\n".join(out) + "\n",
        t=t,
        ch={"pack_voltage_V": [12 + k % 10 / 10 for k in range(n)], "pack_current_A": a},
    )


@told
def power_analyser() -> Told:
    t, amps, volts, _warm, _used = drive(120, 0.05, cells=12, peak=30, r=0.01)
    t0 = datetime(2024, 1, 9, 14, 0, 0)
    out = ["Store No.,Date,Time,Millisecond,Urms-1,Irms-1,P-1,S-1,Q-1,LAMBDA-1,Udc-4,Idc-4,P-4"]
    for k in range(120):
        d = t0 + timedelta(seconds=t[k])
        out.append(
            f"{k},{d:%Y/%m/%d},{d:%H:%M:%S},{d.microsecond // 1000},{20.0 + k % 3:.5E},{15.0:.5E}"
            f",{280.0:.5E},{300.0:.5E},{107.0:.5E},{0.93:.5E},{volts[k]:.5E},{amps[k]:.5E},{volts[k] * amps[k]:.5E}"
        )
    return Told(
        "PA0012.csv",
        "\n".join(out) + "\n",
        t=t,
        maybe={
            "pack_voltage_V": [float(f"{x:.5E}") for x in volts],
            "pack_current_A": [float(f"{x:.5E}") for x in amps],
        },
        cols={"Udc-4": [float(f"{x:.5E}") for x in volts], "Urms-1": [20.0 + k % 3 for k in range(120)]},
    )


@told
def thermal_F() -> Told:
    n = 100
    t = [k * 30.0 for k in range(n)]
    F = [round(72 + 0.8 * k, 1) for k in range(n)]
    t0 = datetime(2024, 8, 14, 9, 12, 3)
    out = [
        "Device name: T-Logger 2",
        "Start: 08/14/2024 09:12:03",
        "Interval: 30 s",
        "",
        "#,Date,Time,Motor Temp (°F)",
    ] + [f"{k + 1},{t0 + timedelta(seconds=t[k]):%m/%d/%Y,%I:%M:%S %p},{F[k]}" for k in range(n)]
    return Told(
        "tlog.csv",
        ("\r\n".join(out) + "\r\n").encode("cp1252"),
        t=t,
        ch={"motor_temp_degC": [(f - 32) / 1.8 for f in F]},
        parts={"motor": "motor"},
    )


@told
def can_csv() -> Told:
    n = 300
    rnd = random.Random(4)
    out = ["Time,Bus,ID,Extended,Dir,LEN,D1,D2,D3,D4,D5,D6,D7,D8"]
    for k in range(n):
        out.append(
            f"{k * 2500},0,{rnd.choice(['00000123', '000001A0', '000002F1'])},false,Rx,8,"
            + ",".join(f"{rnd.randrange(256):02X}" for _ in range(8))
        )
    return Told("canlog.csv", "\n".join(out) + "\n", t=[k * 0.0025 for k in range(n)])


@told
def rc_telemetry() -> Told:
    t, amps, volts, _warm, used = drive(120, 0.2, cells=1, peak=15, r=0.003)
    t0 = datetime(2024, 4, 20, 15, 30, 0)
    out = ["Date,Time,RSSI(dB),Rx voltage(V),Cells(V),Current(A),Used(mAh),Throttle,Aileron,SA"]
    for k in range(120):
        d = t0 + timedelta(seconds=t[k])
        out.append(
            f"{d:%Y-%m-%d},{d:%H:%M:%S}.{d.microsecond // 1000:03d},{80 - k % 5},5.{k % 2}"
            f",{4 * volts[k]:.2f},{amps[k]:.1f},{int(used[k] * 1000)},{(-1024 if amps[k] == 0 else 300)},0,-1"
        )
    return Told(
        "model-2024-04-20.csv",
        "\n".join(out) + "\n",
        t=t,
        maybe={
            "pack_current_A": rounded(amps, 1),
            "pack_charge_used_mAh": [int(q * 1000) for q in used],
            "receiver_rail_voltage_V": [5 + 0.1 * (k % 2) for k in range(120)],
        },
    )


@told
def percent_comments() -> Told:
    t, amps, volts, _warm, _used = drive(120, 0.05, cells=6, peak=15, r=0.003)
    out = ["% exported 12-Mar-2024 10:11:12", "% time (s)   voltage (V)   current (A)", "%"] + [
        f"   {t[k]:.7e}   {volts[k]:.7e}  {amps[k]: .7e}" for k in range(120)
    ]
    return Told("trace.dat", "\n".join(out) + "\n", t=t, ch={"pack_voltage_V": volts, "pack_current_A": amps})


@told
def lab_block_head() -> Told:
    n = 300
    dt = 0.01
    t, amps, volts, _warm, _used = drive(n, dt, cells=6, peak=15, r=0.003)
    out = [
        "Text measurement file",
        "Separator\tTab",
        "Decimal_Separator\t,",
        "Date\t2024/05/05",
        "Time\t10:20:30,5",
        "End of header\t",
        "",
        "Channels\t2\t",
        "Samples\t300\t300",
        "X_Dimension\tTime\tTime",
        "X0\t0,0000000000000000E+0\t0,0000000000000000E+0",
        "Delta_X\t0,010000\t0,010000",
        "End of header\t\t",
        "X_Value\tPack voltage\tPack current\tComment",
    ] + [f"{comma(t[k], 6)}\t{comma(volts[k], 6)}\t{comma(amps[k], 6)}\t" for k in range(n)]
    return Told("lab.txt", "\r\n".join(out) + "\r\n", t=t, ch={"pack_voltage_V": volts, "pack_current_A": amps})


@told
def headless_two() -> Told:
    n = 200
    t = [k * 0.005 for k in range(n)]
    return Told("scope.txt", "".join(f"{t[k]:.4f} {12 + math.sin(k / 9):.4f}\n" for k in range(n)), t=t)


@told
def epoch_ms() -> Told:
    t, amps, volts, warm, _used = drive(100, 0.25, cells=6, peak=15, r=0.003)
    out = ["timestamp,device,pack_voltage,pack_current,pack_temp"] + [
        f"{1714550000000 + int(t[k] * 1000)},bench-1,{volts[k]:.3f},{amps[k]:.3f},{warm[k]:.1f}" for k in range(100)
    ]
    return Told(
        "export.csv",
        "\n".join(out) + "\n",
        t=t,
        ch={"pack_voltage_V": rounded(volts, 3), "pack_current_A": rounded(amps, 3)},
        maybe={"pack_temp_degC": rounded(warm, 1)},
    )


@told
def excel_serial() -> Told:
    t, amps, volts, _warm, _used = drive(100, 2.0, cells=6, peak=15, r=0.003)
    out = ["Timestamp,Pack voltage (V),Pack current (A)"] + [
        f"{45678.5 + t[k] / 86400:.9f},{volts[k]:.3f},{amps[k]:.3f}" for k in range(100)
    ]
    return Told(
        "sheet.csv",
        "\n".join(out) + "\n",
        t=[(float(f"{45678.5 + x / 86400:.9f}") - 45678.5) * 86400 for x in t],
        ch={"pack_voltage_V": rounded(volts, 3), "pack_current_A": rounded(amps, 3)},
    )


@told
def time_per_channel() -> Told:
    n = 120
    out = ["Time_V (s),Pack voltage (V),Time_I (s),Pack current (A)"]
    t, amps, volts, _warm, _used = drive(n, 0.1, cells=6, peak=10, r=0.01)
    for k in range(n):
        out.append(f"{t[k]:.3f},{volts[k]:.3f},{t[k] + 0.037:.3f},{amps[k]:.3f}")
    return Told(
        "two_clocks.csv",
        "\n".join(out) + "\n",
        t=t,
        ch={"pack_voltage_V": rounded(volts, 3), "pack_current_A": rounded(amps, 3)},
    )


@told
def quoted_thousands() -> Told:
    t, amps, volts, _warm, _used = drive(120, 20.0, cells=12, peak=60, r=0.005)
    watts = [round(v * i, 1) for v, i in zip(volts, amps, strict=False)]
    out = ['"Elapsed Time (s)","Pack Voltage (V)","Pack Current (A)","Power (W)","Speed (rpm)"'] + [
        f'"{t[k]:,.1f}","{volts[k]:.2f}","{amps[k]:.2f}","{watts[k]:,.1f}","{3000 + 10 * k:,}"' for k in range(120)
    ]
    return Told(
        "run.csv",
        "\n".join(out) + "\n",
        t=t,
        ch={"pack_voltage_V": rounded(volts, 2), "pack_current_A": rounded(amps, 2)},
        maybe={"pack_power_W": watts},
        cols={"Power (W)": watts, "Speed (rpm)": [3000 + 10 * k for k in range(120)]},
    )


@told
def printed_pages() -> Told:
    t, amps, volts, warm, _used = drive(120, 1.0, cells=4, peak=10, r=0.01)
    out = []
    for p in range(4):
        out += [
            f"Bench report                         Page {p + 1} of 4",
            "",
            "  Time/s   U/V      I/A     T/degC",
            "  ------  -------  ------  -------",
        ]
        for k in range(p * 30, p * 30 + 30):
            out.append(f"  {t[k]:6.1f}  {volts[k]:7.3f}  {amps[k]:6.3f}  {warm[k]:6.2f}")
        out.append("")
    return Told(
        "report.prn",
        "\r\n".join(out) + "\r\n",
        t=t,
        ch={"pack_voltage_V": rounded(volts, 3), "pack_current_A": rounded(amps, 3)},
        maybe={"pack_temp_degC": rounded(warm, 2)},
    )


@told
def sec_usec() -> Told:
    t, amps, volts, _warm, _used = drive(120, 0.02, cells=6, peak=20, r=0.005)
    out = ["sec,usec,vbat_mV,ibat_mA"] + [
        f"{1700000000 + int(t[k] + 0.99)},{round((t[k] + 0.99 - int(t[k] + 0.99)) * 1000000.0)}"
        f",{round(volts[k] * 1000)},{round(amps[k] * 1000)}"
        for k in range(120)
    ]
    return Told(
        "raw.csv",
        "\n".join(out) + "\n",
        t=t,
        ch={
            "pack_voltage_V": [round(v * 1000) / 1000 for v in volts],
            "pack_current_A": [round(i * 1000) / 1000 for i in amps],
        },
    )
