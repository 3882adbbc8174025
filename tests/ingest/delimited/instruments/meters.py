"""Bench supplies, meters, scopes, loads, dynamometers and thrust stands. All values are invented."""

from __future__ import annotations

import math
import random
from datetime import datetime, timedelta

from tests.ingest.delimited.instruments.made import PC, PV, START, Fact, Made, case, de, drive, enc, hms, soc_volts

N = 600


@case
def supply_units_glued() -> Made:
    r = random.Random(20)
    L = ["Timestamp,CH1 Set Voltage,CH1 Voltage,CH1 Current,CH1 Mode,CH2 Voltage,CH2 Current,CH2 Mode"]
    U = []
    amps = []
    for k in range(N):
        d = START + timedelta(seconds=k)
        U.append(round(12 - 0.001 * k + r.gauss(0, 0.002), 3))
        amps.append(round(0.5 + 0.4 * math.sin(k / 30), 3))
        L.append(
            f"{d:%Y/%m/%d %H:%M:%S},12.000V,{U[-1]:.3f}V,{amps[-1]:.3f}A,"
            f"{'CV' if amps[-1] < 0.85 else 'CC'},5.000V,0.000A,OFF"
        )
    return Made(
        enc(L),
        [float(k) for k in range(N)],
        {
            "CH1 Voltage": Fact("voltage", U),
            "CH1 Current": Fact("current", amps),
            "CH1 Set Voltage": Fact("voltage", [12.0] * N),
            "CH2 Voltage": Fact("voltage", [5.0] * N),
            "CH2 Current": Fact("current", [0.0] * N),
        },
    )


@case
def meter_ampm_OL() -> Made:
    r = random.Random(21)
    L = ["Model:\tbench meter", "Records:\t600", "", "No.\tDate\tTime\tReading\tUnit\tStatus"]
    W = []
    for k in range(N):
        d = datetime(2026, 3, 14, 11, 57, 0) + timedelta(seconds=k)
        ol = 200 <= k < 215
        v = round(24 + math.sin(k / 50) + r.gauss(0, 0.01), 3)
        W.append(None if ol else v)
        L.append(
            f"{k + 1}\t{d:%m/%d/%Y}\t{d.hour % 12 or 12}:{d:%M:%S} "
            f"{d:%p}\t{'OL' if ol else format(v, '.3f')}\tV DC\t{'OVER' if ol else 'OK'}"
        )
    return Made(enc(L, "\r\n"), [float(k) for k in range(N)], {"Reading": Fact("voltage", W)})


@case
def meter_autorange_units() -> Made:
    L = ["Time,Value,Unit"]
    W = []
    R = []
    for k in range(N):
        a = 10 ** (-3 + 5 * k / N)
        s, u = (f"{a * 1000:.2f}", "mA") if a < 0.5 else (f"{a:.4f}", "A")
        W.append(float(s) / (1000 if u == "mA" else 1))
        R.append(float(s))
        L.append(f"{hms(3600 * 9 + k * 0.5, 1)},{s},{u}")
    return Made(
        enc(L),
        [k * 0.5 for k in range(N)],
        {"Value": Fact("current", [1000 * w for w in W], [1000 * w for w in W], PC)},
    )


@case
def meter_max_avg_min() -> Made:
    r = random.Random(22)
    L = ["Start;Duration;Max;Max Time;Average;Min;Min Time;Unit"]
    M = []
    A = []
    amps = []
    for k in range(N):
        d = START + timedelta(seconds=10 * k)
        a = round(230 + r.gauss(0, 0.4), 2)
        M.append(round(a + 0.8, 2))
        A.append(a)
        amps.append(round(a - 0.9, 2))
        L.append(
            f"{d:%d.%m.%Y %H:%M:%S};0:00:10.0;{de(M[-1], 2)};{d + timedelta(seconds=3):%H:%M:%S};"
            f"{de(a, 2)};{de(amps[-1], 2)};{d + timedelta(seconds=7):%H:%M:%S};V AC"
        )
    return Made(
        enc(L),
        [10.0 * k for k in range(N)],
        {"Max": Fact("voltage", M), "Average": Fact("voltage", A), "Min": Fact("voltage", amps)},
    )


