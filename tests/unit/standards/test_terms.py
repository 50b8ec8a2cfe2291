"""Factors of the tolerance formulas: their sum, and the docstrings that show them."""

from __future__ import annotations

import inspect
import re

import pytest

from gearqa.standards.iso1328_1_1995 import tolerances as of_1995
from gearqa.standards.iso1328_1_2013 import tolerances as of_2013
from gearqa.standards.terms import Terms


def test_every_term_counts_once() -> None:
    terms = Terms(d=1, root_d=10, m=100, root_m=1_000, root_b=10_000, constant=100_000)
    assert terms.at(d=4, m=9, b=25) == 4 + 20 + 900 + 3_000 + 50_000 + 100_000


@pytest.mark.parametrize("module", [of_1995, of_2013])
def test_docstrings_show_the_factors_that_are_used(module: object) -> None:
    for name, function in inspect.getmembers(module, inspect.isfunction):
        assert not re.search(r"<\w+>", function.__doc__ or ""), name
    assert f"{of_2013.CUMULATIVE_PITCH.root_d:g}\\sqrt d" in (of_2013.F_p_T.__doc__ or "")
    assert f"{of_1995.HELIX_TOTAL.root_b:g}\\sqrt b" in (of_1995.F_beta.__doc__ or "")
