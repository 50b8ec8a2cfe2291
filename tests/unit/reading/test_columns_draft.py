"""Drafts of column maps: what is said clearly is mapped, the rest is a marked gap."""

from __future__ import annotations

import tomllib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from gearqa.errors import MeasurementFileError, PartFileError, Reason
from gearqa.reading.folder.passes import read_folder
from gearqa.reading.maps.columns_draft import ColumnsDraft, draft_columns
from gearqa.reading.maps.columns_map import read_columns_map
from gearqa.reading.maps.map_model import GAP
from gearqa.reading.maps.table_look import look_at_table
from gearqa.reading.maps.trade_words import read_header

PART = """\
schema = "gearqa.part/1"
[part]
number = "OT-7"
[gear]
kind = "external"
teeth = 31
normal_module_mm = 2.0
normal_pressure_angle_deg = 20.0
helix_angle_deg = 0.0
face_width_mm = 24.0
[evaluation.profile]
start_roll_length_mm = 8.0
end_roll_length_mm = 15.0
[tolerance]
class = 8
"""
X = [round(float(x), 3) for x in np.linspace(8.0, 15.0, 40)]
Z = [round(float(z), 3) for z in np.linspace(-11.5, 11.5, 40)]


def wave(x: float, seed: int) -> float:
    return round(float(np.sin(x * (1 + seed / 10)) * 3), 3)


def comma(value: float) -> str:
    return f"{value}".replace(".", ",")


def read_drafted(folder: Path) -> list[tuple[str, str, str, int, float, float, float]]:
    """What the drafted map reads: serial, kind, flank, tooth, first position, first and last deviation."""
    draft = draft_columns(folder)
    assert not draft.gaps, draft.toml
    path = folder / "map.toml"
    path.write_text(draft.toml, encoding="utf-8")
    (folder / "part.toml").write_text(PART)
    with read_folder(folder, columns=path) as inspection:
        return [
            (
                gear.serial, t.kind, t.flank, t.tooth, round(float(t.position_mm[0]), 6),
                round(float(t.deviation_um[0]), 6), round(float(t.deviation_um[-1]), 6),
            )
            for gear in inspection
            for t in gear.traces
        ]  # fmt: skip


def test_german_report_with_units_row_footer_and_teeth_from_zero(tmp_path: Path) -> None:
    rows = [
        f"OT{g};{f};{t};{comma(x)};{comma(round(wave(x, t) / 1000, 6))}"
        for g in (1, 2)
        for f in ("links", "rechts")
        for t in (0, 10)
        for x in X
    ]
    head = [
        "Prüfbericht Profil",
        "",
        "Datum;03.02.2025",
        "Teilenr.;Flanke;Zahn;Wälzweg;Abweichung",
        "-;-;-;mm;mm",
    ]
    text = "\r\n".join([*head, *rows, "Summe;;;;", "Ende des Berichts"])
    (tmp_path / "bericht.txt").write_bytes(text.encode("cp1252"))
    draft = draft_columns(tmp_path)
    (table,) = draft.tables
    assert table.kind == "profile"
    assert table.flank_words == ("links", "rechts")
    assert table.look.header == ("Teilenr.", "Flanke", "Zahn", "Wälzweg", "Abweichung")
    assert table.look.header_line == 4
    assert table.look.footer == ("Summe;;;;", "Ende des Berichts")
    assert len(table.first_rows) == 5
    assert any("counted from 0" in hint for hint in table.hints)
    columns = tomllib.loads(draft.toml)["profile"]
    assert (columns["skip_rows"], columns["skip_after_header"], columns["skip_last_rows"]) == (3, 1, 2)
    assert (columns["separator"], columns["decimal"], columns["encoding"]) == (";", ",", "cp1252")
    assert read_drafted(tmp_path) == [
        (f"OT{g}", "profile", f, t + 1, 8.0, wave(8.0, t), wave(15.0, t))
        for g in (1, 2)
        for f in ("left", "right")
        for t in (0, 10)
    ]


def test_one_file_per_trace_from_mid_face(tmp_path: Path) -> None:
    (tmp_path / "part.toml").write_text(PART)
    for serial in ("0815", "0816"):
        for flank in "LR":
            for tooth in (1, 11):
                rows = [f"{z}\t{wave(z, tooth)}" for z in Z]
                name = f"helix_{serial}_{flank}_T{tooth}.dat"
                (tmp_path / name).write_text("\n".join(["Axial pos [mm]\tDeviation [µm]", *rows]))
    draft = draft_columns(tmp_path)
    (table,) = draft.tables
    assert (table.kind, table.pattern, len(table.files)) == ("helix", "helix_*.dat", 8)
    assert any("mid-face" in hint for hint in table.hints)
    assert "offset = 12" in draft.toml  # half the face width of the part file
    assert read_drafted(tmp_path) == [
        (serial, "helix", flank, tooth, 0.5, wave(-11.5, tooth), wave(11.5, tooth))
        for serial in ("0815", "0816")
        for flank in ("left", "right")
        for tooth in (1, 11)
    ]


