"""Characters that Python calls digits and cannot read as numbers: in exponents and in keys."""

from __future__ import annotations

import pytest

from gearqa.errors import PartFileError
from gearqa.reading.settings.part_file import read_part
from gearqa.reading.values.reported import typed_decimals


@pytest.mark.parametrize("exponent", ["³08", "+-5", "٣"])
def test_an_exponent_that_is_no_number_counts_no_decimals(exponent):
    assert typed_decimals(f"1.51e{exponent}") == 2


@pytest.mark.parametrize("key", ['"³"', '"²".x', 'tolerance.limits_um."³"'])
def test_a_key_of_foreign_digits_is_an_unknown_key(tmp_path, key):
    path = tmp_path / "part.toml"
    path.write_text(f'schema = "gearqa.part/1"\n{key} = 1\n', encoding="utf-8")
    with pytest.raises(PartFileError, match=r"³|²|missing"):
        read_part(path)
