"""Frozen reference periods."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import pytest
from history_folders import made_folder

from gearqa.errors import StoreError
from gearqa.history.intake import FolderToAdd, add_folders
from gearqa.history.observations import load_references
from gearqa.history.references import freeze_period, period_of_dresses, release_period


def at(text):
    return datetime.fromisoformat(f"2025-06-{text}+02:00")


@pytest.fixture
def filled(store, tmp_path):
    folders = [made_folder(tmp_path / str(day), [f"A{day}", f"B{day}"], day=day) for day in (1, 2, 3)]
    add_folders(store, [FolderToAdd(Path(folder)) for folder in folders])
    return store


def test_one_reference_stands_until_another_is_frozen_or_it_is_released(filled):
    first, gears = freeze_period(filled, "T-8", "GR-1", at("01T00:00"), at("02T23:00"), remark="after repair")
    assert gears == 4
    assert load_references(filled) == [first]
    assert (first.from_at, first.to_at, first.remark) == (at("01T00:00"), at("02T23:00"), "after repair")
    second, gears = freeze_period(filled, "T-8", "GR-1", at("02T00:00"), at("03T23:00"))
    assert load_references(filled, part_number="T-8", grinder="GR-1") == [second]
    assert load_references(filled, grinder="GR-2") == []
    release_period(filled, "T-8", "GR-1")
    assert load_references(filled) == []
    with pytest.raises(StoreError, match="no frozen reference"):
        release_period(filled, "T-8", "GR-1")


def test_a_period_without_gears_says_where_the_gears_are(filled):
    with pytest.raises(StoreError, match="were made from 2025-06-01T04:00:00"):
        freeze_period(filled, "T-8", "GR-1", at("11T00:00"), at("12T00:00"))
    with pytest.raises(StoreError, match="there are none at all"):
        freeze_period(filled, "T-8", "GR-9", at("01T00:00"), at("02T00:00"))
    with pytest.raises(StoreError, match="is empty"):
        freeze_period(filled, "T-8", "GR-1", at("02T00:00"), at("01T00:00"))


def test_a_period_by_labels_of_dresses(filled):
    assert period_of_dresses(filled, "T-8", "GR-1", "D01", "D02") == (at("01T06:00"), at("02T06:00:01"))
    with pytest.raises(StoreError, match="dress 'D9'"):
        period_of_dresses(filled, "T-8", "GR-1", "D01", "D9")