@case
def meter_separate_ms() -> Made:
    A, V, _H = drive(N, 0.05, 23)
    L = ["Date,Time,ms,U (V),I (A)"]
    for k in range(N):
        d = START + timedelta(milliseconds=50 * k)
        L.append(f"{d:%Y-%m-%d},{d:%H:%M:%S},{d.microsecond // 1000},{V[k]:.3f},{A[k]:.2f}")
    return Made(
        enc(L),
        [0.05 * k for k in range(N)],
        {"U (V)": Fact("voltage", V, None, PV), "I (A)": Fact("current", A, None, PC)},
    )


@case
def scope_interval_only() -> Made:
    n = 10000
    r = random.Random(24)
    L = [
        "Record Length,10000,points",
        "Sample Interval,4.000000e-06,s",
        "Vertical Units,V,A",
        "Probe,10,100",
        "Trigger Point,1000,",
        "CH1,CH2",
    ]
    a = []
    b = []
    for k in range(n):
        a.append(round(12 - 3 * math.exp(-abs(k - 1000) / 400) * (k >= 1000) + r.gauss(0, 0.02), 3))
        b.append(round(0.2 + 30 * math.exp(-abs(k - 1000) / 400) * (k >= 1000), 2))
        L.append(f"{a[-1]:.3f},{b[-1]:.2f}")
    return Made(
        enc(L, "\r\n"), [4e-6 * k for k in range(n)], {"CH1": Fact("voltage", a), "CH2": Fact("current", b)}, tol=1e-9
    )


@case
def scope_side_preamble() -> Made:
    pre = [
        ("Record Length", "2500"),
        ("Sample Interval", "2.0E-05"),
        ("Trigger Point", "1250"),
        ("", ""),
        ("Source", "CH1"),
        ("Vertical Units", "V"),
        ("Vertical Scale", "5.0"),
        ("Vertical Offset", "0.0"),
        ("Horizontal Units", "s"),
        ("Horizontal Scale", "5.0E-03"),
        ("Probe Atten", "10"),
        ("Note", "none"),
    ]
    L = []
    T = []
    V = []
    for k in range(2500):
        p = pre[k] if k < len(pre) else ("", "")
        T.append(-0.025 + 2e-5 * k)
        V.append(round(6 + 6 * math.sin(k / 40), 2))
        L.append(f"{p[0]},{p[1]},,{T[-1]:.6f},{V[-1]:.2f}")
    return Made(enc(L), T, {}, either=True, tol=1e-8)


@case
def scope_units_row_four() -> Made:
    n = 4000
    L = ["Time,Channel A,Channel B,Channel C,Channel D", "(ms),(V),(mV),(A),(V)", ""]
    T = []
    S = [[], [], [], []]
    for k in range(n):
        t = -5 + 0.0025 * k
        x = [5 * math.sin(k / 90), 250 * math.cos(k / 70), 12 + 11 * math.sin(k / 300), 3.3]
        T.append(t / 1000)
        L.append(f"{t:.4f},{x[0]:.5f},{x[1]:.4f},{x[2]:.4f},{x[3]:.4f}")
        for j in range(4):
            S[j].append(float(f"{x[j]:.5f}" if j == 0 else f"{x[j]:.4f}"))
    return Made(
        enc(L, "\r\n"),
        T,
        {
            "Channel A": Fact("voltage", S[0]),
            "Channel B": Fact("voltage", [x / 1000 for x in S[1]], S[1]),
            "Channel C": Fact("current", S[2]),
            "Channel D": Fact("voltage", S[3]),
        },
        tol=1e-8,
    )


@case
def scope_start_increment() -> Made:
    L = ["X,CH1,CH2,Start,Increment", "Sequence,Volt,Ampere,-1.200000e-03,1.000000e-06"]
    a = []
    b = []
    for k in range(2400):
        a.append(round(3.3 * (k % 200 < 100) + 0.01 * (k % 3), 3))
        b.append(round(0.1 * (k % 50), 3))
        L.append(f"{k},{a[-1]:.3f},{b[-1]:.3f},,")
    return Made(
        enc(L),
        [1e-6 * k for k in range(2400)],
        {"CH1": Fact("voltage", a), "CH2": Fact("current", b)},
        tol=1e-9,
        either=True,
    )