def test_a_header_behind_a_comment_mark_is_found(tmp_path: Path) -> None:
    rows = [f"A7;left;3;{x};{wave(x, 1)}" for x in X]
    header = ["# gear report", "# Serial;Flank;Tooth;Roll length [mm];Deviation [um]"]
    (tmp_path / "p.txt").write_text("\n".join([*header, *rows]))
    assert 'comment = ""' in draft_columns(tmp_path).toml
    assert read_drafted(tmp_path) == [("A7", "profile", "left", 3, X[0], wave(X[0], 1), wave(X[-1], 1))]


def test_from_mid_face_without_a_part_file_is_a_gap(tmp_path: Path) -> None:
    rows = [f"A,L,1,{z},{wave(z, 1)}" for z in Z]
    (tmp_path / "h.csv").write_text("\n".join(["Serial no,Side,Tooth,Face width pos (mm),Error (um)", *rows]))
    draft = draft_columns(tmp_path / "h.csv")
    assert draft.gaps
    assert "offset = half the face width" in draft.toml


@pytest.mark.parametrize("first", [0, 1])
def test_wide_table(tmp_path: Path, first: int) -> None:
    traces = [(flank, tooth) for flank in ("left", "right") for tooth in (first, first + 10)]
    header = ["Part ID", "Roll length [mm]", *(f"Tooth {t} {f} [um]" for f, t in traces)]
    rows = [["OT1", str(x), *(str(wave(x, t) + (f == "left")) for f, t in traces)] for x in X]
    (tmp_path / "w.csv").write_text("\n".join(",".join(row) for row in [header, *rows]))
    tooth = {first: 1, first + 10: 11}
    assert read_drafted(tmp_path) == [
        ("OT1", "profile", f, tooth[t], 8.0, round(wave(8.0, t) + (f == "left"), 6),
         round(wave(15.0, t) + (f == "left"), 6))
        for f, t in traces
    ]  # fmt: skip


def test_wide_table_with_bare_tooth_numbers_marks_the_flank_as_a_gap(tmp_path: Path) -> None:
    rows = [[str(x), *(str(wave(x, t)) for t in (1, 2, 3))] for x in X]
    (tmp_path / "profile OT5.csv").write_text(
        "\n".join(",".join(r) for r in [["Roll [mm]", "1", "2", "3"], *rows])
    )
    draft = draft_columns(tmp_path)
    (table,) = draft.tables
    assert table.kind == "profile"
    assert "# flank" in draft.toml
    assert GAP in draft.toml
    assert r"header = '^(?P<tooth>\d+)$'" in draft.toml


def test_pitch_and_runout(tmp_path: Path) -> None:
    rows = [f"7;{f};{t};{comma(wave(t, 1))}" for f in "LR" for t in range(1, 32)]
    (tmp_path / "a.csv").write_text("\n".join(["Gear no;Seite;Zahn-Nr.;Fp [µm]", *rows]), encoding="utf-8")
    rows = [f"7;{t};{comma(wave(t, 2))}" for t in range(1, 32)]
    (tmp_path / "b.csv").write_text("\n".join(["Gear no;Lücke;Rundlauf [µm]", *rows]), encoding="utf-8")
    draft = draft_columns(tmp_path)
    assert [t.kind for t in draft.tables] == ["pitch", "runout"]
    assert 'index_um = "Fp [µm]"' in draft.toml
    (tmp_path / "part.toml").write_text(PART)
    (tmp_path / "map.toml").write_text(draft.toml, encoding="utf-8")
    with read_folder(tmp_path, columns=tmp_path / "map.toml") as inspection:
        (gear,) = inspection
    assert gear.pitch["right"].index_um.tolist() == [wave(t, 1) for t in range(1, 32)]
    assert gear.runout is not None
    assert gear.runout.radial_um.tolist() == [wave(t, 2) for t in range(1, 32)]


