"""Dialects: delimiters, decimal marks, quotes, encodings, line ends, number styles, damage."""

from __future__ import annotations

import codecs

from tests.ingest.delimited.corpus import NAMES, Case, case, plain, simple, table, text, truth

FIELDS = {"header_line": 1, "first_data_line": 2}


def _delimiters() -> None:
    for word, delimiter in (("comma", ","), ("semicolon", ";"), ("tab", "\t"), ("pipe", "|")):

        @case
        def make(word: str = word, delimiter: str = delimiter) -> Case:
            return simple(
                f"delimiter_{word}",
                plain(delimiter),
                NAMES,
                dialect={"delimiter": delimiter, **FIELDS},
                exact_codes=True,
            )

    for word, delimiter in (("semicolon", ";"), ("tab", "\t"), ("pipe", "|"), ("space", " ")):

        @case
        def make_comma(word: str = word, delimiter: str = delimiter) -> Case:
            return simple(
                f"decimal_comma_{word}",
                plain(delimiter, True),
                NAMES,
                dialect={"delimiter": delimiter, "decimal": ","},
                exact_codes=True,
            )

    for word, end in (("crlf", "\r\n"), ("cr", "\r"), ("cr-cr-lf", "\r\r\n"), ("lf", "\n")):

        @case
        def make_end(word: str = word, end: str = end) -> Case:
            return simple(
                f"line_end_{word}", plain(end=end), NAMES, dialect={"line_end": word, **FIELDS}, exact_codes=True
            )

    for codec, name in (
        ("utf-8-sig", "utf-8-sig"),
        ("utf-16-le", "utf-16-le"),
        ("utf-16-be", "utf-16-be"),
        ("latin-1", "latin-1"),
    ):

        @case
        def make_codec(codec: str = codec, name: str = name) -> Case:
            names = ("Zeit [s]", "Spannung [V]", "Strom [A]", "Temp [°C]")
            t, v, i = truth()
            heat = [round(20 + 0.1 * k, 1) for k in range(60)]
            body = table(names, [text(t, 1), text(v, 3), text(i, 2), text(heat, 1)], ";")
            return Case(
                f"encoding_{codec}",
                body.encode(codec),
                list(zip(names, (t, v, i, heat), strict=True)),
                t,
                dialect={"encoding": name},
                units={"Temp [°C]": "degC"},
            )

    for codec, mark in (("utf-16-le", codecs.BOM_UTF16_LE), ("utf-16-be", codecs.BOM_UTF16_BE)):

        @case
        def make_bom(codec: str = codec, mark: bytes = mark) -> Case:
            return simple(
                f"bom_{codec}",
                mark + plain(";", True, "\r\n").encode(codec),
                NAMES,
                dialect={"encoding": codec},
                exact_codes=True,
            )


_delimiters()


@case
def quoted_decimal_comma() -> Case:
    t, v, i = truth()
    quoted = [[f'"{c}"' for c in cells] for cells in (text(t, 1, True), text(v, 3, True), text(i, 2, True))]
    return simple(
        "quoted_decimal_comma",
        table([f'"{n}"' for n in NAMES], quoted),
        NAMES,
        dialect={"delimiter": ",", "decimal": ","},
    )


@case
def lines_in_quotes() -> Case:
    body = "\n".join(f'"{line}"' for line in plain().splitlines()) + "\n"
    return simple("lines_in_quotes", body, NAMES, dialect={"delimiter": ","})


@case
def lines_in_quotes_inner() -> Case:
    t, v, i = truth()
    lines = ['"time_s,""pack_voltage_V"",""pack_current_A"""']
    lines += [f'"{a},""{b}"",""{c}"""' for a, b, c in zip(text(t, 1), text(v, 3), text(i, 2), strict=True)]
    return simple("lines_in_quotes_inner", "\r\n".join(lines) + "\r\n", NAMES)


@case
def spaces_padded() -> Case:
    t, v, i = truth()
    lines = ["  time_s   pack_voltage_V   pack_current_A"]
    lines += [f"{a:8.1f}   {b:14.3f}   {c:14.2f}" for a, b, c in zip(t, v, i, strict=True)]
    return simple("spaces_padded", "\n".join(lines) + "\n", NAMES, dialect={"delimiter": " "})


@case
def comma_and_space() -> Case:
    return simple("comma_and_space", plain(", "), NAMES, exact_codes=True)


