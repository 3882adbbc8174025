"""Where the table stands: preambles, comments, units, several tables, footers, headers of every kind."""

from __future__ import annotations

from tests.ingest.delimited.corpus import NAMES, Case, case, plain, simple, table, text, truth

PREAMBLE = """Device: bench logger 4
Serial number: 0042
Firmware: 2.1.7
Operator: J. Mox
Comment: weapon test, first pack

"""


@case
def preamble_key_value() -> Case:
    return simple("preamble_key_value", PREAMBLE + plain(), NAMES, dialect={"header_line": 7, "first_data_line": 8})


@case
def preamble_same_delimiter() -> Case:
    body = "Device;Logger\nSerial;1234\nRange;60\n" + plain(";")
    return simple("preamble_same_delimiter", body, NAMES, dialect={"header_line": 4})


@case
def preamble_filled_up() -> Case:
    body = "Device;Logger;\nSerial;1234;\nRange;60;\n;;\n" + plain(";")
    return simple("preamble_filled_up", body, NAMES, dialect={"header_line": 5, "first_data_line": 6})


@case
def preamble_two_columns() -> Case:
    """Keys and values look like rows of a two-column table."""
    t, v, _ = truth()
    body = "Device;Logger\nSerial;1234\nRange;60\n" + table(NAMES[:2], [text(t, 1), text(v, 3)], ";")
    return Case(
        "preamble_two_columns", body.encode(), list(zip(NAMES, (t, v), strict=False)), t, dialect={"header_line": 4}
    )


@case
def preamble_long() -> Case:
    body = "".join(f"setting {k}: {k * 3 % 11}\n" for k in range(3000)) + plain()
    return simple("preamble_long", body, NAMES, dialect={"header_line": 3001})


@case
def preamble_prose() -> Case:
    body = "Log of the second test.\nThe pack was warm, the weapon cold; see notes.\nAll well.\n\n" + plain("\t")
    return simple("preamble_prose", body, NAMES, dialect={"header_line": 5, "delimiter": "\t"})


def _comments() -> None:
    for word, mark in (("hash", "#"), ("percent", "%"), ("slashes", "//"), ("bang", "!")):

        @case
        def make(word: str = word, mark: str = mark) -> Case:
            body = f"{mark} logger 4\n{mark} rate is whatever it is\n" + plain()
            return simple(f"comment_{word}", body, NAMES, dialect={"header_line": 3, "first_data_line": 4})


_comments()


@case
def comment_semicolon() -> Case:
    return simple("comment_semicolon", "; logger 4\n; second line\n" + plain(), NAMES, dialect={"header_line": 3})


@case
def comment_header() -> Case:
    return simple("comment_header", "# logger 4\n# " + plain(), NAMES, dialect={"header_line": 2, "first_data_line": 3})


@case
def comment_header_spaces() -> Case:
    return simple("comment_header_spaces", "% logger\n% " + plain(" "), NAMES, dialect={"header_line": 2})


@case
def comment_between() -> Case:
    lines = plain().splitlines()
    lines.insert(20, "# event: hit")
    lines.insert(40, "# event: stop")
    return simple("comment_between", "\n".join(lines) + "\n", NAMES, codes=["note_line"])


@case
def units_row() -> Case:
    t, v, i = truth()
    names = ("Time", "Pack voltage", "Pack current")
    rows = table(None, [text(t, 1), text(v, 3), text(i, 2)], ";")
    return simple(
        "units_row",
        ";".join(names) + "\ns;V;A\n" + rows,
        names,
        units={"Pack voltage": "V", "Pack current": "A"},
        dialect={"header_line": 1, "units_line": 2, "first_data_line": 3},
        exact_codes=True,
    )


@case
def units_row_brackets_milli() -> Case:
    t, v, i = truth()
    names = ("Time", "Pack voltage", "Pack current")
    tm, vm, im = [round(x * 1000) for x in t], [round(x * 1000) for x in v], [round(x * 1000) for x in i]
    rows = table(None, [[str(x) for x in c] for c in (tm, vm, im)], ",")
    data = ",".join(names) + "\n[ms],[mV],[mA]\n" + rows
    return Case(
        "units_row_brackets_milli",
        data.encode(),
        list(zip(names, (tm, vm, im), strict=True)),
        t,
        units={"Pack voltage": "V", "Pack current": "A"},
        clock={"unit": "ms", "rate_Hz": 10.0, "sure": "certain"},
    )


@case
def units_row_above() -> Case:
    t, v, i = truth()
    names = ("Time", "Pack voltage", "Pack current")
    rows = table(None, [text(t, 1), text(v, 3), text(i, 2)], ";")
    return simple(
        "units_row_above", "s;V;A\n" + ";".join(names) + "\n" + rows, names, dialect={"header_line": 2, "units_line": 1}
    )


@case
def units_row_with_gaps() -> Case:
    t, v, _ = truth()
    names = ("Time", "Pack voltage", "State")
    data = ";".join(names) + "\ns;V;\n" + table(None, [text(t, 1), text(v, 3), ["1"] * 60], ";")
    return Case(
        "units_row_with_gaps",
        data.encode(),
        list(zip(names, (t, v, [1.0] * 60), strict=True)),
        t,
        dialect={"units_line": 2},
    )


