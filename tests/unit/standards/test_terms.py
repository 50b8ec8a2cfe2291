"""Factors of the tolerance formulas: their sum, and the docstrings that show them."""

from __future__ import annotations

import inspect
import re

from gearqa.standards.iso1328_1_2013 import tolerances
from gearqa.standards.terms import Terms


def test_every_term_counts_once() -> None:
    terms = Terms(d=1, root_d=10, m=100, root_m=1_000, root_b=10_000, constant=100_000)
    assert terms.at(d=4, m=9, b=25) == 4 + 20 + 900 + 3_000 + 50_000 + 100_000


def test_docstrings_show_the_factors_that_are_used() -> None:
    for name, function in inspect.getmembers(tolerances, inspect.isfunction):
        assert not re.search(r"<\w+>", function.__doc__ or ""), name
    assert f"{tolerances.CUMULATIVE_PITCH.root_d:g}\\sqrt d" in (tolerances.F_p_T.__doc__ or "")
    assert f"{tolerances.HELIX_SLOPE.root_b:g}\\sqrt b" in (tolerances.f_H_beta_T.__doc__ or "")