def test_flank_words_that_say_nothing_are_a_gap_and_the_map_is_not_taken(tmp_path: Path) -> None:
    rows = [f"1,{f},1,{x},{wave(x, 1)}" for f in ("A", "B") for x in X]
    (tmp_path / "t.csv").write_text("\n".join(["Serial,Flank side,Tooth no,Roll [mm],Dev [um]", *rows]))
    draft = draft_columns(tmp_path)
    assert draft.tables[0].flank_words == ("A", "B")
    assert draft.gaps
    assert "gearqa explain flanks" in draft.toml
    path = tmp_path / "map.toml"
    path.write_text(draft.toml)
    with pytest.raises(PartFileError) as caught:
        read_columns_map(path)
    assert [(p.reason, p.key) for p in caught.value.problems] == [(Reason.MISSING_KEY, "profile.columns")]


def test_flank_words_are_sought_in_the_whole_file(tmp_path: Path) -> None:
    rows = [f"A7;{side};{tooth};{x};0.1" for side in ("F1", "F2") for tooth in range(1, 20) for x in X]
    header = "Serial;Flank;Tooth;Roll length [mm];Deviation [um]"
    (tmp_path / "p.txt").write_text("\n".join([header, *rows, "end of report"]))
    (table,) = draft_columns(tmp_path).tables
    assert table.flank_words == ("F1", "F2")


def test_an_unsaid_unit_of_deviations_is_a_gap(tmp_path: Path) -> None:
    rows = [f"1,L,1,{x},{wave(x, 1)}" for x in X]
    (tmp_path / "t.csv").write_text("\n".join(["Serial,Side,Tooth,Roll [mm],Deviation", *rows]))
    draft = draft_columns(tmp_path)
    (gap,) = [line for line in draft.toml.split("\n") if GAP in line]
    assert gap.startswith('deviation_um = "Deviation"')
    assert "unit" in gap


def test_neutral_tables_need_no_map_and_other_files_are_left_out(tmp_path: Path) -> None:
    (tmp_path / "runout.csv").write_text("serial,space,radial_um\n1,1,2\n")
    (tmp_path / "photo.bin").write_bytes(b"\x00\x01\x02" * 99)
    (tmp_path / "letter.txt").write_text("Dear Sir,\nthe parts are fine.\n")
    (tmp_path / "empty.txt").write_text("")
    draft = draft_columns(tmp_path)
    assert draft.neutral == ("runout.csv",)
    assert {name for name, _ in draft.left_out} == {"photo.bin", "letter.txt", "empty.txt"}
    assert (draft.tables, draft.toml, draft.gaps) == ((), "", 0)


@pytest.mark.parametrize(
    ("name", "content", "reason"),
    [
        ("x.csv", None, Reason.FILE_NOT_FOUND),
        ("x.csv", b"", Reason.UNRECOGNISED_TABLE),
        ("x.csv", b"\x00\xff\x00", Reason.UNRECOGNISED_TABLE),
        ("x.csv", b"only;words\nand;more\n", Reason.UNRECOGNISED_TABLE),
    ],
)
def test_a_single_file_that_is_no_table(
    tmp_path: Path, name: str, content: bytes | None, reason: Reason
) -> None:
    if content is not None:
        (tmp_path / name).write_bytes(content)
    with pytest.raises(MeasurementFileError) as caught:
        draft_columns(tmp_path / name)
    assert [p.reason for p in caught.value.problems] == [reason]


def test_the_footer_of_a_large_file_is_found_at_its_end(tmp_path: Path) -> None:
    rows = [f"{i};{i / 7:.5f};{i / 3:.5f}" for i in range(1, 8000)]
    path = tmp_path / "big.txt"
    path.write_text("\n".join(["a;b;c", *rows, "mean;;", "the end"]))
    assert path.stat().st_size > 1 << 16
    look = look_at_table(path)
    assert look is not None
    assert look.footer == ("mean;;", "the end")
    assert look.dialect.skip_last_rows == 2


@pytest.mark.parametrize(
    ("header", "quantity", "unit"),
    [
        ("Roll angle (°)", "roll_angle", "deg"), ("Wälzwinkel [Grad]", "roll_angle", "deg"),
        ("Length of roll / mm", "roll_length", "mm"), ("waelzweg_mm", "roll_length", "mm"),
        ("Zahnbreite [mm]", "face_position", "mm"), ("Face position", "face_position", None),
        ("Abweichung µm", "deviation", "um"), ("Error [inch]", "deviation", "in"), ("fp", "pitch", None),
        ("Fp", "index", None), ("Einzelteilung [µm]", "pitch", "um"), ("Tooth#", "tooth", None),
        ("Zahn-Nr.", "tooth", None), ("Zahnlücke", "space", None), ("Seite", "flank", None),
        ("Serien-Nr.", "serial", None), ("Part ID", "serial", None), ("S/N", "serial", None),
        ("Bediener", "operator", None), ("Schleifmaschine", "grinder", None), ("Temperature", None, None),
    ],
)  # fmt: skip
def test_trade_words(header: str, quantity: str | None, unit: str | None) -> None:
    word = read_header(header)
    assert (word.quantity, word.unit) == (quantity, unit)


