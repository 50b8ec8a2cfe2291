"""Sections put aside in a file: the same ones again, in any order, also in another process."""

from __future__ import annotations

import pickle

import pytest

from gearqa.report.blocks import document as doc
from gearqa.report.blocks.section_file import SectionFile


def sections(number: int) -> tuple[doc.Section, ...]:
    blocks = (doc.Paragraph(f"text {number}" * 1000),)
    return doc.Section(f"first {number}", blocks), doc.Section("second", blocks)


@pytest.mark.parametrize("in_memory", [1 << 20, 10], ids=["in memory", "on disk"])
def test_sections_are_read_again_as_they_were(in_memory: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("gearqa.report.blocks.section_file.IN_MEMORY", in_memory)
    file = SectionFile()
    put = [file.put(sections(number)) for number in range(20)]
    for number in (19, 0, 7):
        assert tuple(put[number]) == sections(number)
        assert (len(put[number]), put[number][1]) == (2, sections(number)[1])
    later = file.put(sections(20))
    assert tuple(put[3]) == sections(3)
    assert tuple(later) == sections(20)


def test_another_process_gets_the_sections_themselves() -> None:
    sent = pickle.loads(pickle.dumps(SectionFile().put(sections(1))))
    assert sent == sections(1)
    assert isinstance(sent, tuple)