@case
def scope_adc_codes() -> Made:
    L = [
        "Volts per div: 5.0",
        "Offset: 0.0",
        "Code per div: 25",
        "Time base: 1 ms/div",
        "Sample rate: 250 kSa/s",
        "CH1 (raw)",
    ]
    c = []
    for k in range(3000):
        c.append(float(int(128 + 90 * math.sin(k / 60))))
        L.append(f"{int(c[-1])}")
    return Made(enc(L), [4e-6 * k for k in range(3000)], {"CH1 (raw)": Fact("any", c)}, tol=1e-9)


@case
def scope_fast_float() -> Made:
    L = ["Second,Volt,Volt"]
    T = []
    a = []
    b = []
    for k in range(5000):
        T.append(float(f"{-1e-5 + 2e-9 * k:.6e}"))
        a.append(float(f"{1.65 * math.tanh((k - 2000) / 80) + 1.65:.4e}"))
        b.append(float(f"{0.02 * math.sin(k / 11):.4e}"))
        L.append(f"{T[-1]:.6e},{a[-1]:.4e},{b[-1]:.4e}")
    return Made(enc(L), T, {}, tol=1e-12)


@case
def daq_own_times() -> Made:
    L = ["Voltage Time (s),Voltage (V),Current Time (s),Current (A),Temp Time (s),Temp (°C)"]
    A, V, H = drive(2000, 0.01, 25)
    for k in range(2000):
        L.append(
            f"{0.01 * k:.3f},{V[k]:.3f},"
            + (f"{0.0203 * k + 0.002:.4f},{A[k]:.2f}," if k < 985 else ",,")
            + (f"{k * 1.0:.1f},{H[k]:.1f}" if k < 20 else ",")
        )
    return Made(
        enc(L),
        [0.01 * k for k in range(2000)],
        {
            "Voltage (V)": Fact("voltage", V, None, PV),
            "Current (A)": Fact("current", A[:985], None, PC),
            "Temp (°C)": Fact("temperature", H[:20]),
        },
    )


@case
def daq_same_names() -> Made:
    A, V, _H = drive(1000, 0.02, 26)
    L = ["Bus voltage\t\tShunt current\t", "Time\tValue\tTime\tValue", "s\tV\ts\tA"]
    for k in range(1000):
        L.append(f"{de(0.02 * k, 3)}\t{de(V[k], 3)}\t{de(0.02 * k + 0.0051, 4)}\t{de(A[k], 2)}")
    return Made(enc(L), [0.02 * k for k in range(1000)], {}, either=True)


@case
def power_meter_kW() -> Made:
    A, V, _H = drive(N, 0.2, 27)
    L = ['"Store No.","Date","Time","Urms1[V]","Irms1[A]","P1[kW]","WP1[Wh]","Status"']
    w = 0
    P = []
    W = []
    for k in range(N):
        d = START + timedelta(seconds=0.2 * k)
        P.append(round(V[k] * A[k] / 1000, 5))
        w += P[-1] * 1000 * 0.2 / 3600
        W.append(round(w, 4))
        L.append(
            f'{k + 1},"{d:%Y/%m/%d}","{d:%H:%M:%S}.{d.microsecond // 1000:03d}",'
            f'{V[k]:.3f},{A[k]:.2f},{P[-1]:.5f},{w:.4f},"----"'
        )
    return Made(
        enc(L, "\r\n"),
        [0.2 * k for k in range(N)],
        {
            "Urms1[V]": Fact("voltage", V),
            "Irms1[A]": Fact("current", A),
            "P1[kW]": Fact("power", [p * 1000 for p in P], P),
            "WP1[Wh]": Fact("energy", W),
        },
    )


