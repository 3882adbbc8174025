"""Exports written after the reader had been mended on the others: what they showed was mended too."""

from __future__ import annotations

import math
from datetime import datetime, timedelta

from tests.ingest.delimited.exports import (
    H_,
    I_,
    ROWS,
    START,
    V_,
    A,
    Export,
    H,
    Meant,
    Q,
    T,
    V,
    de,
    elapsed,
    export,
    rows,
)

WHOLE = [float(k) for k in range(ROWS)]
PACK = [Meant("Pack voltage (V)", V_, V), Meant("Pack current (A)", I_, A)]
HEAD = "Time (s),Pack voltage (V),Pack current (A)\n"


@export
def logger_with_boot_lines() -> Export:
    """A home-made logger prints its start among the rows of a terminal."""
    head = "ets reset, boot mode 3\r\nSD ok\r\nfile LOG017.CSV\r\nt_ms;vbat_mV;ibat_mA;temp_C\r\n"
    body = rows(lambda k: f"{round(1e3 * T[k])};{round(1e3 * V[k])};{round(1e3 * A[k])};{H[k]}", "\r\n")
    columns = [Meant("vbat_mV", V_, V), Meant("ibat_mA", I_, A), Meant("temp_C")]
    return Export("logger_with_boot_lines", (head + body).encode(), T, columns, (V_, I_))


@export
def key_and_value_in_each_cell() -> Export:
    body = rows(lambda k: f"t={T[k]} V={V[k]} I={A[k]} T={H[k]}")
    columns = [Meant("V", V_, V), Meant("I", I_, A), Meant("T", None)]
    return Export("key_and_value_in_each_cell", body.encode(), T, columns, (V_, I_))


@export
def italian_cycler() -> Export:
    head = "Prova;scarica\nCampione;batteria 2\n\nTempo (s);Tensione batteria (V);"
    head += "Corrente batteria (A);Temperatura batteria (°C)\n"
    body = rows(lambda k: f"{de(T[k], 1)};{de(V[k], 3)};{de(-A[k], 2)};{de(H[k], 1)}")
    columns = [
        Meant("Tensione batteria (V)", V_, V), Meant("Corrente batteria (A)", I_, A),
        Meant("Temperatura batteria (°C)", H_, H),
    ]  # fmt: skip
    return Export("italian_cycler", (head + body).encode(), T, columns)


@export
def spanish_charger_with_words() -> Export:
    head = "Tiempo;Voltaje batería;Corriente batería;Estado\n"
    body = rows(lambda k: f"{elapsed(T[k])};{de(V[k], 2)} V;{de(A[k], 2)} A;descarga")
    columns = [
        Meant("Voltaje batería", V_, [round(v, 2) for v in V]), Meant("Corriente batería", I_, A), Meant("Estado"),
    ]  # fmt: skip
    return Export("spanish_charger_with_words", (head + body).encode("cp1252"), T, columns)


@export
def sums_under_each_page() -> Export:
    """Figures are added up under every twenty rows, in the same columns, behind a word."""
    text = "Time (s);Pack voltage (V);Pack current (A)\n"
    for page in range(4):
        text += "".join(f"{T[k]};{V[k]};{A[k]}\n" for k in range(20 * page, 20 * page + 20))
        text += f"Mean;{sum(V[20 * page : 20 * page + 20]) / 20:.3f};{sum(A[20 * page : 20 * page + 20]) / 20:.2f}\n"
    return Export("sums_under_each_page", text.encode(), T, PACK, (V_, I_))


@export
def two_packs_side_by_side() -> Export:
    head = "Time (s),Pack 1 voltage (V),Pack 1 current (A),Pack 2 voltage (V),Pack 2 current (A)\n"
    body = rows(lambda k: f"{T[k]},{V[k]},{A[k]},{V[k] - 0.4:.3f},{A[k] * 0.9:.2f}")
    names = ("Pack 1 voltage (V)", "Pack 1 current (A)", "Pack 2 voltage (V)", "Pack 2 current (A)")
    return Export("two_packs_side_by_side", (head + body).encode(), T, [Meant(n) for n in names])


@export
def power_and_resistance_worked_out() -> Export:
    """A spreadsheet's own columns behind the measured ones: they are no measurement of the pack."""
    head = "Time (s),Pack voltage (V),Pack current (A),V/I (ohm),Voltage drop (V)\n"
    body = rows(lambda k: f"{T[k]},{V[k]},{A[k]},{V[k] / A[k]:.4f},{V[0] - V[k]:.3f}")
    columns = [*PACK, Meant("V/I (ohm)"), Meant("Voltage drop (V)")]
    return Export("power_and_resistance_worked_out", (head + body).encode(), T, columns, (V_, I_))


@export
def exponent_with_a_letter_of_its_own() -> Export:
    body = rows(lambda k: f"{T[k]:.4E},{V[k]:.5E},{A[k]:.4E}".replace("E", "D"))
    return Export("exponent_with_a_letter_of_its_own", (HEAD + body).encode(), T, PACK)


