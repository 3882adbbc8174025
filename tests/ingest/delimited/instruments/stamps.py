"""Stamps as loggers write them: times of day, wraps, days of the year, integers for dates. All values are invented."""

from __future__ import annotations

from datetime import datetime, timedelta

from tests.ingest.delimited.instruments.made import PV, START, VI, Fact, Made, case, de, drive, enc


@case
def stamp_comma_ms() -> Made:
    A, V, _H = drive(900, 0.25, 67)
    L = ["Datum Uhrzeit;U Akku [V];I Akku [A];Drehzahl [1/min]"]
    for k in range(900):
        d = START + timedelta(seconds=0.25 * k)
        L.append(f"{d:%d.%m.%Y %H:%M:%S},{d.microsecond // 1000:03d};{de(V[k], 3)};{de(A[k], 2)};{3000 + k}")
    return Made(
        enc(L),
        [0.25 * k for k in range(900)],
        VI(V, A, "U Akku [V]", "I Akku [A]") | {"Drehzahl [1/min]": Fact("speed", [3000.0 + k for k in range(900)])},
    )


@case
def colon_ms() -> Made:
    A, V, _H = drive(900, 0.25, 68)
    L = ["Time,Volts,Amps"]
    for k in range(900):
        d = START + timedelta(seconds=0.25 * k)
        L.append(f"{d:%H:%M:%S}:{d.microsecond // 1000:03d},{V[k]},{A[k]}")
    return Made(enc(L), [0.25 * k for k in range(900)], VI(V, A, "Volts", "Amps"))


@case
def minutes_seconds_wrap() -> Made:
    A, V, _H = drive(3000, 0.5, 69)
    L = ["Time,Volts,Amps"] + [
        f"{int((3000 + 0.5 * k) % 3600 // 60):02d}:{(3000 + 0.5 * k) % 60:04.1f},{V[k]},{A[k]}" for k in range(3000)
    ]
    return Made(enc(L), [0.5 * k for k in range(3000)], VI(V, A, "Volts", "Amps"))


@case
def twelve_hours_no_word() -> Made:
    A, V, _H = drive(900, 1, 70)
    L = ["Time,Volts,Amps"]
    for k in range(900):
        d = datetime(2026, 3, 14, 12, 55) + timedelta(seconds=k)
        L.append(f"{d.hour % 12 or 12}:{d:%M:%S},{V[k]},{A[k]}")
    return Made(enc(L), [float(k) for k in range(900)], VI(V, A, "Volts", "Amps"))


@case
def clocks_go_back() -> Made:
    A, V, _H = drive(900, 1, 71)
    L = ["Local time,Volts,Amps"]
    for k in range(900):
        d = datetime(2026, 10, 25, 2, 55) + timedelta(seconds=k - (3600 if k >= 300 else 0))
        L.append(f"{d:%Y-%m-%d %H:%M:%S},{V[k]},{A[k]}")
    return Made(
        enc(L),
        [float(k) for k in range(900)],
        VI(V, A, "Volts", "Amps"),
        splits=True,
        must_say=("clock_backward", "clock_restart"),
    )


@case
def day_first_midnight() -> Made:
    A, V, _H = drive(900, 1, 72)
    L = ["Date,Time,Volts,Amps"]
    for k in range(900):
        d = datetime(2026, 6, 5, 23, 55) + timedelta(seconds=k)
        L.append(f"{d:%d/%m/%Y},{d:%H:%M:%S},{V[k]},{A[k]}")
    return Made(enc(L), [float(k) for k in range(900)], VI(V, A, "Volts", "Amps"))


@case
def hhmmss_number() -> Made:
    _A, V, _H = drive(900, 0.5, 73)
    L = ["UTC,Lat,Lon,Speed (km/h),Battery (V)"]
    for k in range(900):
        d = START + timedelta(seconds=0.5 * k)
        L.append(
            f"{d:%H%M%S}.{d.microsecond // 10000:02d},"
            f"{4812.3456 + k * 0.0001:.4f},{1131.2345:.4f},{12 + k % 7:.1f},{V[k]}"
        )
    return Made(enc(L), [0.5 * k for k in range(900)], {"Battery (V)": Fact("voltage", V, None, PV)})


@case
def date_time_integers() -> Made:
    A, V, _H = drive(900, 1, 74)
    L = ["DATE,TIME,VOLT,AMP"]
    for k in range(900):
        d = datetime(2026, 3, 14, 9, 58) + timedelta(seconds=k)
        L.append(f"{d:%Y%m%d},{int(f'{d:%H%M%S}')},{V[k]},{A[k]}")
    return Made(enc(L), [float(k) for k in range(900)], VI(V, A, "VOLT", "AMP"))


@case
def hours_rounded() -> Made:
    A, V, _H = drive(1200, 1, 75)
    L = ["Time (h),Voltage (V),Current (A)"] + [f"{k / 3600:.6f},{V[k]},{A[k]}" for k in range(1200)]
    return Made(enc(L), [float(k) for k in range(1200)], VI(V, A), tol=3e-3)


@case
def epoch_whole_seconds() -> Made:
    A, V, _H = drive(1200, 0.1, 76)
    L = ["epoch,volts,amps"] + [f"{1773480413 + k // 10},{V[k]},{A[k]}" for k in range(1200)]
    return Made(
        enc(L),
        [float(k // 10) for k in range(1200)],
        VI(V, A, "volts", "amps"),
        splits=True,
        must_say=("clock_duplicate",),
    )


@case
def six_columns() -> Made:
    A, V, _H = drive(900, 1, 77)
    L = ["Year,Month,Day,Hour,Minute,Second,Volts,Amps"]
    for k in range(900):
        d = datetime(2026, 3, 14, 9, 58) + timedelta(seconds=k)
        L.append(f"{d.year},{d.month},{d.day},{d.hour},{d.minute},{d.second},{V[k]},{A[k]}")
    return Made(enc(L), [float(k) for k in range(900)], VI(V, A, "Volts", "Amps"))


@case
def day_of_year() -> Made:
    A, V, _H = drive(900, 60, 78)
    L = ["Year,Day of year,HHMM,Volts,Amps"]
    for k in range(900):
        d = datetime(2026, 3, 14, 9, 58) + timedelta(minutes=k)
        L.append(f"{d.year},{d.timetuple().tm_yday},{d.hour * 100 + d.minute},{V[k]},{A[k]}")
    return Made(enc(L), [60.0 * k for k in range(900)], VI(V, A, "Volts", "Amps"), either=True)
