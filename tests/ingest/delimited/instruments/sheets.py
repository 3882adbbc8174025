"""Spreadsheets, consoles, controllers and what stands around a table. All values are invented."""

from __future__ import annotations

import math
import random
from datetime import datetime, timedelta

from tests.ingest.delimited.instruments.made import PC, PV, START, VI, Fact, Made, case, de, drive, enc, hms


@case
def transposed() -> Made:
    A, V, _H = drive(120, 1, 80)
    L = [
        "Time (s)," + ",".join(map(str, range(120))),
        "Voltage (V)," + ",".join(map(str, V)),
        "Current (A)," + ",".join(map(str, A)),
    ]
    return Made(enc(L), refuse=True)


@case
def runs_side_by_side() -> Made:
    A, V, _H = drive(800, 0.1, 81)
    B, W, _ = drive(800, 0.1, 82)
    L = ["Run 1,,,Run 2,,", "Time (s),Voltage (V),Current (A),Time (s),Voltage (V),Current (A)"] + [
        f"{0.1 * k:.1f},{V[k]},{A[k]},{0.1 * k:.1f},{W[k]},{B[k]}" for k in range(800)
    ]
    return Made(enc(L), [round(0.1 * k, 1) for k in range(800)], {}, either=True)


@case
def sep_line() -> Made:
    A, V, _H = drive(800, 0.1, 83)
    L = ["sep=;", "Time (s);Voltage (V);Current (A)"] + [
        f"{de(0.1 * k, 1)};{de(V[k], 3)};{de(A[k], 2)}" for k in range(800)
    ]
    return Made(enc(L, "\r\n"), [round(0.1 * k, 1) for k in range(800)], VI(V, A))


@case
def json_lines() -> Made:
    A, V, _H = drive(500, 0.1, 84)
    L = [f'{{"t": {0.1 * k:.1f}, "v": {V[k]}, "i": {A[k]}}}' for k in range(500)]
    return Made(enc(L), [round(0.1 * k, 1) for k in range(500)], {}, either=True, file="log.json")


@case
def html_table() -> Made:
    _A, V, _H = drive(300, 0.1, 85)
    L = (
        ["<html><body><table>", "<tr><th>Time</th><th>V</th></tr>"]
        + [f"<tr><td>{0.1 * k:.1f}</td><td>{V[k]}</td></tr>" for k in range(300)]
        + ["</table></body></html>"]
    )
    return Made(enc(L), refuse=True, file="log.xls")


@case
def key_values() -> Made:
    A, V, H = drive(700, 0.1, 86)
    L = [f"t={0.1 * k:.1f} V={V[k]} I={A[k]} T={H[k]}" for k in range(700)]
    return Made(enc(L), [round(0.1 * k, 1) for k in range(700)], VI(V, A, "V", "I"), file="serial.txt")


@case
def stamped_console() -> Made:
    A, V, H = drive(700, 0.1, 87)
    L = []
    for k in range(700):
        d = START + timedelta(seconds=0.1 * k)
        L.append(f"[{d:%H:%M:%S}.{d.microsecond // 1000:03d}] V: {V[k]} V, I: {A[k]} A, T: {H[k]} C")
    return Made(
        enc(L), [0.1 * k for k in range(700)], VI(V, A, "V", "I") | {"T": Fact("temperature", H)}, file="console.txt"
    )


@case
def can_frames_csv() -> Made:
    r = random.Random(88)
    L = ["Time (s),ID,DLC,D0,D1,D2,D3,D4,D5,D6,D7"] + [
        f"{0.001 * k:.3f},{r.choice(['18F', '2A0', '301'])},8," + ",".join(f"{r.randrange(256):02X}" for _ in range(8))
        for k in range(2000)
    ]
    return Made(enc(L), [0.001 * k for k in range(2000)], {}, either=True)


