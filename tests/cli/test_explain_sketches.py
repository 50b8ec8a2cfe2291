"""Sketches of `gearqa explain`: every topic that has one draws it, with figures that can be checked."""

from __future__ import annotations

import re

import pytest

from gearqa.cli import app
from gearqa.cli.sketches import SKETCHES
from gearqa.cli.topics import TOPICS
from gearqa.report.blocks.document import plain
from gearqa.symbols import PARAMETERS


def captions(name: str) -> str:
    return " ".join(plain(figure.caption) for figure in SKETCHES[name]())


def test_every_parameter_has_a_sketch_and_every_sketch_a_topic() -> None:
    assert {*PARAMETERS} <= {*SKETCHES} == {name for name, topic in TOPICS.items() if topic.drawn}


@pytest.mark.parametrize("name", SKETCHES)
def test_sketches_stand_on_the_page_and_the_terminal_says_where(name, tmp_path, capsys) -> None:
    page = tmp_path / "page.html"
    assert app.run(["explain", name, "--html", str(page)]) == 0
    assert page.read_text(encoding="utf-8").count("<svg") == len(SKETCHES[name]())
    assert app.run(["explain", name]) == 0
    assert f"gearqa explain {name} --html" in capsys.readouterr().out


@pytest.mark.independent
def test_what_the_sketches_state() -> None:
    """By hand: crowning 2 of the made-up trace; its rise of 4 grows with the span, 8.8 to 7.98 mm."""
    assert "Cα 2.00 µm" in captions("profile_crowning")
    full, over = map(float, re.findall(r"([+-][\d.]+) µm", captions("profile_slope"))[:2])
    assert full / over == pytest.approx(8.8 / 7.98, abs=0.003)
    assert over == pytest.approx(4, abs=0.25)  # the wave takes some of it


@pytest.mark.published
def test_the_sizes_of_the_sketches_are_those_of_handbooks() -> None:
    """From memory: chord of 12 teeth of module 1: 1.5663; constant chord 1.3870 at 0.7476."""
    text = captions("size")
    assert all(number in text for number in ("1.5663", "1.3870", "0.7476"))