@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(
    st.lists(
        st.lists(
            st.sampled_from(["1", "2,5", "-3.1", "a", "L", "R", "", "mm", "Tooth 1", "[um]", '"', "#"]),
            max_size=4,
        ),
        max_size=8,
    ),
    st.sampled_from([",", ";", "\t"]),
)
def test_no_table_makes_the_draft_fail(tmp_path: Path, rows: list[list[str]], separator: str) -> None:
    """A draft either says that there is no table, or gives TOML that the parser takes."""
    path = tmp_path / "t.csv"
    path.write_text("\n".join(separator.join(row) for row in rows))
    draft: ColumnsDraft | None = None
    try:
        draft = draft_columns(path)
    except MeasurementFileError:
        return
    tomllib.loads(draft.toml)


INDEX = {f: [wave(t, k) for t in range(1, 32)] for k, f in enumerate(("left", "right"), 1)}


def read_pitch(folder: Path) -> dict[str, dict[str, list[float]]]:
    """Index deviations that the drafted map reads, by serial and flank."""
    draft = draft_columns(folder)
    assert not draft.gaps, draft.toml
    path = folder / "map.toml"
    path.write_text(draft.toml, encoding="utf-8")
    (folder / "part.toml").write_text(PART)
    with read_folder(folder, columns=path) as inspection:
        return {g.serial: {f: p.index_um.tolist() for f, p in g.pitch.items()} for g in inspection}


def test_facts_above_the_header_of_one_file_a_trace(tmp_path: Path) -> None:
    """Serial, flank and tooth come from the labels above the header, where file names say nothing."""
    traces = [(s, f, t) for s in ("OT-1", "OT-2") for f in ("LEFT", "RIGHT") for t in (1, 10)]
    for number, (serial, flank, tooth) in enumerate(traces):
        head = [
            f"Part no.: OT-7   Serial no.: {serial}   Teeth: 31",
            f"Flank; {flank}; Tooth; {tooth}",
            "# Date: 03.02.2025 10:15",
        ]
        rows = [f"{x};{wave(x, tooth)}" for x in X]
        (tmp_path / f"m{number:03}.txt").write_text("\n".join([*head, "Roll [mm];Dev [um]", *rows]))
    found = read_drafted(tmp_path)
    assert found == [(s, "profile", f.lower(), t, 8.0, wave(8.0, t), wave(15.0, t)) for s, f, t in traces]
    made = next(table for table in draft_columns(tmp_path).tables if table.kind == "production")
    assert 'measured_at = { head = "Date", format = "%d.%m.%Y %H:%M" }' in made.lines


def test_a_folder_a_gear_and_a_serial_with_a_hyphen(tmp_path: Path) -> None:
    for serial in ("OT-1", "OT-2"):
        (tmp_path / serial).mkdir()
        rows = [f"{f};{t};{v}" for f in INDEX for t, v in enumerate(INDEX[f], 1)]
        (tmp_path / serial / "pitch.csv").write_text("\n".join(["Flank;Tooth;Fp [um]", *rows]))
    assert read_pitch(tmp_path) == {"OT-1": INDEX, "OT-2": INDEX}


@pytest.mark.parametrize("way", ["beside", "below"])
def test_two_pitch_tables_in_one_file(tmp_path: Path, way: str) -> None:
    for serial in ("OT-1", "OT-2"):
        if way == "beside":
            columns = zip(*INDEX.values(), strict=True)
            rows = ["Tooth;Left index [um];Right index [um]"]
            rows += [f"{t};{a};{b}" for t, (a, b) in enumerate(columns, 1)]
        else:
            blocks = ([f"{f} flank", "Tooth;Index [um]"] for f in INDEX)
            rows = [
                line
                for (name, header), values in zip(blocks, INDEX.values(), strict=True)
                for line in (name, header, *(f"{t};{v}" for t, v in enumerate(values, 1)), "")
            ]
        (tmp_path / f"p_{serial}.csv").write_text("\n".join(rows))
    assert read_pitch(tmp_path) == {"OT-1": INDEX, "OT-2": INDEX}