@case
def min_avg_max() -> Made:
    A, V, _H = drive(900, 1, 89)
    L = ["Time,Voltage Avg (V),Voltage Min (V),Voltage Max (V),Current Avg (A),Current Min (A),Current Max (A)"] + [
        f"{hms(k)},{V[k]},{V[k] - 0.3:.3f},{V[k] + 0.2:.3f},{A[k]},{A[k] - 2:.2f},{A[k] + 3:.2f}" for k in range(900)
    ]

    def f(X, d, p):
        return [round(x + d, p) for x in X]

    return Made(
        enc(L),
        [float(k) for k in range(900)],
        {
            "Voltage Avg (V)": Fact("voltage", V, None, PV),
            "Voltage Min (V)": Fact("voltage", f(V, -0.3, 3)),
            "Voltage Max (V)": Fact("voltage", f(V, 0.2, 3)),
            "Current Avg (A)": Fact("current", A, None, PC),
            "Current Min (A)": Fact("current", f(A, -2, 2)),
            "Current Max (A)": Fact("current", f(A, 3, 2)),
        },
    )


@case
def status_quoted() -> Made:
    A, V, _H = drive(900, 0.5, 90)
    L = ["Time (s),State,Voltage (V),Current (A),Message"] + [
        f"{0.5 * k:.1f},{'RUN' if k % 100 else 'ARM'},{V[k]},{A[k]},"
        f'"{"ok" if k % 50 else "warn: hot, slow down; wait"}"'
        for k in range(900)
    ]
    return Made(enc(L), [0.5 * k for k in range(900)], VI(V, A))


@case
def kelvin() -> Made:
    A, V, H = drive(900, 0.5, 91)
    L = ["Time (s),Cell voltage (V),Current (A),Temperature (K)"] + [
        f"{0.5 * k:.1f},{V[k] / 6:.4f},{A[k]},{H[k] + 273.15:.2f}" for k in range(900)
    ]
    return Made(
        enc(L),
        [0.5 * k for k in range(900)],
        {
            "Cell voltage (V)": Fact(
                "voltage", [round(v / 6, 4) for v in V], None, ("cell1_voltage_V", "cell_min_V", *PV)
            ),
            "Current (A)": Fact("current", A, None, PC),
            "Temperature (K)": Fact("temperature", H, [round(h + 273.15, 2) for h in H]),
        },
    )


@case
def semicolon_values_point() -> Made:
    # European separator, English decimals
    A, V, _H = drive(900, 0.5, 92)
    L = ["Zeit [s];Spannung [V];Strom [A]"] + [f"{0.5 * k:.1f};{V[k]};{A[k]}" for k in range(900)]
    return Made(enc(L), [0.5 * k for k in range(900)], VI(V, A, "Spannung [V]", "Strom [A]"))


@case
def comma_comma() -> Made:
    # decimal comma and comma delimiter, quoted numbers
    A, V, _H = drive(900, 0.5, 93)
    L = ["Zeit [s],Spannung [V],Strom [A]"] + [
        f'"{de(0.5 * k, 1)}","{de(V[k], 3)}","{de(A[k], 2)}"' for k in range(900)
    ]
    return Made(enc(L), [0.5 * k for k in range(900)], VI(V, A, "Spannung [V]", "Strom [A]"))


@case
def comma_comma_bare() -> Made:
    # decimal comma and comma delimiter, not quoted: cannot be told apart
    A, V, _H = drive(900, 0.5, 94)
    L = ["Zeit [s],Spannung [V],Strom [A]"] + [f"{de(0.5 * k, 1)},{de(V[k], 3)},{de(A[k], 2)}" for k in range(900)]
    return Made(enc(L), [0.5 * k for k in range(900)], VI(V, A, "Spannung [V]", "Strom [A]"), either=True)


@case
def frozen_clock_after_stop() -> Made:
    A, V, _H = drive(900, 0.5, 95)
    L = (
        ["Time (s),Voltage (V),Current (A)"]
        + [f"{0.5 * k:.1f},{V[k]},{A[k]}" for k in range(900)]
        + ["", "Average,25.1,12.3", "Maximum,26.0,99.1", "Minimum,20.1,0.1"]
    )
    return Made(enc(L), [0.5 * k for k in range(900)], VI(V, A))


@case
def index_and_rate() -> Made:
    A, V, _H = drive(2000, 0.001, 96)
    L = ["Sampling rate [Hz];1000", "Channels;2", "Sample;Battery voltage [V];Motor current [A]"] + [
        f"{k};{de(V[k], 3)};{de(A[k], 2)}" for k in range(2000)
    ]
    return Made(
        enc(L),
        [0.001 * k for k in range(2000)],
        {"Battery voltage [V]": Fact("voltage", V, None, PV), "Motor current [A]": Fact("current", A)},
        tol=1e-6,
    )


