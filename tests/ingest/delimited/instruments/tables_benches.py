"""Exports of motor benches, oscilloscopes and data loggers, each with the table that it was made from."""

from __future__ import annotations

import math
from datetime import datetime, timedelta

from tests.ingest.delimited.instruments.tables import Told, comma, drive, lines, rounded, told


@told
def dyno_german() -> Told:
    n = 100
    t = [k * 0.1 for k in range(n)]
    rpm = [1000 + 20 * k for k in range(n)]
    tq = [2 + 0.01 * k for k in range(n)]
    u = [48 - 0.01 * k for k in range(n)]
    i = [5 + 0.2 * k for k in range(n)]
    tw = [40 + 0.1 * k for k in range(n)]
    out = [
        "Prüfstand 2;;;;;;",
        "Zeit [s];Drehzahl [1/min];Drehmoment [Nm];Spannung [V];Strom [A];Wirkungsgrad [%];Wicklungstemperatur [°C]",
    ]
    for k in range(n):
        out.append(
            ";".join(
                [
                    comma(t[k], 1),
                    f"{rpm[k] / 1000:.3f}".replace(".", ".") if False else comma(rpm[k], 1),
                    comma(tq[k], 3),
                    comma(u[k], 2),
                    comma(i[k], 2),
                    comma(80.5, 1),
                    comma(tw[k], 1),
                ]
            )
        )
    return Told(
        "pruefstand.csv",
        ("\r\n".join(out) + "\r\n").encode("cp1252"),
        t=t,
        ch={"pack_voltage_V": rounded(u, 2), "pack_current_A": rounded(i, 2)},
        maybe={"motor_temp_degC": rounded(tw, 1)},
        cols={"Drehzahl [1/min]": rpm, "Drehmoment [Nm]": rounded(tq, 3), "Wicklungstemperatur [°C]": rounded(tw, 1)},
    )