@case
def units_in_note() -> Case:
    t, v, i = truth()
    vm = [round(x * 1000) for x in v]
    names = ("t", "Vbat", "Ibat")
    data = "# t in s, voltages in mV, currents in A\n" + table(names, [text(t, 1), [str(x) for x in vm], text(i, 2)])
    return Case(
        "units_in_note",
        data.encode(),
        list(zip(names, (t, vm, i), strict=True)),
        t,
        units={"Vbat": "V", "Ibat": "A"},
        clock={"unit": "s"},
    )


@case
def units_listed_in_note() -> Case:
    t, v, i = truth()
    names = ("t", "Vbat", "Ibat")
    im = [round(x * 1000) for x in i]
    data = "# units: s, V, mA\n" + table(names, [text(t, 1), text(v, 3), [str(x) for x in im]])
    return Case(
        "units_listed_in_note", data.encode(), list(zip(names, (t, v, im), strict=True)), t, units={"Ibat": "A"}
    )


@case
def units_in_names() -> Case:
    t, v, i = truth()
    tm = [round(x * 1000) for x in t]
    names = ("Elapsed (ms)", "Ubat_mV", "Ibat [A]")
    data = table(names, [[str(x) for x in tm], [str(round(x * 1000)) for x in v], text(i, 2)])
    return Case(
        "units_in_names",
        data.encode(),
        list(zip(names, (tm, [round(x * 1000) for x in v], i), strict=True)),
        t,
        clock={"unit": "ms", "sure": "certain"},
        units={"Ubat_mV": "V"},
    )


@case
def header_other_delimiter() -> Case:
    return simple("header_other_delimiter", ", ".join(NAMES) + "\n" + table(None, _cells(), "\t"), NAMES)


def _cells() -> list[list[str]]:
    t, v, i = truth()
    return [text(t, 1), text(v, 3), text(i, 2)]


@case
def header_names_with_spaces() -> Case:
    names = ("Time (s)", "Pack voltage (V)", "Pack current (A)")
    data = "   ".join(names) + "\n" + table(None, _cells(), "   ")
    return simple("header_names_with_spaces", data, names, dialect={"delimiter": " "})


@case
def header_repeated() -> Case:
    lines = plain().splitlines()
    for place in (21, 42):
        lines.insert(place, lines[0])
    return simple("header_repeated", "\n".join(lines) + "\n", NAMES, codes=["repeated_header"], clock={"restarts": ()})


@case
def header_repeated_with_units() -> Case:
    t, v, i = truth()
    names = ("Time", "Pack voltage", "Pack current")
    lines = table(None, [text(t, 1), text(v, 3), text(i, 2)], ";").splitlines()
    head = [";".join(names), "s;V;A"]
    data = head + lines[:30] + head + lines[30:]
    return simple("header_repeated_with_units", "\n".join(data) + "\n", names, codes=["repeated_header"])


@case
def header_with_numbers() -> Case:
    t, v, i = truth()
    names = ("Time", "1", "2")
    return Case(
        "header_with_numbers",
        table(names, _cells()).encode(),
        list(zip(names, (t, v, i), strict=True)),
        t,
        dialect={"header_line": 1},
    )


@case
def header_missing() -> Case:
    t, v, i = truth()
    return Case(
        "header_missing",
        table(None, _cells()).encode(),
        list(zip(("", "", ""), (t, v, i), strict=True)),
        t,
        codes=frozenset(["no_header"]),
        dialect={"header_line": None, "first_data_line": 1},
    )


@case
def header_missing_after_preamble() -> Case:
    t, v, i = truth()
    return Case(
        "header_missing_after_preamble",
        (PREAMBLE + table(None, _cells())).encode(),
        list(zip(("", "", ""), (t, v, i), strict=True)),
        t,
        codes=frozenset(["no_header"]),
        dialect={"header_line": None, "first_data_line": 7},
    )


@case
def header_duplicate_and_blank() -> Case:
    t, v, i = truth()
    names = ("time_s", "Voltage", "", "Voltage")
    data = table(names, [text(t, 1), text(v, 3), text(i, 2), text(i, 2)])
    return Case(
        "header_duplicate_and_blank",
        data.encode(),
        list(zip(names, (t, v, i, i), strict=True)),
        t,
        codes=frozenset(["duplicate_name"]),
    )


@case
def header_shorter_by_row_numbers() -> Case:
    t, v, i = truth()
    count = [float(k) for k in range(60)]
    data = ",".join(NAMES) + "\n" + table(None, [[str(k) for k in range(60)], *_cells()])
    return Case(
        "header_shorter_by_row_numbers", data.encode(), list(zip(("", *NAMES), (count, t, v, i), strict=True)), t
    )


@case
def group_row_above_names() -> Case:
    _t, _v, _i = truth()
    names = ("Time", "Voltage", "Current")
    data = ";Battery;Battery\n" + ";".join(names) + "\ns;V;A\n" + table(None, _cells(), ";")
    return simple("group_row_above_names", data, names, dialect={"header_line": 2, "units_line": 3})