@case
def wrapped_microseconds() -> Made:
    A, V, _H = drive(3000, 0.01, 97)
    L = ["us,vbat_mV,ibat_mA,duty_pct"] + [
        f"{(4294000000 + 10000 * k) % 2**32},{round(V[k] * 1000)},{round(A[k] * 1000)},{k % 100}" for k in range(3000)
    ]
    return Made(
        enc(L),
        [0.01 * k for k in range(3000)],
        {
            "vbat_mV": Fact("voltage", V, None, PV),
            "ibat_mA": Fact("current", [round(a * 1000) / 1000 for a in A], None, PC),
        },
        tol=1e-6,
    )


@case
def motor_controller_log() -> Made:
    A, V, H = drive(3000, 0.02, 98)
    L = ["Time(ms);Input voltage;Motor current;Battery current;ERPM;Duty;FET temp;Motor temp;Ah used;Fault"]
    q = 0
    Q = []
    er = []
    mc = []
    for k in range(3000):
        d = 0.1 + 0.8 * abs(math.sin(k / 150))
        q += A[k] * 0.02 / 3600
        Q.append(1000 * round(q, 4))
        e = round(21000 * d)
        er.append(float(e))
        mc.append(round(A[k] / d, 2))
        L.append(f"{20 * k};{V[k]:.2f};{mc[-1]:.2f};{A[k]:.2f};{e};{d:.3f};{H[k] + 3:.1f};{H[k]:.1f};{q:.4f};0")
    return Made(
        enc(L),
        [0.02 * k for k in range(3000)],
        {
            "Input voltage": Fact("voltage", [round(v, 2) for v in V]),
            "Motor current": Fact("current", mc),
            "Battery current": Fact("current", A),
            "ERPM": Fact("speed", er, er, ("nothing",)),
            "Duty": Fact(
                "command",
                [100 * float(f"{0.1 + 0.8 * abs(math.sin(k / 150)):.3f}") for k in range(3000)],
                [float(f"{0.1 + 0.8 * abs(math.sin(k / 150)):.3f}") for k in range(3000)],
            ),
            "FET temp": Fact("temperature", [round(h + 3, 1) for h in H]),
            "Motor temp": Fact("temperature", H),
            "Fault": Fact("any", [0.0] * 3000),
            "Ah used": Fact("charge", Q),
        },
    )


@case
def radio_log() -> Made:
    A, V, _H = drive(1200, 0.5, 99)
    L = ["Date,Time,RSSI(dB),RxBt(V),Curr(A),Capa(mAh),Thr,SA,TxBat(V)"]
    q = 0
    for k in range(1200):
        d = START + timedelta(seconds=0.5 * k)
        q += A[k] * 0.5 / 3.6
        L.append(
            f"{d:%Y-%m-%d},{d:%H:%M:%S}.{d.microsecond // 1000:03d},{90 - k % 9},"
            f"{V[k]:.2f},{A[k]:.2f},{q:.0f},{(k % 200) * 10 - 1024},{k % 2},7.9"
        )
    return Made(
        enc(L),
        [0.5 * k for k in range(1200)],
        {
            "RxBt(V)": Fact("voltage", [round(v, 2) for v in V]),
            "Curr(A)": Fact("current", A),
            "TxBat(V)": Fact("voltage", [7.9] * 1200, [7.9] * 1200, ("nothing",)),
            "RSSI(dB)": Fact("any", [90.0 - k % 9 for k in range(1200)]),
            "Thr": Fact("command", [float((k % 200) * 10 - 1024) for k in range(1200)]),
        },
    )


@case
def repeated_headers_pages() -> Made:
    A, V, _H = drive(1000, 1, 100)
    L = []
    for k in range(1000):
        if k % 50 == 0:
            L += (["", f"Page {k // 50}", ""] if k else []) + ["Time(s)   Volt(V)   Amp(A)"]
        L.append(f"{k:6d}   {V[k]:8.3f}   {A[k]:7.2f}")
    return Made(enc(L, "\r\n"), [float(k) for k in range(1000)], VI(V, A, "Volt(V)", "Amp(A)"), file="print.txt")


@case
def spaces_in_stamp() -> Made:
    A, V, _H = drive(900, 1, 101)
    L = ["Date Time Voltage Current"]
    for k in range(900):
        d = START + timedelta(seconds=k)
        L.append(f"{d:%Y-%m-%d} {d:%H:%M:%S} {V[k]:.3f} {A[k]:.2f}")
    return Made(enc(L), [float(k) for k in range(900)], VI(V, A, "Voltage", "Current"), file="meter.txt")