@pytest.mark.parametrize(
    ("header", "key"),
    [
        ("Summenteilungsabweichung [µm]", "index_um"),
        ("Cumulative pitch deviation [um]", "index_um"),
        ("Einzelteilungsabweichung [µm]", "pitch_um"),
        ("Pitch deviation [um]", "pitch_um"),
        ("累積ピッチ偏差[μm]", "index_um"),
        ("単一ピッチ偏差[μm]", "pitch_um"),
    ],
)
def test_index_and_single_pitch_are_told_apart(tmp_path: Path, header: str, key: str) -> None:
    rows = [f"OT1;{f};{t};{v}" for f in INDEX for t, v in enumerate(INDEX[f], 1)]
    (tmp_path / "pitch.csv").write_text("\n".join([f"Serial;Flank;Tooth;{header}", *rows]))
    assert f'{key} = "{header}"' in draft_columns(tmp_path).toml


def test_rows_of_several_kinds_in_one_file(tmp_path: Path) -> None:
    rows = [f"OT1;PROFILE;L;1;{x};{wave(x, 1)}" for x in X] + [f"OT1;HELIX;R;2;{z};{wave(z, 2)}" for z in Z]
    (tmp_path / "all.txt").write_text("\n".join(["Serial;Meas;Flank;Tooth;X [mm];Y [um]", *rows]))
    draft = draft_columns(tmp_path)
    assert [table.kind for table in draft.tables] == ["profile", "helix"]
    assert 'where = { Meas = "PROFILE" }' in draft.toml


def test_japanese_tables_in_shift_jis(tmp_path: Path) -> None:
    rows = [
        f"OT1,{f},{t},{v}" for f, w in (("左", "left"), ("右", "right")) for t, v in enumerate(INDEX[w], 1)
    ]
    text = "\n".join(["製造番号,歯面,歯番号,累積ピッチ偏差(μm)", *rows])
    (tmp_path / "pitch.csv").write_bytes(text.encode("cp932"))
    assert read_pitch(tmp_path) == {"OT1": INDEX}


def test_a_production_table_is_drafted_as_one(tmp_path: Path) -> None:
    rows = [f"OT{k};0{k}.02.2025;07:1{k};SM-2;W-1;D1;{k - 1};B" for k in (1, 2)]
    head = "Teile-Nr.;Datum;Uhrzeit;Schleifmaschine;Scheibe;Abrichtung;Teile seit Abrichten;Bediener"
    (tmp_path / "journal.csv").write_text("\n".join([head, *rows]))
    draft = draft_columns(tmp_path)
    (table,) = draft.tables
    assert table.kind == "production"
    assert 'finished_at = { columns = ["Datum", "Uhrzeit"], format = "%d.%m.%Y %H:%M" }' in table.lines
    for line in (
        'grinder = "Schleifmaschine"',
        'wheel = "Scheibe"',
        'dress = "Abrichtung"',
        'operator = "Bediener"',
    ):
        assert line in table.lines
    (gap,) = [line for line in table.lines if GAP in line]
    assert gap.startswith('parts_since_dress = { column = "Teile seit Abrichten", offset = 1 }')


def test_every_gap_left_open_keeps_the_map_from_being_read(tmp_path: Path) -> None:
    """Single pitches taken for an index would make Fp far too small, without a word."""
    head = "SN;" + ";".join(f"T{t}{f} [um]" for f in "LR" for t in range(1, 32))
    rows = ["OT1;" + ";".join(map(str, (*INDEX["left"], *INDEX["right"])))]
    (tmp_path / "pitch.csv").write_text("\n".join([head, *rows, *rows]))
    path = tmp_path / "map.toml"
    path.write_text(draft_columns(tmp_path).toml)
    with pytest.raises(PartFileError) as caught:
        read_columns_map(path)
    assert [(p.key, "or pitch_um" in p.found) for p in caught.value.problems] == [("value", True)]


def test_values_that_the_map_names_are_no_fault_of_the_folder(tmp_path: Path) -> None:
    """A table of reported values beside the measurements is left out, as a neutral one is."""
    rows = [f"OT1;{f};{t};{v}" for f in INDEX for t, v in enumerate(INDEX[f], 1)]
    (tmp_path / "pitch.csv").write_text("\n".join(["Serial;Flank;Tooth;Index [um]", *rows]))
    (tmp_path / "values.csv").write_text("Serial;fp L [um];fp R [um];Fr [um]\nOT1;1;2;3\n")
    assert read_pitch(tmp_path) == {"OT1": INDEX}