@case
def load_discharge() -> Made:
    r = random.Random(28)
    L = ["Discharge test", "Cut-off: 3,00 V", "Current: 10,00 A", "", "Elapsed [h:m:s];U [V];I [A];P [W];C [Ah];E [Wh]"]
    U = []
    amps = []
    c = e = 0
    C = []
    E = []
    for k in range(3000):
        U.append(round(soc_volts(1 - k / 3100, 4) + r.gauss(0, 0.002), 3))
        amps.append(round(10 + r.gauss(0, 0.002), 3))
        c += amps[-1] / 3600
        e += amps[-1] * U[-1] / 3600
        C.append(round(c, 4))
        E.append(round(e, 3))
        L.append(f"{hms(k, 0, 1)};{de(U[-1], 3)};{de(amps[-1], 3)};{de(U[-1] * amps[-1], 2)};{de(c, 4)};{de(e, 3)}")
    return Made(
        enc(L, "\r\n", "latin-1"),
        [float(k) for k in range(3000)],
        {
            "U [V]": Fact("voltage", U, None, PV),
            "I [A]": Fact("current", amps, None, PC),
            "C [Ah]": Fact("charge", [1000 * c for c in C], C),
            "P [W]": Fact("power", [round(u * i, 2) for u, i in zip(U, amps, strict=False)]),
            "E [Wh]": Fact("energy", E),
        },
    )


@case
def load_constant_exact() -> Made:
    L = ["Time(S),Voltage(V),Current(A),Capacity(Ah)"]
    U = []
    for k in range(3000):
        U.append(round(soc_volts(1 - k / 3100, 1), 3))
        L.append(f"{k},{U[-1]:.3f},10.000,{k * 10 / 3600:.3f}")
    return Made(
        enc(L),
        [float(k) for k in range(3000)],
        {
            "Voltage(V)": Fact("voltage", U, None, (*PV, "cell1_voltage_V")),
            "Current(A)": Fact("current", [10.0] * 3000, None, PC),
            "Capacity(Ah)": Fact("charge", [1000 * round(k * 10 / 3600, 3) for k in range(3000)]),
        },
    )


@case
def load_sample_number() -> Made:
    L = ["Interval: 2 s", "No.,Voltage(V),Current(A),Capacity(mAh)"]
    U = []
    amps = []
    r = random.Random(29)
    for k in range(1000):
        U.append(round(soc_volts(1 - k / 1100, 3), 3))
        amps.append(round(5 + r.gauss(0, 0.01), 3))
        L.append(f"{k + 1},{U[-1]:.3f},{amps[-1]:.3f},{k * 2 * 5 / 3.6:.1f}")
    return Made(
        enc(L),
        [2.0 * k for k in range(1000)],
        {
            "Voltage(V)": Fact("voltage", U, None, PV),
            "Current(A)": Fact("current", amps, None, PC),
            "Capacity(mAh)": Fact("charge", [round(k * 2 * 5 / 3.6, 1) for k in range(1000)]),
        },
    )


@case
def dyno_points() -> Made:
    L = ["Speed [1/min];Torque [Nm];P mech [kW];U dc [V];I dc [A];Efficiency [%]"]
    for k in range(40):
        t = 0.1 * k
        L.append(
            f"{9000 - 120 * k};{de(t, 2)};{de(t * (9000 - 120 * k) / 9549, 3)};"
            f"{de(24 - 0.02 * k, 2)};{de(2 + 4.3 * k, 1)};{de(80 - abs(k - 20), 1)}"
        )
    return Made(enc(L), refuse=True)


@case
def dyno_time() -> Made:
    L = ["Time [s];Speed [1/min];Torque [Nm];P mech [kW];U dc [V];I dc [A];Winding [°C]"]
    S = []
    U = []
    amps = []
    W = []
    for k in range(1200):
        s = round(8000 - 3 * k + 20 * math.sin(k / 9))
        t = 0.002 * k
        u = round(25 - 0.002 * k, 2)
        i = round(2 + 0.08 * k, 1)
        w = round(30 + 0.03 * k, 1)
        S.append(float(s))
        U.append(u)
        amps.append(i)
        W.append(w)
        L.append(f"{de(0.1 * k, 1)};{s};{de(t, 3)};{de(t * s / 9549, 4)};{de(u, 2)};{de(i, 1)};{de(w, 1)}")
    return Made(
        enc(L, e="cp1252"),
        [round(0.1 * k, 1) for k in range(1200)],
        {
            "Speed [1/min]": Fact("speed", S),
            "U dc [V]": Fact("voltage", U),
            "I dc [A]": Fact("current", amps),
            "Winding [°C]": Fact("temperature", W),
        },
    )