@case
def trailing_delimiter() -> Case:
    body = "".join(line + ";\r\n" for line in plain(";").splitlines())
    return simple("trailing_delimiter", body, NAMES)


@case
def trailing_delimiter_rows_only() -> Case:
    lines = plain(";").splitlines()
    return simple(
        "trailing_delimiter_rows_only", "\n".join([lines[0]] + [line + ";" for line in lines[1:]]) + "\n", NAMES
    )


@case
def pipes_around() -> Case:
    body = "".join("| " + line.replace(",", " | ") + " |\n" for line in plain().splitlines())
    return simple("pipes_around", body, NAMES)


@case
def no_final_newline() -> Case:
    return simple("no_final_newline", plain(last=False), NAMES, exact_codes=True)


@case
def thousands_comma_quoted() -> Case:
    t, _, _ = truth()
    rpm = [900.0 + 37.5 * k for k in range(60)]
    cells = [f'"{x:,.1f}"' if x >= 1000 else f"{x:.1f}" for x in rpm]
    names = ("time_s", "weapon_speed_rpm")
    return Case(
        "thousands_comma_quoted", table(names, [text(t, 1), cells]).encode(), list(zip(names, (t, rpm), strict=True)), t
    )


@case
def thousands_dot_decimal_comma() -> Case:
    t, _, _ = truth()
    rpm = [900.0 + 37.5 * k for k in range(60)]
    cells = [f"{x:,.1f}".replace(",", "#").replace(".", ",").replace("#", ".") for x in rpm]
    names = ("time_s", "weapon_speed_rpm")
    return Case(
        "thousands_dot_decimal_comma",
        table(names, [text(t, 1, True), cells], ";").encode(),
        list(zip(names, (t, rpm), strict=True)),
        t,
        dialect={"decimal": ","},
    )


@case
def thousands_comma_whole() -> Case:
    t, _, _ = truth()
    rpm = [850.0 + 37.0 * k for k in range(60)]
    cells = [f"{int(x):,}" for x in rpm]
    names = ("time_s", "weapon_speed_rpm")
    return Case(
        "thousands_comma_whole",
        table(names, [text(t, 1), cells], ";").encode(),
        list(zip(names, (t, rpm), strict=True)),
        t,
    )


@case
def thousands_apostrophe() -> Case:
    t, _, _ = truth()
    rpm = [850.0 + 37.0 * k for k in range(60)]
    cells = [f"{x:,.1f}".replace(",", "'") for x in rpm]
    names = ("time_s", "weapon_speed_rpm")
    return Case(
        "thousands_apostrophe", table(names, [text(t, 1), cells]).encode(), list(zip(names, (t, rpm), strict=True)), t
    )


@case
def thousands_narrow_space() -> Case:
    t, _, _ = truth()
    rpm = [850.0 + 37.5 * k for k in range(60)]
    cells = [f"{x:,.1f}".replace(",", "\u202f").replace(".", ",") for x in rpm]
    names = ("time_s", "weapon_speed_rpm")
    return Case(
        "thousands_narrow_space",
        table(names, [text(t, 1, True), cells], ";").encode(),
        list(zip(names, (t, rpm), strict=True)),
        t,
    )


@case
def three_decimals_comma() -> Case:
    """Three digits behind every comma, as a group mark would have: here zeros in front decide for the decimal mark."""
    t = [round(0.005 * k, 3) for k in range(60)]
    names = ("t [s]", "U [V]")
    v = [round(1.2 + 0.001 * k, 3) for k in range(60)]
    return Case(
        "three_decimals_comma",
        table(names, [text(t, 3, True), text(v, 3, True)], ";").encode(),
        list(zip(names, (t, v), strict=True)),
        t,
    )


@case
def mixed_decimals() -> Case:
    """A clock with a point, figures with a comma."""
    t, v, i = truth()
    return simple("mixed_decimals", table(NAMES, [text(t, 1), text(v, 3, True), text(i, 2, True)], ";"), NAMES)


@case
def units_in_cells() -> Case:
    t, v, i = truth()
    body = table(
        ("Time", "Battery voltage", "Battery current"),
        [[f"{c} s" for c in text(t, 1)], [f"{c}V" for c in text(v, 3)], [f"{c} A" for c in text(i, 2)]],
        ";",
    )
    return simple(
        "units_in_cells",
        body,
        ("Time", "Battery voltage", "Battery current"),
        codes=["unit_in_cell"],
        units={"Battery voltage": "V", "Battery current": "A"},
    )