@told
def dyno_points() -> Told:
    rows = [
        [
            "Point",
            "Speed (rpm)",
            "Torque (Nm)",
            "DC voltage (V)",
            "DC current (A)",
            "P_el (W)",
            "P_mech (W)",
            "Efficiency (%)",
        ]
    ]
    n = 40
    v = []
    a = []
    for k in range(n):
        s = 500 * (1 + k // 5)
        q = 0.2 * (1 + k % 5)
        pm = s * 2 * math.pi / 60 * q
        pe = pm / 0.8
        v.append(36.0)
        a.append(round(pe / 36, 3))
        rows.append([k + 1, s, f"{q:.2f}", "36.0", f"{pe / 36:.3f}", f"{pe:.1f}", f"{pm:.1f}", "80.0"])
    return Told(
        "map.csv",
        lines(rows),
        t=None,
        rows=n,
        maybe={"pack_voltage_V": v, "pack_current_A": a, "pack_power_W": [float(r[5]) for r in rows[1:]]},
    )


@told
def phase_currents() -> Told:
    n = 400
    t = [k * 0.0001 for k in range(n)]
    rows = [["t", "i_a", "i_b", "i_c", "u_dc", "i_dc", "theta_el"], ["s", "A", "A", "A", "V", "A", "rad"]]
    ud = []
    idc = []
    for k in range(n):
        w = 2 * math.pi * 100 * t[k]
        ud.append(round(48 - 0.05 * math.sin(w * 6), 3))
        idc.append(round(12 + 0.5 * math.sin(w * 6), 3))
        rows.append(
            [f"{t[k]:.4e}"]
            + [f"{20 * math.cos(w - p * 2 * math.pi / 3):.3f}" for p in range(3)]
            + [ud[-1], idc[-1], f"{w % (2 * math.pi):.4f}"]
        )
    return Told("inverter.csv", lines(rows), t=t, ch={}, maybe={"pack_voltage_V": ud, "pack_current_A": idc})


@told
def dyno_temps() -> Told:
    n = 120
    t = [k * 5.0 for k in range(n)]
    warm = [[20 + j + 0.05 * k for k in range(n)] for j in range(8)]
    out = [
        "Elapsed time,T1 winding,T2 winding,T3 housing,T4 bearing DE,T5 be"
        "aring NDE,T6 inverter,T7 coolant in,T8 ambient,Speed,Shaft torque",
        "hh:mm:ss,degC,degC,degC,degC,degC,degC,degC,degC,rpm,N.m",
    ]
    for k in range(n):
        out.append(
            f"{int(t[k]) // 3600:02d}:{int(t[k]) // 60 % 60:02d}:{int(t[k]) % 60:02d},"
            + ",".join(f"{warm[j][k]:.2f}" for j in range(8))
            + ",3000,12.5"
        )
    return Told(
        "heat_run.csv",
        "\n".join(out) + "\n",
        t=t,
        cols={"T1 winding": rounded(warm[0], 2), "T3 housing": rounded(warm[2], 2)},
        maybe={},
    )


@told
def thrust_stand() -> Told:
    t, amps, volts, _warm, _used = drive(150, 0.04, cells=6, peak=30, r=0.004)
    rows = [
        [
            "Time (s)",
            "Throttle (us)",
            "Thrust (gf)",
            "Torque (mN·m)",
            "Supply voltage (V)",
            "Supply current (A)",
            "Optical speed (rpm)",
            "Power in (W)",
            "App message",
        ]
    ]
    for k in range(150):
        rows.append(
            [
                f"{t[k]:.2f}",
                1000 if amps[k] == 0 else 1500,
                f"{amps[k] * 40:.1f}",
                f"{amps[k] * 8:.1f}",
                f"{volts[k]:.3f}",
                f"{amps[k]:.3f}",
                round(amps[k] * 300),
                f"{amps[k] * volts[k]:.2f}",
                "",
            ]
        )
    return Told(
        "steps_test.csv",
        lines(rows),
        t=t,
        ch={"pack_voltage_V": rounded(volts, 3), "pack_current_A": rounded(amps, 3)},
        maybe={"pack_power_W": [round(i * v, 2) for i, v in zip(amps, volts, strict=False)]},
    )


@told
def scope_block_left() -> Told:
    n = 500
    dt = 4e-06
    t = [-0.001 + k * dt for k in range(n)]
    v = [round(0.02 * math.sin(k / 7), 4) for k in range(n)]
    hd = [
        ("Points", "500"),
        ("Interval", "4.0E-06"),
        ("Trigger point", "250"),
        ("Source", "CH1"),
        ("Vertical units", "V"),
        ("Vertical scale", "1.0E-02"),
        ("Horizontal units", "s"),
        ("Probe", "1.0"),
    ]
    out = []
    for k in range(n):
        a, b = hd[k] if k < len(hd) else ("", "")
        out.append(f"{a},{b},,{t[k]:.9f},{v[k]:.4f}")
    return Told("F0004CH1.CSV", "\n".join(out) + "\n", t=t)


@told
def scope_interval_head() -> Told:
    n = 600
    v1 = [round(12 + 0.5 * math.sin(k / 20), 3) for k in range(n)]
    v2 = [round(0.1 * math.cos(k / 9), 3) for k in range(n)]
    out = [
        "Model,Bench scope",
        "Record length,600",
        "Sample interval,1.00E-04",
        "Time unit,s",
        "Trigger position,300",
        "Channel,CH1,CH2",
        "Vertical scale,5.00E+00,1.00E-01",
        "Vertical unit,V,V",
        "Data,,",
    ] + [f",{v1[k]:.3f},{v2[k]:.3f}" for k in range(n)]
    return Told("scope_dump.csv", "\n".join(out) + "\n", t=[k * 0.0001 for k in range(n)])


@told
def scope_second_volt() -> Told:
    n = 400
    t = [-0.02 + k * 0.0001 for k in range(n)]
    v = [round(5 * (k > 200) + 0.01 * (k % 3), 4) for k in range(n)]
    out = ["x-axis,1,2", "second,Volt,Volt"] + [f"{t[k]:+.8E},{v[k]:+.5E},{0.5 * v[k]:+.5E}" for k in range(n)]
    return Told("scope_3.csv", "\n".join(out) + "\n", t=t)


@told
def scope_de_sci() -> Told:
    n = 300
    t = [-0.00015 + k * 1e-06 for k in range(n)]
    v = [round(24 + 0.3 * math.sin(k / 5), 3) for k in range(n)]
    out = ["in s;C1 in V;C2 in A"] + [f"{t[k]:.6E};{v[k]:.3E};{1.0:.3E}".replace(".", ",") for k in range(n)]
    return Told("RefCurve.csv", "\r\n".join(out) + "\r\n", t=t, cols={"C1 in V": [float(f"{x:.3E}") for x in v]})


@told
def scope_infinity() -> Told:
    n = 300
    t = [-5 + k * 0.05 for k in range(n)]
    v = [None if k in (50, 51) else round(10 * math.sin(k / 30), 4) for k in range(n)]
    out = ["Time,Channel A,Channel B", "(ms),(V),(mV)", ""] + [
        f"{t[k]:.8f},{('∞' if v[k] is None else format(v[k], '.8f'))},{k % 50:.8f}" for k in range(n)
    ]
    return Told("capture_01.csv", "\n".join(out) + "\n", t=[x / 1000 for x in t], cols={"Channel A": v})


@told
def scope_start_increment() -> Told:
    n = 500
    t = [-0.006 + k * 2e-05 for k in range(n)]
    out = ["X,CH1,CH2,Start,Increment,", "Sequence,Volt,Volt,-6.000000e-03,2.000000e-05"] + [
        f"{k},{3.3 * (k % 2):.2e},{0.1:.2e},," for k in range(n)
    ]
    return Told("NewFile1.csv", "\n".join(out) + "\n", t=t)


@told
def daq_german_dates() -> Told:
    t, amps, volts, warm, _used = drive(100, 1.0, cells=6, peak=20, r=0.01)
    t0 = datetime(2023, 11, 12, 23, 59, 10)
    out = ["Datum;Uhrzeit;Batteriespannung [V];Batteriestrom [A];Kühlkörper [°C]"] + [
        f"{(t0 + timedelta(seconds=x)).strftime('%d.%m.%Y;%H:%M:%S')}"
        f";{comma(volts[k], 2)};{comma(amps[k], 2)};{comma(warm[k], 1)}"
        for k, x in enumerate(t)
    ]
    return Told(
        "messung.csv",
        ("\r\n".join(out) + "\r\n").encode("cp1252"),
        t=t,
        ch={"pack_voltage_V": rounded(volts, 2), "pack_current_A": rounded(amps, 2)},
    )


@told
def daq_ampm() -> Told:
    t, amps, volts, _warm, _used = drive(100, 5.0, cells=3, peak=8, r=0.02)
    t0 = datetime(2024, 5, 6, 11, 55, 0)

    def f(d):
        return (
            f"{d.month}/{d.day}/{d.year} {d.hour % 12 or 12}:{d.minute:02d}"
            f":{d.second:02d} {('AM' if d.hour < 12 else 'PM')}"
        )

    out = ['"Date/Time","Battery Voltage (V)","Battery Current (A)","Ambient (°F)"'] + [
        f'"{f(t0 + timedelta(seconds=x))}","{volts[k]:.3f}","{amps[k]:.3f}","{70 + k * 0.1:.1f}"'
        for k, x in enumerate(t)
    ]
    return Told(
        "log_may.csv",
        "\r\n".join(out) + "\r\n",
        t=t,
        ch={"pack_voltage_V": rounded(volts, 3), "pack_current_A": rounded(amps, 3)},
        maybe={"chassis_temp_degC": [(round(70 + k * 0.1, 1) - 32) / 1.8 for k in range(100)]},
    )


@told
def daq_scan_alarm() -> Told:
    t, amps, volts, warm, _used = drive(90, 2.0, cells=4, peak=10, r=0.01)
    t0 = datetime(2024, 2, 3, 8, 0, 0)
    out = [
        "Acquisition started: 03/02/2024 08:00:00",
        "Channels: 3",
        "Scan interval: 2 s",
        "",
        "Scan;Stamp;101 <Pack voltage> (VDC);Alarm 101;102 <Pack"
        " current> (ADC);Alarm 102;103 <Pack temp> (C);Alarm 103",
    ]
    for k, x in enumerate(t):
        out.append(
            f"{k + 1};{(t0 + timedelta(seconds=x)).strftime('%d/%m/%Y %H:%M:%S')}"
            f":{0:03d};{volts[k]:.4f};0;{amps[k]:.4f};{int(amps[k] > 9)};{warm[k]:.2f};0"
        )
    return Told(
        "scan.csv",
        "\n".join(out) + "\n",
        t=t,
        ch={"pack_voltage_V": volts, "pack_current_A": amps, "pack_temp_degC": warm},
    )


@told
def daq_channel_table() -> Told:
    t, amps, volts, warm, _used = drive(100, 0.1, cells=6, peak=40, r=0.005)
    out = [
        "Logger serial,00421",
        "Channel setup",
        "CH1,Pack current,A,scale 1.0",
        "CH2,Pack voltage,V,scale 1.0",
        "CH3,Motor temp,degC,scale 1.0",
        "",
        "Time (s),CH1,CH2,CH3",
    ] + [f"{t[k]:.1f},{amps[k]:.3f},{volts[k]:.3f},{warm[k]:.1f}" for k in range(100)]
    return Told(
        "daq7.csv",
        "\n".join(out) + "\n",
        t=t,
        ch={"pack_voltage_V": rounded(volts, 3), "pack_current_A": rounded(amps, 3)},
        maybe={"motor_temp_degC": rounded(warm, 1)},
        cols={"CH3": rounded(warm, 1)},
    )


@told
def daq_sentinels() -> Told:
    t, amps, volts, _warm, _used = drive(100, 1.0, cells=6, peak=10, r=0.01)
    bad = {30: "OVERFLOW", 31: "OL", 32: "---", 33: "9.9E37", 34: "NaN", 35: "+OVER", 36: "-9.9E+37", 37: "1.#INF"}
    out = ["time_s,pack voltage (V),pack current (A)"] + [
        f"{t[k]:.1f},{volts[k]:.3f},{bad.get(k, f'{amps[k]:.3f}')}" for k in range(100)
    ]
    return Told(
        "daq_ovf.csv",
        "\n".join(out) + "\n",
        t=t,
        ch={
            "pack_voltage_V": rounded(volts, 3),
            "pack_current_A": [None if k in bad else round(amps[k], 3) for k in range(100)],
        },
    )


@told
def daq_stats_footer() -> Told:
    t, amps, volts, _warm, _used = drive(100, 1.0, cells=6, peak=10, r=0.01)
    out = (
        ["Time (s),Pack voltage (V),Pack current (A)"]
        + [f"{t[k]:.1f},{volts[k]:.3f},{amps[k]:.3f}" for k in range(100)]
        + [
            "",
            "Statistics",
            "Minimum,20.1,0.0",
            "Maximum,25.2,10.0",
            "Average,23.0,4.4",
            "Std. dev.,0.55,3.1",
            "Samples,100,100",
        ]
    )
    return Told(
        "stats.csv",
        "\n".join(out) + "\n",
        t=t,
        ch={"pack_voltage_V": rounded(volts, 3), "pack_current_A": rounded(amps, 3)},
    )


@told
def daq_stats_top() -> Told:
    t, amps, volts, _warm, _used = drive(100, 1.0, cells=6, peak=10, r=0.01)
    out = ["Time;Pack voltage;Pack current", "s;V;A", "Min;20.1;0.0", "Max;25.2;10.0", "Mean;23.0;4.4"] + [
        f"{t[k]:.1f};{volts[k]:.3f};{amps[k]:.3f}" for k in range(100)
    ]
    return Told(
        "stats_top.csv",
        "\n".join(out) + "\n",
        t=t,
        ch={"pack_voltage_V": rounded(volts, 3), "pack_current_A": rounded(amps, 3)},
    )


@told
def fr_thin_space() -> Told:
    t, amps, volts, _warm, _used = drive(100, 0.5, cells=12, peak=50, r=0.01)
    watts = [round(v * i, 1) for v, i in zip(volts, amps, strict=False)]

    def fr(x, nd):
        return f"{x:,.{nd}f}".replace(",", " ").replace(".", ",")

    out = ["Temps (s);Tension batterie (V);Courant batterie (A);Puissance (W)"] + [
        f"{fr(t[k], 1)};{fr(volts[k], 2)};{fr(amps[k], 2)};{fr(watts[k], 1)}" for k in range(100)
    ]
    return Told(
        "essai.csv",
        "\r\n".join(out) + "\r\n",
        t=t,
        ch={"pack_voltage_V": rounded(volts, 2), "pack_current_A": rounded(amps, 2)},
        maybe={"pack_power_W": watts},
        cols={"Puissance (W)": watts},
    )


@told
def ch_apostrophe() -> Told:
    t, amps, volts, _warm, _used = drive(100, 20.0, cells=12, peak=50, r=0.01)
    watts = [round(v * i, 1) for v, i in zip(volts, amps, strict=False)]

    def ch(x, nd):
        return f"{x:,.{nd}f}".replace(",", "'")

    out = ["Zeit (s);Packspannung (V);Packstrom (A);Leistung (W)"] + [
        f"{ch(t[k], 1)};{ch(volts[k], 2)};{ch(amps[k], 2)};{ch(watts[k], 1)}" for k in range(100)
    ]
    return Told(
        "messreihe.csv",
        "\r\n".join(out) + "\r\n",
        t=t,
        ch={"pack_voltage_V": rounded(volts, 2), "pack_current_A": rounded(amps, 2)},
        maybe={"pack_power_W": watts},
        cols={"Leistung (W)": watts},
    )


@told
def sep_line() -> Told:
    t, amps, volts, _warm, _used = drive(100, 0.5, cells=3, peak=5, r=0.02)
    out = ["sep=;", "Time [ms];Battery [mV];Current [mA];Note"] + [
        f"{int(t[k] * 1000)};{round(volts[k] * 1000)};{round(amps[k] * 1000)};" for k in range(100)
    ]
    return Told(
        "export.csv",
        "\ufeff" + "\r\n".join(out) + "\r\n",
        t=t,
        ch={
            "pack_voltage_V": [round(v * 1000) / 1000 for v in volts],
            "pack_current_A": [round(i * 1000) / 1000 for i in amps],
        },
    )


@told
def utf16_units() -> Told:
    t, amps, volts, warm, _used = drive(100, 0.5, cells=3, peak=5, r=0.02)
    out = ["Project:\tBench 4", "Operator:\tN. N.", "", "Time\tU_batt\tI_batt\tT_amb", "[s]\t[V]\t[A]\t[°C]"] + [
        f"{t[k]:.1f}\t{volts[k]:.3f}\t{amps[k]:.3f}\t{warm[k]:.2f}" for k in range(100)
    ]
    return Told(
        "bench4.txt",
        ("\r\n".join(out) + "\r\n").encode("utf-16"),
        t=t,
        ch={"pack_voltage_V": rounded(volts, 3), "pack_current_A": rounded(amps, 3)},
        maybe={"chassis_temp_degC": warm},
    )