@export
def day_of_the_year() -> Export:
    head = "Year,Day,Time,Pack voltage (V),Pack current (A)\n"
    stamps = [datetime(2026, 5, 9, 23, 59, 40) + timedelta(seconds=k) for k in range(ROWS)]
    body = rows(lambda k: f"2026,{stamps[k]:%j},{stamps[k]:%H:%M:%S},{V[k]},{A[k]}")
    return Export("day_of_the_year", (head + body).encode(), WHOLE, PACK, (V_, I_))


@export
def torque_stand_in_old_units() -> Export:
    rpm = [round(6000 + 30 * k + 200 * math.sin(k / 5)) for k in range(ROWS)]
    head = "Time [sec],Weapon Speed [RPM],Torque [ozf-in],Weapon ESC Temp [deg F],Weapon Input [V]\n"
    body = rows(lambda k: f"{T[k]},{rpm[k]},{14 + k / 10:.1f},{H[k] * 1.8 + 32:.2f},{V[k]}")
    columns = [
        Meant("Weapon Speed [RPM]", "weapon_speed_rpm", rpm), Meant("Torque [ozf-in]"),
        Meant("Weapon ESC Temp [deg F]", "weapon_temp_degC", H), Meant("Weapon Input [V]", "weapon_voltage_V", V),
    ]  # fmt: skip
    return Export("torque_stand_in_old_units", (head + body).encode(), T, columns)


@export
def counter_that_starts_at_the_trigger() -> Export:
    """Samples before the trigger are numbered downwards from zero; the interval stands above."""
    head = "Trigger sample;20\nSample period;0,002;s\n\nSample;Pack voltage;Pack current\n;V;A\n"
    body = rows(lambda k: f"{k - 20};{de(V[k], 3)};{de(A[k], 2)}")
    columns = [Meant("Pack voltage", V_, V), Meant("Pack current", I_, A)]
    return Export(
        "counter_that_starts_at_the_trigger", (head + body).encode(), [0.002 * k for k in range(ROWS)], columns
    )


@export
def rows_that_repeat_when_nothing_changes() -> Export:
    """A logger of changes: irregular stamps, a heartbeat each five seconds."""
    t = [round(0.3 * k + 0.1 * (k % 3) + (5.0 if k > 50 else 0.0), 2) for k in range(ROWS)]
    body = rows(lambda k: f"{t[k]},{V[k]},{A[k]}")
    return Export("rows_that_repeat_when_nothing_changes", (HEAD + body).encode(), t, PACK, (V_, I_))


@export
def negative_zero_and_plus() -> Export:
    body = rows(lambda k: f"+{T[k]:05.1f},+{V[k]:.3f},{'-0.00' if k % 9 == 0 else f'+{A[k]:.2f}'}")
    kept = [0.0 if k % 9 == 0 else A[k] for k in range(ROWS)]
    columns = [Meant("Pack voltage (V)", V_, V), Meant("Pack current (A)", I_, kept)]
    return Export("negative_zero_and_plus", (HEAD + body).encode(), T, columns, (V_, I_))


@export
def charge_in_coulombs_and_energy_in_joules() -> Export:
    used = [round(3.6 * q, 2) for q in Q]
    energy = [round(24.0 * c, 1) for c in used]
    head = "t (s),Pack voltage (V),Pack charge used (C),Pack energy used (kJ)\n"
    body = rows(lambda k: f"{T[k]},{V[k]},{used[k]},{energy[k] / 1000:.4f}")
    columns = [
        Meant("Pack voltage (V)", V_, V),
        Meant("Pack charge used (C)", "pack_charge_used_mAh", [c / 3.6 for c in used]),
        Meant("Pack energy used (kJ)", "pack_energy_used_Wh", [e / 3600 for e in energy]),
    ]  # fmt: skip
    return Export("charge_in_coulombs_and_energy_in_joules", (head + body).encode(), T, columns)


@export
def epoch_with_a_comma() -> Export:
    first = datetime(2026, 5, 9, 12, 0).timestamp()
    head = "unixtime;Akkuspannung [V];Akkustrom [A]\n"
    body = rows(lambda k: f"{de(first + T[k], 3)};{de(V[k], 3)};{de(A[k], 2)}")
    columns = [Meant("Akkuspannung [V]", V_, V), Meant("Akkustrom [A]", I_, A)]
    return Export("epoch_with_a_comma", (head + body).encode(), T, columns, (V_, I_))


@export
def date_of_the_spreadsheet_in_american() -> Export:
    """5/9 is the ninth of May here; only the clock matters, and the date is said to be unclear or right."""
    stamps = [START + timedelta(seconds=k) for k in range(ROWS)]
    head = "DateTime,Pack voltage (V),Pack current (A)\n"
    body = rows(lambda k: f"05/09/2026 {stamps[k]:%I:%M:%S %p},{V[k]},{A[k]}")
    return Export(
        "date_of_the_spreadsheet_in_american", (head + body).encode(), WHOLE, PACK, must_say=("date_unclear",)
    )