@case
def month_words() -> Made:
    A, V, _H = drive(900, 1, 102)
    L = ["When,Volts,Amps"]
    for k in range(900):
        d = datetime(2026, 3, 31, 23, 55) + timedelta(seconds=k)
        L.append(f"{d.day} {['', 'Jan', 'Feb', 'Mar', 'Apr'][d.month]} {d.year} {d:%H:%M:%S},{V[k]},{A[k]}")
    return Made(enc(L), [float(k) for k in range(900)], VI(V, A, "Volts", "Amps"))


@case
def one_channel_meter() -> Made:
    r = random.Random(103)
    W = [round(3.7 + 0.01 * math.sin(k / 20) + r.gauss(0, 0.001), 4) for k in range(900)]
    L = ["DC Voltage"] + [f"{k},{W[k]}" for k in range(900)]
    return Made(enc(L), None, {}, either=True)


@case
def units_in_words() -> Made:
    A, V, H = drive(900, 1, 104)
    L = ["Time in seconds,Voltage in volts,Current in milliamperes,Temperature in degrees Celsius"] + [
        f"{k},{V[k]},{round(A[k] * 1000)},{H[k]}" for k in range(900)
    ]
    return Made(
        enc(L),
        [float(k) for k in range(900)],
        {
            "Voltage in volts": Fact("voltage", V, None, PV),
            "Current in milliamperes": Fact("current", [round(a * 1000) / 1000 for a in A], None, PC),
            "Temperature in degrees Celsius": Fact("temperature", H),
        },
    )


@case
def three_header_rows() -> Made:
    A, V, H = drive(900, 1, 105)
    L = ["Time,Battery,Battery,Motor,Motor", ",Voltage,Current,Speed,Temperature", "s,V,A,rpm,°C"] + [
        f"{k},{V[k]},{A[k]},{3000 + k},{H[k]}" for k in range(900)
    ]
    return Made(
        enc(L),
        [float(k) for k in range(900)],
        VI(V, A, "Voltage", "Current")
        | {"Speed": Fact("speed", [3000.0 + k for k in range(900)]), "Temperature": Fact("temperature", H)},
    )


@case
def rest_zero_sentinels() -> Made:
    # missing marked by -9999 and NaN, among honest zeros
    A, V, H = drive(900, 1, 106)
    r = random.Random(106)
    L = ["Time (s),Voltage (V),Current (A),Temp (°C)"]
    h = []
    for k in range(900):
        m = r.random() < 0.03
        h.append(None if m else H[k])
        L.append(f"{k},{V[k]},{A[k]},{-9999 if m else H[k]}")
    return Made(enc(L), [float(k) for k in range(900)], VI(V, A) | {"Temp (°C)": Fact("temperature", h)})


@case
def constant_round_numbers() -> Made:
    # bench load with round set points: 1000, 2000, 9999 mA; each real
    r = random.Random(107)
    L = ["Time (s),Voltage (V),Current (mA)"]
    U = []
    amps = []
    for k in range(1200):
        i = [0, 1000, 2000, 9999][k // 300]
        amps.append(i / 1000)
        U.append(round(12.6 - 0.00002 * i * 1.5 - 0.0001 * k + r.gauss(0, 0.002), 3))
        L.append(f"{k},{U[-1]},{i}")
    return Made(enc(L), [float(k) for k in range(1200)], VI(U, amps, "Voltage (V)", "Current (mA)", 1000))


@case
def motor_speed_steps() -> Made:
    # commanded speed steps that sit exactly on round numbers, negative when turning back
    r = random.Random(108)
    L = ["Time (s),Speed (rpm),Current (A)"]
    S = []
    A = []
    for k in range(1200):
        s = [0, 999, -999, 5000, -1000, 0][k // 200]
        S.append(float(s))
        A.append(round(1 + abs(s) / 1000 + r.gauss(0, 0.05), 2))
        L.append(f"{k * 0.1:.1f},{s},{A[-1]}")
    return Made(
        enc(L),
        [round(0.1 * k, 1) for k in range(1200)],
        {"Speed (rpm)": Fact("speed", S), "Current (A)": Fact("current", A)},
    )