@case
def units_in_cells_prefixes() -> Case:
    """Values below one are written in the smaller unit."""
    t, _, _ = truth()
    amps = [round(0.05 + 0.07 * k, 2) for k in range(60)]
    cells = [f"{x * 1000:.0f}mA" if x < 1 else f"{x:.2f}A" for x in amps]
    names = ("time_s", "Battery current")
    return Case(
        "units_in_cells_prefixes",
        table(names, [text(t, 1), cells]).encode(),
        list(zip(names, (t, amps), strict=True)),
        t,
        codes=frozenset(["unit_in_cell"]),
        units={"Battery current": "A"},
    )


@case
def typographic_minus() -> Case:
    t, v, _ = truth()
    i = [round(-5 + 0.25 * k, 2) for k in range(60)]
    cells = [c.replace("-", "\u2212") for c in text(i, 2)]
    return Case(
        "typographic_minus",
        table(NAMES, [text(t, 1), text(v, 3), cells]).encode(),
        list(zip(NAMES, (t, v, i), strict=True)),
        t,
    )


@case
def plus_signs_and_exponents() -> Case:
    t, v, i = truth()
    body = table(NAMES, [[f"{x:+.4E}" for x in t], [f"{x:+.6E}" for x in v], [f"{x:.3e}" for x in i]])
    return simple("plus_signs_and_exponents", body, NAMES)


@case
def exponents_decimal_comma() -> Case:
    t, v, i = truth()
    body = table(NAMES, [[f"{x:.4E}".replace(".", ",") for x in c] for c in (t, v, i)], ";")
    return simple("exponents_decimal_comma", body, NAMES)


@case
def hexadecimal_flags() -> Case:
    t, v, _ = truth()
    flags = [float(k % 5 * 16 + 1) for k in range(60)]
    names = ("time_s", "pack_voltage_V", "status")
    body = table(names, [text(t, 1), text(v, 3), [f"0x{int(x):04X}" for x in flags]])
    return Case(
        "hexadecimal_flags", body.encode(), list(zip(names, (t, v, flags), strict=True)), t, kinds={"status": "number"}
    )


@case
def words_on_off() -> Case:
    t, v, _ = truth()
    on = [float(k % 7 == 3) for k in range(60)]
    names = ("time_s", "pack_voltage_V", "Relay")
    body = table(names, [text(t, 1), text(v, 3), ["ON" if x else "OFF" for x in on]])
    return Case(
        "words_on_off",
        body.encode(),
        list(zip(names, (t, v, on), strict=True)),
        t,
        kinds={"Relay": "flag"},
        exact_codes=True,
    )


@case
def codes_are_text() -> Case:
    t, v, _ = truth()
    names = ("time_s", "pack_voltage_V", "code")
    body = table(names, [text(t, 1), text(v, 3), [f"{k % 4 * 3:03d}" for k in range(60)]])
    return Case(
        "codes_are_text",
        body.encode(),
        [("time_s", t), ("pack_voltage_V", v), ("code", None)],
        t,
        kinds={"code": "text"},
    )


@case
def missing_words() -> Case:
    t, v, i = truth()
    cells = text(v, 3)
    marks = {3: "", 9: "NaN", 14: "---", 20: "n/a", 31: "NULL"}
    for k, word in marks.items():
        cells[k] = word
    kept = [None if k in marks else x for k, x in enumerate(v)]
    return Case(
        "missing_words",
        table(NAMES, [text(t, 1), cells, text(i, 2)]).encode(),
        [("time_s", t), ("pack_voltage_V", kept), ("pack_current_A", i)],
        t,
        exact_codes=True,
    )


@case
def over_range_words() -> Case:
    t, v, i = truth()
    cells = text(v, 3)
    cells[5], cells[22] = "OL", "inf"
    kept = [None if k in (5, 22) else x for k, x in enumerate(v)]
    return Case(
        "over_range_words",
        table(NAMES, [text(t, 1), cells, text(i, 2)]).encode(),
        [("time_s", t), ("pack_voltage_V", kept), ("pack_current_A", i)],
        t,
        codes=frozenset(["overrange"]),
    )


