"""Codes of files, tables, rows and TOML files."""

from typing import Final

INPUTS: Final[dict[str, tuple[str, str]]] = {
    # files and tables
    "file_not_found": ("The file or folder is not there.", "Check the path; quote names with blanks."),
    "not_text": (
        "The file is no text in UTF-8, UTF-16 with mark or Windows-1252.",
        "Export it as CSV; a spreadsheet file is no table of text.",
    ),
    "unreadable_csv": (
        "Rows and cells cannot be told apart: an open quote, or no separator that fits.",
        "Look at the line named; gearqa columns FILE shows how the file is read.",
    ),
    "unreadable_parquet": (
        "The Parquet file is damaged, cut off or of another kind than its name says.",
        "Write it anew, or give the table as CSV.",
    ),
    "empty_table": (
        "The table has a header and no row, or nothing at all.",
        "Remove the file, or leave it out with ignore in part.toml.",
    ),
    "unrecognised_table": (
        "No known table has these columns.",
        "Map its columns (gearqa columns FOLDER --write map.toml), or leave the file out with ignore.",
    ),
    "missing_column": (
        "The table is recognised, but a column that it needs is missing.",
        "Add the column, or name it in a column map.",
    ),
    "duplicate_column": (
        "Two columns mean the same quantity.",
        "Remove or rename one, or choose with a map.",
    ),
    "contradicting_columns": (
        "Columns exclude each other, such as index and pitch, or µm and mm of one quantity.",
        "Keep one of them, or choose with a column map.",
    ),
    "nothing_to_grade": (
        "No table holds readings of flanks, pitch or runout.",
        "Is this the inspection folder? gearqa explain files shows what belongs into it.",
    ),
    # cells and rows
    "ragged_row": (
        "A row has more or fewer cells than the header.",
        "Look for a separator inside a text or a number with a decimal comma.",
    ),
    "empty_cell": (
        "A cell that has to hold a number or a word is empty.",
        "Leave the row out if the point was not measured.",
    ),
    "empty_serial": ("A row does not say which gear it belongs to.", "Fill in the serial."),
    "not_a_number": (
        "A cell holds no number.",
        "Leave out rows without a reading; thousands separators are not allowed.",
    ),
    "not_finite": ("A cell holds NaN or infinity.", "Leave out rows without a reading."),
    "not_a_whole_number": ("A tooth, space or count is no whole number.", "Correct the cell."),
    "unknown_word": (
        "A word is none of those allowed, such as a flank that is neither left nor right.",
        "Correct it, or translate the words with a column map.",
    ),
    "bad_time": (
        "A time is not in the form of ISO 8601, such as 2025-03-01T06:40.",
        "Correct it, or give its format in a column map.",
    ),
    "out_of_range": (
        "A value lies outside what is possible here, such as a tooth beyond the number of teeth.",
        "Check the value, and the number of teeth in part.toml.",
    ),
    "below_base_circle": (
        "A diameter lies below the base circle, where there is no involute.",
        "Check diameter, module, pressure and helix angle.",
    ),
    "duplicate_point": (
        "One trace has two points at one position.",
        "If the gear was measured again, say which measurement each row belongs to (column measurement).",
    ),
    "second_pass": (
        "A trace runs over the same range twice.",
        "Tell the passes apart with the column measurement, or remove one.",
    ),
    "duplicate_tooth": (
        "A tooth has two pitch readings on one flank.",
        "Tell measurements apart with the column measurement, or remove one.",
    ),
    "duplicate_space": (
        "A space has two radial readings.",
        "Tell measurements apart with the column measurement, or remove one.",
    ),
    "duplicate_row": ("Two rows say the same thing of one gear or event.", "Remove one."),
    "label_not_constant": (
        "A diameter or face position that names a trace changes within it.",
        "Is it the position along the trace? Then name it so in a column map.",
    ),
    "unknown_serial": ("No table has this serial.", "Take one of those named; 007 and 7 are two serials."),
    # TOML files
    "toml_syntax": (
        "The TOML file cannot be read at this line.",
        "Look for a missing quote, bracket or sign.",
    ),
    "unknown_key": ("The file has a key that nothing is known about.", "Take the nearest key, or remove it."),
    "missing_key": ("A key that is needed is missing.", "Add it; gearqa new writes a file with every key."),
    "wrong_type": (
        "A value is of another kind: a text for a number, one value for a list.",
        "Numbers stand without quotes, lists in square brackets.",
    ),
    "value_out_of_range": ("A value lies outside the range that is named.", "Correct the value."),
    "contradiction": ("Two entries of the file exclude each other.", "Keep the one that the drawing gives."),
    "no_evaluation_limits": (
        "Profile traces cannot be evaluated without their limits.",
        "Set control_diameter_mm and tip_form_diameter_mm, or the roll lengths, from the drawing.",
    ),
    "out_of_scope": (
        "The gear lies outside the range of the tolerance system; nothing is extrapolated.",
        "Check the gear data, or name limits of the drawing instead of a class.",
    ),
    "map_without_file": (
        "A table of the column map fits no file of the folder.",
        "Check its pattern; file names may have changed.",
    ),
    # what was read in another way
    "files_ignored": ("Files were left out because ignore says so.", "Nothing, if that was meant."),
    "files_not_read": (
        "Files are no CSV tables, so they were not read.",
        "Nothing, unless one holds readings.",
    ),
    "table_left_out": (
        "A CSV file holds no measurements: a result, reported values or a study.",
        "Nothing; give it to the command that reads it.",
    ),
    "unknown_column": (
        "A column has no meaning here and was not read.",
        "Correct its name if it was meant; else nothing.",
    ),
    "decimals_beside": (
        "In every row of a table with commas the cell right of a whole number holds digits: two columns, or "
        "one number with a decimal comma. They were read as two columns.",
        "Look at the table: decimals behind a comma need semicolon or tab between the cells.",
    ),
    "position_column_not_read": (
        "A table has two positions; roll length wins over roll angle over diameter.",
        "Map the column that was meant if it is the other one.",
    ),
    "row_order": (
        "The points of a trace are not in order; they were sorted by position.",
        "Nothing, unless two measurements of the trace may be mixed: they could not be told apart.",
    ),
    "tables_turned": (
        "Tables are seen from the other face, or counted anticlockwise, as [convention] of the column map "
        "says; results name teeth, flanks and directions seen onto the datum face and clockwise.",
        "Find a tooth on the gear by the number and flank that the message gives for it.",
    ),
    "no_line_end": (
        "The last line of a file does not end: the file may be cut off, with digits missing.",
        "Compare it with the original.",
    ),
    "blank_rows_dropped": (
        "Rows with blank cells were left out because the column map says so.",
        "Check that the number is what you expect.",
    ),
    "times_without_zone": (
        "Times have no time zone and are taken as local time of the place of work.",
        "Nothing, unless tables come from several places.",
    ),
    "simulated": (
        "A table says that it was made up, not measured.",
        "Nothing made from it proves anything about a gear.",
    ),
    "serial_without_measurement": (
        "A serial stands only in the production or size table: no gear is graded.",
        "Add its measurements, or check how the serial is written.",
    ),
    "serial_without_table": (
        "A gear is missing from a table that the others stand in.",
        "Add the readings; without them the parameter is not assessed.",
    ),
    "flank_not_used": ("A flank is named for a quantity that has none; it is passed over.", "Nothing."),
}
"""Code -> (what it means, what to do)."""