@case
def thrust_stand() -> Made:
    r = random.Random(30)
    L = [
        "Time (s),Command (µs),Torque (N·m),Thrust (kgf),Voltage (V),Current "
        "(A),Electrical speed (RPM),Optical speed (RPM),Vibration (g),Notes"
    ]
    T = []
    V = []
    A = []
    shaft = []
    for k in range(900):
        c = 1000 + k
        a = round(0.05 * k * (1 + r.gauss(0, 0.01)), 3)
        v = round(25 - 0.02 * a, 3)
        o = round(12 * k)
        T.append(round(0.1 * k + r.uniform(0, 0.01), 4))
        V.append(v)
        A.append(a)
        shaft.append(float(o))
        L.append(
            f"{T[-1]},{c},{0.002 * k:.4f},{0.004 * k:.4f},{v},{a},"
            f"{o * 7},{o},{0.1:.2f},{'step' if k % 100 == 0 else ''}"
        )
    return Made(
        enc(L),
        T,
        {
            "Voltage (V)": Fact("voltage", V, None, PV),
            "Current (A)": Fact("current", A, None, PC),
            "Optical speed (RPM)": Fact("speed", shaft),
            "Electrical speed (RPM)": Fact("speed", [o * 7 for o in shaft], [o * 7 for o in shaft], ("nothing",)),
            "Vibration (g)": Fact("acceleration", [0.1] * 900),
            "Command (µs)": Fact("any", [1000.0 + k for k in range(900)], [1000.0 + k for k in range(900)]),
        },
    )


@case
def si_suffix_values() -> Made:
    L = ["time,vbus,ibus"]
    V = []
    A = []
    for k in range(N):
        a = 10 ** (-4 + 4.5 * k / N)
        s = f"{a * 1e6:.0f}uA" if a < 1e-3 else f"{a * 1e3:.2f}mA" if a < 1 else f"{a:.3f}A"
        x = float(s.rstrip("uAm")) * (1e-6 if "u" in s else 1e-3 if "m" in s else 1)
        A.append(x)
        V.append(round(5 - 0.05 * a, 3))
        L.append(f"{k * 0.1:.1f}s,{V[-1]:.3f}V,{s}")
    return Made(enc(L), [0.1 * k for k in range(N)], {"vbus": Fact("voltage", V), "ibus": Fact("current", A)})


@case
def negative_in_brackets() -> Made:
    A, V, _H = drive(N, 1, 31)
    L = ["Time (s),Volts,Amps"] + [
        f'{k},"{V[k]:.3f}","({A[k]:.2f})"' if A[k] > 0 else f'{k},"{V[k]:.3f}","{-A[k]:.2f}"' for k in range(N)
    ]
    return Made(
        enc(L),
        [float(k) for k in range(N)],
        {"Volts": Fact("voltage", V, None, PV), "Amps": Fact("current", A, [-a for a in A], PC)},
    )


@case
def trailing_minus() -> Made:
    A, V, _H = drive(N, 1, 32)
    L = ["Time (s);Volts;Amps"] + [f"{k};{de(V[k], 3)};{de(abs(A[k]), 2)}{'-' if A[k] > 0 else ''}" for k in range(N)]
    return Made(
        enc(L),
        [float(k) for k in range(N)],
        {"Volts": Fact("voltage", V, None, PV), "Amps": Fact("current", A, [-a for a in A], PC)},
    )


@case
def d_exponent() -> Made:
    A, V, _H = drive(N, 1, 33)

    def f(x):
        return f"{x:.6E}".replace("E", "D")

    L = ["   TIME(S)        VOLT(V)        AMP(A)"] + [f"  {f(k)}   {f(V[k])}   {f(A[k])}" for k in range(N)]
    return Made(
        enc(L),
        [float(k) for k in range(N)],
        {"VOLT(V)": Fact("voltage", V, None, PV), "AMP(A)": Fact("current", A, None, PC)},
        file="run.txt",
    )