@case
def bad_cells() -> Case:
    t, v, i = truth()
    cells = text(v, 3)
    cells[8], cells[30] = "2x.1", "12.3.4"
    kept = [None if k in (8, 30) else x for k, x in enumerate(v)]
    return Case(
        "bad_cells",
        table(NAMES, [text(t, 1), cells, text(i, 2)]).encode(),
        [("time_s", t), ("pack_voltage_V", kept), ("pack_current_A", i)],
        t,
        codes=frozenset(["bad_number"]),
    )


def _without(rows: set[int]) -> tuple[list[float], list[float], list[float]]:
    t, v, i = truth()
    keep = [k for k in range(60) if k not in rows]
    return [t[k] for k in keep], [v[k] for k in keep], [i[k] for k in keep]


@case
def nul_tail() -> Case:
    return simple("nul_tail", plain().encode() + b"\0" * 5000, NAMES, codes=["nul_bytes"])


@case
def nul_tail_inside_row() -> Case:
    body = plain().encode()[:-4] + b"\0" * 300
    kept = _without({59})
    return Case(
        "nul_tail_inside_row", body, list(zip(NAMES, kept, strict=True)), kept[0], codes=frozenset(["nul_bytes"])
    )


@case
def nul_hole() -> Case:
    lines = plain().splitlines()
    lines[30] = lines[30][:6] + "\0" * 40 + lines[30][9:]
    kept = _without({29})
    return Case(
        "nul_hole",
        ("\n".join(lines) + "\n").encode(),
        list(zip(NAMES, kept, strict=True)),
        kept[0],
        codes=frozenset(["nul_bytes"]),
    )


@case
def cut_inside_row() -> Case:
    body = plain()[: -len("99.99,59.25\n")]
    kept = _without({59})
    return Case(
        "cut_inside_row", body.encode(), list(zip(NAMES, kept, strict=True)), kept[0], codes=frozenset(["truncated"])
    )


@case
def cut_inside_last_number() -> Case:
    body = plain()[:-2]
    kept = _without({59})
    return Case(
        "cut_inside_last_number",
        body.encode(),
        list(zip(NAMES, kept, strict=True)),
        kept[0],
        codes=frozenset(["truncated"]),
    )


@case
def short_and_long_rows() -> Case:
    lines = plain().splitlines()
    lines[11] = lines[11].rpartition(",")[0]
    lines[26] += ",7.5"
    kept = _without({10, 25})
    return Case(
        "short_and_long_rows",
        ("\n".join(lines) + "\n").encode(),
        list(zip(NAMES, kept, strict=True)),
        kept[0],
        codes=frozenset(["short_row", "long_row"]),
    )


@case
def late_latin_byte() -> Case:
    """UTF-8 up to a comment cell written by another program."""
    t, v, _ = truth()
    words = ["ok"] * 60
    words[40] = "warm 40\xb0"
    names = ("time_s", "pack_voltage_V", "note")
    body = table(names, [text(t, 1), text(v, 3), words]).encode("latin-1")
    return Case(
        "late_latin_byte",
        body,
        [("time_s", t), ("pack_voltage_V", v), ("note", None)],
        t,
        codes=frozenset(["encoding"]),
    )


@case
def quoted_line_break_in_header() -> Case:
    t, v, i = truth()
    body = '"Time\n(s)","Voltage\n(V)","Current\n(A)"\n' + table(None, [text(t, 1), text(v, 3), text(i, 2)])
    return Case(
        "quoted_line_break_in_header",
        body.encode(),
        list(zip(("Time\n(s)", "Voltage\n(V)", "Current\n(A)"), (t, v, i), strict=True)),
        t,
    )


@case
def quoted_line_break_in_cell() -> Case:
    t, v, _ = truth()
    words = ["run"] * 60
    words[20] = '"stop,\nthen go"'
    names = ("time_s", "pack_voltage_V", "note")
    return Case(
        "quoted_line_break_in_cell",
        table(names, [text(t, 1), text(v, 3), words]).encode(),
        [("time_s", t), ("pack_voltage_V", v), ("note", None)],
        t,
    )


@case
def blank_lines_between() -> Case:
    return simple("blank_lines_between", plain().replace("\n", "\n\n"), NAMES)


@case
def ctrl_z_at_end() -> Case:
    return simple("ctrl_z_at_end", plain(end="\r\n").encode() + b"\x1a", NAMES)


@case
def decimal_comma_delimiter_comma() -> Case:
    """Comma for everything: read in pairs, because the names are half as many as the cells of every row."""
    return simple("decimal_comma_delimiter_comma", plain(",", True), NAMES, codes=["decimal_split"])
