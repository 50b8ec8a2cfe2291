"""Errors, problems and notices: how gearqa says what is wrong and where.

Out of tolerance is a result, never an exception.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from enum import StrEnum

from gearqa.late_dataclass import dataclass
from gearqa.wording.visible import clip_words


class Reason(StrEnum):
    """Stable codes of everything that can be wrong with an input."""

    # files
    FILE_NOT_FOUND = "file_not_found"
    NOT_TEXT = "not_text"
    UNREADABLE_CSV = "unreadable_csv"
    UNREADABLE_PARQUET = "unreadable_parquet"
    EMPTY_TABLE = "empty_table"
    UNRECOGNISED_TABLE = "unrecognised_table"
    MISSING_COLUMN = "missing_column"
    DUPLICATE_COLUMN = "duplicate_column"
    CONTRADICTING_COLUMNS = "contradicting_columns"
    NOTHING_TO_GRADE = "nothing_to_grade"
    # cells and rows
    RAGGED_ROW = "ragged_row"
    EMPTY_CELL = "empty_cell"
    EMPTY_SERIAL = "empty_serial"
    NOT_A_NUMBER = "not_a_number"
    NOT_FINITE = "not_finite"
    NOT_A_WHOLE_NUMBER = "not_a_whole_number"
    UNKNOWN_WORD = "unknown_word"
    BAD_TIME = "bad_time"
    OUT_OF_RANGE = "out_of_range"
    BELOW_BASE_CIRCLE = "below_base_circle"
    DUPLICATE_POINT = "duplicate_point"
    SECOND_PASS = "second_pass"
    DUPLICATE_TOOTH = "duplicate_tooth"
    DUPLICATE_SPACE = "duplicate_space"
    DUPLICATE_ROW = "duplicate_row"
    LABEL_NOT_CONSTANT = "label_not_constant"
    UNKNOWN_SERIAL = "unknown_serial"
    # TOML files: part, column map, plan, scenario
    TOML_SYNTAX = "toml_syntax"
    UNKNOWN_KEY = "unknown_key"
    MISSING_KEY = "missing_key"
    WRONG_TYPE = "wrong_type"
    VALUE_OUT_OF_RANGE = "value_out_of_range"
    CONTRADICTION = "contradiction"
    NO_EVALUATION_LIMITS = "no_evaluation_limits"
    OUT_OF_SCOPE = "out_of_scope"
    MAP_WITHOUT_FILE = "map_without_file"


class NoticeCode(StrEnum):
    """Stable codes of what a reader must know that is no error."""

    # folder and tables
    FILES_IGNORED = "files_ignored"
    FILES_NOT_READ = "files_not_read"
    TABLE_LEFT_OUT = "table_left_out"
    UNKNOWN_COLUMN = "unknown_column"
    DECIMALS_BESIDE = "decimals_beside"
    POSITION_COLUMN_NOT_READ = "position_column_not_read"
    ROW_ORDER = "row_order"
    TABLES_TURNED = "tables_turned"
    NO_LINE_END = "no_line_end"
    BLANK_ROWS_DROPPED = "blank_rows_dropped"
    TIMES_WITHOUT_ZONE = "times_without_zone"
    SIMULATED = "simulated"
    SERIAL_WITHOUT_MEASUREMENT = "serial_without_measurement"
    SERIAL_WITHOUT_TABLE = "serial_without_table"
    FLANK_NOT_USED = "flank_not_used"
    # part file
    HELIX_HAND_OF_SPUR_GEAR = "helix_hand_of_spur_gear"
    TIP_DIAMETER_MISSING = "tip_diameter_missing"
    DIAMETER_FAR_FROM_REFERENCE = "diameter_far_from_reference"
    SIZE_LIMITS_WIDE = "size_limits_wide"
    PIN_DIAMETER_UNUSUAL = "pin_diameter_unusual"
    SIZE_FAR_FROM_NOMINAL = "size_far_from_nominal"
    LONG_CUTOFF = "long_cutoff"
    FLANK_TABLE_WITHOUT_EFFECT = "flank_table_without_effect"
    LOWER_LIMIT_WITHOUT_EFFECT = "lower_limit_without_effect"
    CLASSES_KNOWN_IN_PART = "classes_known_in_part"
    # evaluation
    NOT_ASSESSED = "not_assessed"
    ZONE_NOT_ASSESSED = "zone_not_assessed"
    ONE_FLANK_ONLY = "one_flank_only"
    TEETH_NOT_EVENLY_SPACED = "teeth_not_evenly_spaced"
    POSITION_DOUBTFUL = "position_doubtful"
    # evaluation: readings that are not assessed for doubt
    UNIT_DOUBT = "unit_doubt"
    STUCK = "stuck"
    CLIPPED = "clipped"
    COPIED = "copied"
    NO_READING = "no_reading"
    TOO_FEW_TEETH = "too_few_teeth"
    CONFIRMED = "confirmed"
    INDEX_OR_PITCH_DOUBTFUL = "index_or_pitch_doubtful"
    FLANKS_OR_NUMBERING_DOUBTFUL = "flanks_or_numbering_doubtful"
    # lot
    NOTHING_PROVABLE = "nothing_provable"
    UNCERTAINTY_LARGE = "uncertainty_large"
    UNCERTAINTY_UNKNOWN = "uncertainty_unknown"
    UNCERTAINTY_SOURCE_UNKNOWN = "uncertainty_source_unknown"
    FEWER_THAN_PLANNED = "fewer_than_planned"
    FEW_GEARS = "few_gears"
    DRAWN_UNKNOWN = "drawn_unknown"
    EXCLUDED = "excluded"
    RESTRICTED = "restricted"
    STAYS_COUNTED = "stays_counted"
    ORDER_UNKNOWN = "order_unknown"
    ORDER_BY_LABEL = "order_by_label"
    CYCLES_UNKNOWN = "cycles_unknown"
    WEAR = "wear"
    WEAR_UNCHECKED = "wear_unchecked"
    DEPENDENT_GEARS = "dependent_gears"
    FEW_CYCLES = "few_cycles"
    CYCLE_LENGTH_UNKNOWN = "cycle_length_unknown"
    OUTLIERS = "outliers"
    NORMALITY = "normality"
    TOLERANCE_INTERVAL = "tolerance_interval"
    CALIBRATION_OVERDUE = "calibration_overdue"
    CALIBRATION_UNKNOWN = "calibration_unknown"
    TEMPERATURE_UNKNOWN = "temperature_unknown"
    TREND = "trend"
    PPK = "ppk"
    # notes of a lot
    TWO_RISKS = "two_risks"
    UNIT = "unit"
    ROUNDING = "rounding"
    PROBABILITY = "probability"
    CONFIDENCE = "confidence"
    GEOMETRY_ONLY = "geometry_only"
    WHO_DECIDES = "who_decides"
    ONE_PERCENT = "one_percent"
    SERIES_OF_LOTS = "series_of_lots"
    VARIABLES = "variables"
    # drift
    EVENTS_OF_OTHER_GRINDERS = "events_of_other_grinders"
    REPEATED_SERIALS = "repeated_serials"
    TIMES_MISSING = "times_missing"
    PARTS_ESTIMATED = "parts_estimated"
    REFERENCE_NOT_USED = "reference_not_used"
    NO_CYCLES = "no_cycles"
    WEAR_NOT_IDENTIFIABLE = "wear_not_identifiable"
    ROBUST_WEAR_DIFFERS = "robust_wear_differs"
    NO_STEP_SEARCH = "no_step_search"
    WANDERING_LEVEL = "wandering_level"
    LEVEL_TREND = "level_trend"
    FORECAST_FAR = "forecast_far"
    SLOPE_VARIATION_UNKNOWN = "slope_variation_unknown"
    TREND_OR_CHANGE = "trend_or_change"
    DRESS_LABEL_AGAIN = "dress_label_again"
    PRODUCTION_CONTRADICTS = "production_contradicts"
    NO_PRODUCTION_ROW = "no_production_row"
    CYCLES_NOT_MEASURED = "cycles_not_measured"
    USUAL_INTERVAL_UNKNOWN = "usual_interval_unknown"
    CURVED_WEAR = "curved_wear"
    NOISE_GROWS = "noise_grows"
    LEVEL_MOVED = "level_moved"
    CHANGE_MAY_HIDE = "change_may_hide"
    RISK_IS_AVERAGE = "risk_is_average"
    STEP_PROVISIONAL = "step_provisional"
    SIZE_OVERSTATED = "size_overstated"
    SKEWED_VALUES = "skewed_values"
    REFERENCE_CARRIED = "reference_carried"
    CORRECTION_LATE = "correction_late"
    POSITION_MISSING = "position_missing"
    # diagnosis
    MOUNTINGS_DIFFER = "mountings_differ"
    # incoming
    REPORT_FOLLOWS_FROM_THEIR_TRACES = "report_follows_from_their_traces"
    NOT_MEASURED_BY_US = "not_measured_by_us"
    SERIALS_BY_NUMBER = "serials_by_number"
    COMPARED_BY_MAGNITUDE = "compared_by_magnitude"
    VALUES_NOT_REPORTED = "values_not_reported"
    BASIS_MEAN = "basis_mean"
    BASIS_WORST = "basis_worst"
    CLAIMS_ON_THE_OTHER_FLANK = "claims_on_the_other_flank"
    CLAIMS_JUDGED_BY_WORST = "claims_judged_by_worst"
    STANDARD_NOT_STATED = "standard_not_stated"
    OTHER_SYSTEM = "other_system"
    CLAIM_IN_WORDS = "claim_in_words"
    OTHER_EDITION = "other_edition"
    NO_TOLERANCE = "no_tolerance"
    CLAIM_BEYOND_OWN_VALUE = "claim_beyond_own_value"
    ROUNDED_BEFORE_GRADING = "rounded_before_grading"
    CLASSES_OF_OLDER_EDITION = "classes_of_older_edition"
    FEW_VALUES = "few_values"
    LARGE_UNCERTAINTY = "large_uncertainty"
    NOT_THE_SAME_GEARS = "not_the_same_gears"
    # size of teeth
    SIZE_NOT_MEASURABLE = "size_not_measurable"
    # gauge
    NO_REFERENCE = "no_reference"
    FEW_OPERATORS = "few_operators"
    ONE_OPERATOR = "one_operator"
    INTERVAL_BEYOND = "interval_beyond"
    NO_SPREAD = "no_spread"
    NEGATIVE_COMPONENT = "negative_component"
    FEW_CATEGORIES = "few_categories"
    CONDITIONALLY_SUITABLE = "conditionally_suitable"
    NO_REFERENCE_UNCERTAINTY = "no_reference_uncertainty"
    BIAS = "bias"
    STATED_TOO_SMALL = "stated_too_small"
    PRODUCT_DIFFERS = "product_differs"


@dataclass(frozen=True, slots=True)
class Problem:
    """One fault of one input: where, what was found, what is allowed, the way out."""

    reason: Reason
    file: str
    found: str
    expected: str
    line: int | None = None
    column: str | None = None
    hint: str = ""
    key: str | None = None
    """Dotted key, for a fault of a TOML file."""

    def __str__(self) -> str:
        where = line_place(self.file, self.line)
        column = f" column '{self.column}':" if self.column else ""
        column += f" key '{self.key}':" if self.key else ""
        hint = f"; {self.hint}" if self.hint else ""
        said = f"found {self.found}, expected {self.expected}{hint}"
        return f"{where}:{column} {clip_words(said)} [{self.reason}]"


def line_text(file: str, line: int) -> str:
    """A line as people call it; a Parquet table has rows.

    >>> line_text("helix.csv", 3), line_text("helix.parquet", 3)
    ('line 3', 'row 3')
    """
    return f"{'row' if file.lower().endswith('.parquet') else 'line'} {line}"


def line_place(file: str, line: int | None) -> str:
    """A line of a file as people read it; row 0 of a Parquet table is its header.

    >>> line_place("helix.csv", 3), line_place("helix.parquet", 3), line_place("helix.parquet", 0)
    ('helix.csv:3', 'helix.parquet row 3', 'helix.parquet')
    """
    if not line:
        return file
    text = line_text(file, line)
    return f"{file}:{line}" if text.startswith("line") else f"{file} {text}"


@dataclass(frozen=True, slots=True)
class Notice:
    """Something a reader must know that is no error: a stable code and a sentence."""

    code: str
    message: str


class GearqaError(Exception):
    """Root of all errors that gearqa raises on purpose; `hint` says what to do."""

    def __init__(self, message: str, *, hint: str = "") -> None:
        super().__init__(message)
        self.hint = hint


PRINTED_PER_FILE_AND_REASON = 50
FILES_ONE_BY_ONE = 3
LINES_ONE_BY_ONE = 10
"""Of the same problem in one file."""


def problem_lines(problems: Iterable[Problem]) -> list[str]:
    """Problems as lines of text; of one file and reason the first ones, and how many more there are.

    The same problem of many files, or of many lines of a file, is one line.
    """
    alike: dict[object, list[Problem]] = {}
    for problem in problems:
        said = problem.hint.replace(problem.file, "")
        where = (problem.column, problem.key)
        alike.setdefault((problem.reason, where, problem.found, problem.expected, said), []).append(problem)
    lines: list[str] = []
    counts: Counter[tuple[str, Reason]] = Counter()
    for group in alike.values():
        more = _more_alike(group)
        for problem in group[:1] if more else group:
            counts[problem.file, problem.reason] += 1
            if counts[problem.file, problem.reason] <= PRINTED_PER_FILE_AND_REASON:
                lines.append(f"{problem}{more}")
    for (file, reason), count in counts.items():
        if count > PRINTED_PER_FILE_AND_REASON:
            lines.append(f"{file}: and {count - PRINTED_PER_FILE_AND_REASON} more [{reason}]")
    return lines


def _more_alike(group: Sequence[Problem]) -> str:
    """Where else the first of some problems is found; empty where each is worth a line of its own."""
    first = group[0]
    files = list(dict.fromkeys(problem.file for problem in group))
    places = [str(problem.line) for problem in group[1:] if problem.file == first.file and problem.line]
    if len(files) <= FILES_ONE_BY_ONE and len(group) <= LINES_ONE_BY_ONE * len(files):
        return ""
    more = []
    if places:
        more.append(f"{len(places)} more lines: {', '.join(places[:3])}{' ...' if len(places) > 3 else ''}")
    if len(files) > 1:
        shown = f"{', '.join(files[1:4])}{' ...' if len(files) > 4 else ''}"
        elsewhere = len(group) - 1 - len(places)
        lines = f", {elsewhere} lines" if elsewhere > len(files) - 1 else ""
        more.append(f"{len(files) - 1} more files{lines}: {shown}")
    return f" (and the same in {' and in '.join(more)})"


class ArgumentError(GearqaError, ValueError):
    """An argument that a job cannot take; `argument` is its name."""

    def __init__(self, argument: str, message: str, *, hint: str = "") -> None:
        super().__init__(message, hint=hint)
        self.argument = argument


class InputError(GearqaError, ValueError):
    """One or more inputs cannot be used; `problems` holds all of them, not the first."""

    def __init__(self, problems: Iterable[Problem], *, hint: str = "") -> None:
        self.problems: tuple[Problem, ...] = tuple(problems)
        from gearqa.wording.numbers import count_text

        head = count_text(len(self.problems), "problem")
        super().__init__("\n".join([f"{head} in the input:", *problem_lines(self.problems)]), hint=hint)


class MeasurementFileError(InputError):
    """Problems of measurement files (CSV tables, column maps)."""


class PartFileError(InputError):
    """Problems of a TOML file that describes a part, a map, a plan or a scenario."""


class OutOfScopeError(GearqaError, ValueError):
    """A value outside the range of application of a standard; never extrapolated.

    `what` says it in other words where the value lies between `low` and `high`.
    """

    def __init__(
        self, symbol: str, value: float, low: float, high: float, clause: str, what: str | None = None
    ) -> None:
        from gearqa.wording.numbers import short_text

        where = what or f"is outside {short_text(low)} to {short_text(high)}"
        super().__init__(f"{symbol} = {short_text(value)} {where} ({clause})")
        self.symbol, self.value, self.low, self.high, self.clause = symbol, value, low, high, clause


class EvaluationError(GearqaError, ValueError):
    """Readable but not evaluable, and the whole job cannot go on."""


class LotError(GearqaError, ValueError):
    """A lot that cannot be signed off as asked: no gear, more gears than the lot holds, no reason given."""


class RecordError(GearqaError, ValueError):
    """A record, key or signature that cannot be read or written."""


class StoreError(GearqaError, OSError):
    """A history store that cannot be used as asked: where it lies, what is wrong, the way out."""


class StoreBusyError(StoreError):
    """A history store that cannot be reached just now; trying again later may help."""


class StoreConflictError(StoreError):
    """Gears that the store already holds with other values; nothing was changed."""


class ReportError(GearqaError, OSError):
    """An output could not be written; what was there before is untouched."""