@case
def one_bare_column() -> Case:
    _, v, _ = truth()
    return Case(
        "one_bare_column",
        ("\n".join(text(v, 3)) + "\n").encode(),
        [("", v)],
        None,
        codes=frozenset(["clock_missing", "no_header"]),
        clock=None,
        dialect={"delimiter": None},
    )


@case
def one_named_column_with_rate() -> Case:
    t, v, _ = truth()
    return Case(
        "one_named_column_with_rate",
        ("pack_voltage_V\n" + "\n".join(text(v, 3)) + "\n").encode(),
        [("pack_voltage_V", v)],
        t,
        rate_Hz=10.0,
        clock={"rate_Hz": 10.0, "duration_s": 5.9},
        dialect={"header_line": 1},
    )


@case
def one_column_decimal_comma() -> Case:
    _, v, _ = truth()
    return Case(
        "one_column_decimal_comma",
        ("pack_voltage_V\n" + "\n".join(text(v, 3, True)) + "\n").encode(),
        [("pack_voltage_V", v)],
        None,
        clock=None,
        dialect={"decimal": ","},
    )


@case
def footer_text() -> Case:
    return simple("footer_text", plain() + "\nEnd of log\nSamples: 60\n", NAMES, codes=["footer"])


@case
def footer_statistics() -> Case:
    return simple(
        "footer_statistics", plain(";") + "Min;24.1;3.5\nMax;25.2;90.1\nMean;24.8;20.2\n", NAMES, codes=["footer"]
    )


@case
def footer_without_newline() -> Case:
    return simple("footer_without_newline", plain() + "*** stopped by user ***", NAMES, codes=["footer"])


@case
def footer_checksum_words() -> Case:
    return simple("footer_checksum_words", plain() + "# checksum 0x1234\n", NAMES, codes=["footer"])


@case
def notes_between_rows() -> Case:
    lines = plain().splitlines()
    lines.insert(25, "--- pause ---")
    return simple("notes_between_rows", "\n".join(lines) + "\n", NAMES, codes=["note_line"])


@case
def summary_table_before() -> Case:
    body = "Channel;Min;Max\nU;21.1;25.2\nI;0.5;90.0\n\n" + plain(";")
    return simple("summary_table_before", body, NAMES, dialect={"header_line": 5})


@case
def two_tables_other_width() -> Case:
    second = table(("Cell", "Voltage"), [[str(k) for k in range(1, 7)], ["4.1"] * 6])
    return simple("two_tables_other_width", plain() + "\n" + second, NAMES, codes=["several_tables"])


@case
def two_tables_same_width() -> Case:
    second = table(("cell", "mohm", "degC"), [[str(k) for k in range(1, 13)], ["4.1"] * 12, ["21.0"] * 12])
    return simple("two_tables_same_width", plain() + "\n" + second, NAMES, codes=["several_tables"])


@case
def two_tables_main_second() -> Case:
    first = table(("cell", "mohm", "degC"), [[str(k) for k in range(1, 13)], ["4.1"] * 12, ["21.0"] * 12])
    return simple(
        "two_tables_main_second", first + "\n" + plain(), NAMES, codes=["several_tables"], dialect={"header_line": 15}
    )


@case
def sections_same_header() -> Case:
    """Three stretches of one recording, each under its own title and names."""
    lines = plain().splitlines()
    parts = [
        ["[Section 1]", lines[0], *lines[1:21]],
        ["", "[Section 2]", lines[0], *lines[21:41]],
        ["", "[Section 3]", lines[0], *lines[41:]],
    ]
    return simple(
        "sections_same_header", "\n".join(line for part in parts for line in part) + "\n", NAMES, clock={"restarts": ()}
    )


@case
def empty_columns() -> Case:
    t, v, i = truth()
    names = ("time_s", "pack_voltage_V", "spare", "pack_current_A")
    data = table(names, [text(t, 1), text(v, 3), [""] * 60, text(i, 2)])
    return Case("empty_columns", data.encode(), list(zip(names, (t, v, None, i), strict=True)), t)


@case
def late_starting_column() -> Case:
    t, v, _ = truth()
    heat = [None] * 40 + [20.5 + k for k in range(20)]
    data = table(
        (*NAMES[:2], "esc_temp_degC"), [text(t, 1), text(v, 3), ["" if x is None else f"{x:.1f}" for x in heat]]
    )
    return Case(
        "late_starting_column", data.encode(), [("time_s", t), ("pack_voltage_V", v), ("esc_temp_degC", heat)], t
    )


@case
def metadata_beside_rows() -> Case:
    """Keys and values stand in the first columns beside the first rows."""
    t, v, _ = truth()
    keys = ["Record length", "Interval", "Trigger"] + [""] * 57
    values = ["60", "0.1", "12"] + [""] * 57
    data = table(None, [keys, values, [""] * 60, text(t, 1), text(v, 3)])
    return Case(
        "metadata_beside_rows",
        data.encode(),
        [("", None), ("", None), ("", None), ("", t), ("", v)],
        t,
        codes=frozenset(["no_header"]),
    )
