"""Components that drift follows: what was put into simulated gears comes out again, as the same linear
function on every gear."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from unit.diagnosis.made import GEARS, gears, part, setup

from gearqa.diagnosis.followed import with_components
from gearqa.model.measurement import RunoutReadings

ERRORS = {
    "mounting": {"eccentricity_um": 8.0, "eccentricity_deg": 30.0, "tilt_mrad": 0.1, "tilt_deg": 50.0},
    "lobes": [{"n": 3, "amplitude_um": 6.0, "phase_deg": 40.0}],
    "pitch": {"tangential_um": 4.0, "tangential_deg": 100.0},
}


def followed(made, drawing):
    return [
        {(one.key, one.flank): one.value_um for one in result.components}
        for _, result in with_components(made, setup(drawing))
    ]


@pytest.mark.parametrize(("kind", "beta", "hand"), GEARS)
@pytest.mark.parametrize("places", [{}, {"profile_face_positions_mm": [4.0, 16.0, 28.0]}])
def test_what_was_put_in_is_followed(kind, beta, hand, places):
    drawing = part(kind, beta, hand)
    (found,) = followed(gears(drawing, noise=0.3, measuring=places, **ERRORS), drawing)
    assert found["eccentricity_0_deg", None] == pytest.approx(8 * math.cos(math.radians(30)), abs=0.2)
    assert found["eccentricity_90_deg", None] == pytest.approx(8 * math.sin(math.radians(30)), abs=0.2)
    assert found["runout_order_1", None] == pytest.approx(8, abs=0.2)
    # the far end leans a quarter turn from the axis of the tilt: 3.2 um over the face, towards 320 degrees
    assert found["tilt_0_deg", None] == pytest.approx(3.2 * math.cos(math.radians(320)), abs=0.15)
    assert found["tilt_90_deg", None] == pytest.approx(3.2 * math.sin(math.radians(320)), abs=0.15)
    assert found["runout_order_3", None] == pytest.approx(6, abs=0.1)
    assert found["pitch_order_1", None] == pytest.approx(4, abs=0.15)
    assert all(found[f"runout_order_{n}", None] < 0.3 for n in (2, 4, 6))


def test_without_noise_sizes_come_out_as_they_were_put_in():
    drawing = part()
    (gear,) = gears(drawing, noise=0.0, **ERRORS)
    z = drawing.gear.teeth
    pitch = {
        flank: replace(one, index_um=one.index_um + 6 * ((np.arange(z) - 30) % z) / z)
        for flank, one in gear.pitch.items()
    }
    (found,) = followed([gear], drawing)
    sizes = [found[key, None] for key in ("runout_order_1", "runout_order_3", "pitch_order_1")]
    assert sizes == pytest.approx([8.0, 6.0, 4.0], abs=2e-3)
    (found,) = followed([replace(gear, pitch=pitch)], drawing)
    assert found["pitch_ramp", None] == pytest.approx(6.0, rel=0.02)


@pytest.mark.parametrize("step", [6.0, -6.0])
def test_a_ramp_is_followed_by_its_size(step):
    drawing = part()
    z = drawing.gear.teeth
    (gear,) = gears(drawing, noise=0.5)
    rise = step * ((np.arange(z) - 30) % z) / z
    pitch = {
        flank: replace(readings, index_um=readings.index_um + rise) for flank, readings in gear.pitch.items()
    }
    (found,) = followed([replace(gear, pitch=pitch)], drawing)
    assert found["pitch_ramp", None] == pytest.approx(6, abs=0.8)


def test_twist_needs_several_places():
    drawing = part()
    shape = {"left": {"twist_um": 4.0}}
    (without,) = followed(gears(drawing, shape=shape), drawing)
    assert not any(key == "twist" for key, _ in without)
    places = {"profile_face_positions_mm": [4.0, 16.0, 28.0]}
    (found,) = followed(gears(drawing, shape=shape, measuring=places), drawing)
    assert (found["twist", "left"], found["twist", "right"]) == pytest.approx((4, 0), abs=0.2)


def test_balls_stand_in_where_pitch_is_missing():
    drawing = part()
    whole = gears(drawing, noise=0.3, **ERRORS)
    (found,) = followed([replace(whole[0], pitch={})], drawing)
    assert found["runout_order_1", None] == pytest.approx(8, abs=0.3)
    assert found["runout_order_3", None] == pytest.approx(6, abs=0.3)
    assert not {("pitch_order_1", None), ("pitch_ramp", None)} & set(found)
    some = whole[0].runout.radial_um.copy()
    some[3] = np.nan
    assert followed([replace(whole[0], pitch={}, runout=RunoutReadings(some))], drawing) == [{}]


def test_the_number_of_jaws_is_followed():
    drawing = part(grinder={"GR-1": {"jaws": 5}})
    (found,) = followed(gears(drawing, lobes=[{"n": 5, "amplitude_um": 3.0}]), drawing)
    assert found["runout_order_5", None] == pytest.approx(3, abs=0.2)


def test_of_readings_in_doubt_nothing_is_followed():
    drawing = part()
    good, bad = gears(drawing, parts=2)
    pitch = {
        flank: replace(readings, index_um=readings.index_um * 1000) for flank, readings in bad.pitch.items()
    }
    found = followed([good, replace(bad, pitch=pitch)], drawing)
    assert found[0]
    assert found[1] == {}


def test_the_same_function_on_every_gear():
    """Halves and sums of readings have halves and sums of components, sizes aside."""
    drawing = part()
    one, other = gears(drawing, parts=2, seed=3)
    mean = replace(
        one,
        pitch={
            flank: replace(a, index_um=(a.index_um + other.pitch[flank].index_um) / 2)
            for flank, a in one.pitch.items()
        },
        traces=tuple(
            replace(a, deviation_um=(a.deviation_um + b.deviation_um) / 2)
            for a, b in zip(one.traces, other.traces, strict=True)
        ),
    )
    a, b, m = followed([one, other, mean], drawing)
    for key in ("eccentricity_0_deg", "eccentricity_90_deg", "tilt_0_deg", "tilt_90_deg"):
        assert m[key, None] == pytest.approx((a[key, None] + b[key, None]) / 2, abs=1e-9)
