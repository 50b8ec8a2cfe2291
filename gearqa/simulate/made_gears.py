"""From a scenario to measured gears: surfaces by chance and process, looked at by an instrument."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

import numpy as np

from gearqa.arrays import Array
from gearqa.core.geometry import GearGeometry, roll_length
from gearqa.core.size import BallContact, ball_contact, nominal_span, teeth_to_span
from gearqa.errors import PartFileError
from gearqa.evaluation.part_geometry import part_geometry
from gearqa.model.measurement import (
    GearMeasurement,
    PitchReadings,
    Production,
    RunoutReadings,
    SizeReading,
    Trace,
    frozen_array,
)
from gearqa.model.part import Part
from gearqa.simulate.ball import ball_centres
from gearqa.simulate.checks import contradictions, measured_teeth, runout_ball, size_ball
from gearqa.simulate.process import (
    MEASUREMENT,
    PART,
    SimulatedPart,
    is_measured,
    made_parts,
    repeats_of,
    stream,
)
from gearqa.simulate.scenario import ALL_TABLES, Lobes, MeasuredAgain, Measuring, Override, Ripple, Scenario
from gearqa.simulate.surface import (
    FLANK_SIGNS,
    FlankSurface,
    Lobe,
    Ranges,
    SurfacePoints,
    TableError,
    Wave,
    ranges_of,
)
from gearqa.symbols import FLANKS, Flank, TraceKind


def simulate_gears(scenario: Scenario, part: Part, seed: int | None = None) -> Iterator[GearMeasurement]:
    """Yield the measured gears of a scenario in production order.

    Parameters
    ----------
    scenario : Scenario
        What is true of the gears, the process and the instrument.
    part : Part
        The drawing.
    seed : int, optional
        Replaces the scenario's own. Same seed and same numpy: same numbers.

    Yields
    ------
    GearMeasurement
        In the one convention of the model: transverse, micrometres, clockwise plus; not rounded.

    Raises
    ------
    PartFileError
        If the scenario does not fit the part; all contradictions at once.
    """
    setup = _setup(scenario, part)
    seed = scenario.seed if seed is None else seed
    return (
        gear
        for made in made_parts(scenario, seed)
        if is_measured(scenario.measuring, made)
        for gear in _measurements(setup, surface_of(scenario, part, made, seed), made, seed)
    )


def _measurements(
    setup: _Setup, surface: FlankSurface, made: SimulatedPart, seed: int
) -> Iterator[GearMeasurement]:
    """The first measurement of a part and its repeats."""
    yield _measure(setup, surface, made, stream(seed, MEASUREMENT, made.number))
    waited = 0.0
    for number, one in repeats_of(setup.scenario, made):
        waited += one.delay_min
        seen = replace(surface, shape=surface.shape + one.shape.array()[:, None, :])
        gear = _measure(setup, seen, made, stream(seed, MEASUREMENT, made.number, number))
        yield _repeated(gear, one, waited)


def _repeated(gear: GearMeasurement, one: MeasuredAgain, waited_min: float) -> GearMeasurement:
    """A further measurement: what it holds, when and by whom it was made."""
    tables = set(one.tables or ALL_TABLES)
    production = gear.production
    if production is not None and production.measured_at is not None:
        production = replace(
            production, measured_at=production.measured_at + timedelta(minutes=waited_min),
            operator=one.operator or production.operator, remark=one.remark,
        )  # fmt: skip
    return replace(
        gear,
        measurement=one.label,
        traces=tuple(trace for trace in gear.traces if trace.kind in tables),
        pitch=gear.pitch if "pitch" in tables else {},
        runout=gear.runout if "runout" in tables else None,
        sizes=gear.sizes if "size" in tables else (),
        production=production,
    )


def override_of(scenario: Scenario, serial: str) -> Override:
    """What the scenario says about this serial alone."""
    return next((o for o in scenario.gear if o.serial == serial), Override(serial=serial))


def surface_of(scenario: Scenario, part: Part, made: SimulatedPart, seed: int) -> FlankSurface:
    """The true flanks of one part: process, chance and overrides together."""
    geometry = part_geometry(part)
    own = override_of(scenario, made.serial)
    rng = stream(seed, PART, made.number)
    rng.standard_normal((3, made.shape.shape[1]))  # the draws that made_parts used
    shift = rng.standard_normal(4)
    turns = rng.uniform(0, 2 * math.pi, 1 + len(scenario.lobes) + len(scenario.ripple))
    swell = rng.standard_normal(len(scenario.lobes))
    teeth = rng.standard_normal((2, geometry.z))
    mounting, pitch = scenario.mounting, scenario.pitch
    scatter = mounting.eccentricity_scatter_um * shift[:2], mounting.tilt_scatter_mrad * shift[2:]
    e = _vector(mounting.eccentricity_um, mounting.eccentricity_deg, scatter[0])
    omega = _vector(mounting.tilt_mrad, mounting.tilt_deg, scatter[1])
    if own.eccentricity_um is not None:
        e = _vector(own.eccentricity_um, own.eccentricity_deg)
    if own.tilt_mrad is not None:
        omega = _vector(own.tilt_mrad, own.tilt_deg)
    tooth_index = pitch.scatter_um * teeth
    for shifted in own.tooth_shift:
        tooth_index[FLANKS.index(shifted.flank), shifted.tooth - 1] += shifted.shift_um
    lobe_turns, ripple_turns = turns[1 : 1 + len(scenario.lobes)], turns[1 + len(scenario.lobes) :]
    lobes = [_lobe(one, t, s, geometry) for one, t, s in zip(scenario.lobes, lobe_turns, swell, strict=True)]
    lobes += [_lobe(one, 0.0, 0.0, geometry) for one in own.lobes]
    waves = [_wave(one, t) for one, t in zip(scenario.ripple, ripple_turns, strict=True)]
    waves += [_wave(one, 0.0) for one in own.ripple]
    shape = (made.shape + own.shape.array())[:, None, :]
    tooth_scatter = scenario.process.tooth_scatter
    if tooth_scatter.array().any():
        drawn = np.stack([tooth_scatter.draw(rng) for _ in range(geometry.z)], axis=1)
        shape = shape + drawn
    return FlankSurface(
        geometry=geometry,
        shape=shape,
        e_um=e,
        omega_mrad=omega,
        lobes=tuple(lobes),
        waves=tuple(waves),
        tooth_index_um=tooth_index,
        tangential_um=pitch.tangential_um,
        tangential_phase=_phase(pitch.tangential_deg, turns[0]),
        table=TableError(pitch.table_order, pitch.table_um, _phase(pitch.table_deg, turns[0])),
    )


def _vector(length: float, degrees: float, scatter: Sequence[float] | Array = (0, 0)) -> tuple[float, float]:
    angle = math.radians(degrees)
    return length * math.cos(angle) + scatter[0], length * math.sin(angle) + scatter[1]


def _phase(degrees: float | None, turn: float) -> float:
    return float(turn) if degrees is None else math.radians(degrees)


def _lobe(lobes: Lobes, turn: float, swell: float, geometry: GearGeometry) -> Lobe:
    amplitude = lobes.amplitude_um + lobes.amplitude_scatter_um * swell
    radius = (lobes.neutral_diameter_mm or geometry.d) / 2
    return Lobe(lobes.n, amplitude, _phase(lobes.phase_deg, turn), radius)


def _wave(ripple: Ripple, turn: float) -> Wave:
    left, right = (float(ripple.flank in (None, flank)) for flank in FLANKS)
    return Wave(ripple.order, ripple.amplitude_um, _phase(ripple.phase_deg, turn), (left, right))


# --- the instrument ---------------------------------------------------------------------------


@dataclass(frozen=True, eq=False, slots=True)
class _TraceGroup:
    """Traces of both flanks and all measured teeth at one label, sharing their positions."""

    kind: TraceKind
    points: SurfacePoints
    position: Array
    label_mm: float | None


@dataclass(frozen=True, eq=False, slots=True)
class _Setup:
    """What is the same for every gear: points on the flanks, contacts, nominal sizes."""

    scenario: Scenario
    geometry: GearGeometry
    teeth: tuple[int, ...]
    groups: tuple[_TraceGroup, ...]
    pitch: SurfacePoints
    runout: tuple[BallContact, SurfacePoints] | None
    balls: tuple[BallContact, SurfacePoints] | None
    span: tuple[int, SurfacePoints] | None


def _setup(scenario: Scenario, part: Part) -> _Setup:
    geometry, measuring = part_geometry(part), scenario.measuring
    ranges = ranges_of(part)
    problems = list(contradictions(scenario, part, geometry, ranges))
    if problems:
        raise PartFileError(problems)
    assert ranges is not None
    g = geometry
    teeth = measured_teeth(measuring, g.z)
    f = FLANK_SIGNS[:, None, None]
    numbers = np.array(teeth)[None, :, None]
    groups: list[_TraceGroup] = []
    tables = measuring.tables
    if "profile" in tables:
        low, high = _profile_span(ranges, part, measuring, g)
        L = frozen_array(np.linspace(low, high, measuring.profile_points))
        for face in measuring.profile_face_positions_mm or (None,):
            at = g.b / 2 if face is None else face
            points = SurfacePoints(g, ranges, f=f, tooth=numbers, L=L, face=at)
            groups.append(_TraceGroup("profile", points, L, face))
    if "helix" in tables:
        gap, middle_roll = measuring.helix_end_gap_mm, (ranges.profile.start + ranges.profile.end) / 2
        z = frozen_array(np.linspace(gap, g.b - gap, measuring.helix_points))
        for diameter in measuring.helix_diameters_mm or (None,):
            at = middle_roll if diameter is None else roll_length(diameter, g.d_b)
            points = SurfacePoints(g, ranges, f=f, tooth=numbers, L=at, face=z)
            groups.append(_TraceGroup("helix", points, z, diameter))
    d_M = part.evaluation.pitch.measuring_diameter_mm or g.d
    everywhere, roll = np.arange(1, g.z + 1)[None, :], roll_length(d_M, g.d_b)
    pitch = SurfacePoints(g, ranges, f=FLANK_SIGNS[:, None], tooth=everywhere, L=roll, face=g.b / 2)
    runout = balls = span = None
    if "runout" in tables:
        contact = ball_contact(g, runout_ball(measuring, g))
        assert contact is not None
        runout = contact, _space_points(g, ranges, contact)
    if "size" in tables and measuring.size_method == "balls":
        contact = ball_contact(g, size_ball(measuring, part, g))
        assert contact is not None
        balls = contact, _space_points(g, ranges, contact)
    if "size" in tables and measuring.size_method == "span":
        size = part.tolerance.size
        k = measuring.size_teeth_spanned or (size and size.teeth_spanned) or teeth_to_span(g)
        span = k, _span_points(g, ranges, k)
    return _Setup(scenario, g, teeth, tuple(groups), pitch, runout, balls, span)


def _profile_span(ranges: Ranges, part: Part, measuring: Measuring, g: GearGeometry) -> tuple[float, float]:
    """Measured roll lengths: root to form end and a little more, but not beyond the tip."""
    over = measuring.profile_overrun_mm * g.s
    profile = ranges.profile
    root = profile.start - over
    form = (profile.end if profile.zone_end is None else profile.zone_end) + over
    tip = part.gear.tip_diameter_mm
    if tip is not None:
        tip_roll = roll_length(tip, g.d_b)
        form = min(form, tip_roll) if g.s > 0 else max(form, tip_roll)
    return max(0.0, min(root, form)), max(root, form)


def _space_points(g: GearGeometry, ranges: Ranges, contact: BallContact) -> SurfacePoints:
    """Contacts of all spaces, row 0 the left and row 1 the right flank that bounds each space."""
    spaces = np.arange(1, g.z + 1)
    following = spaces % g.z + 1
    left, right = (following, spaces) if g.s > 0 else (spaces, following)
    face = g.b / 2 + FLANK_SIGNS[:, None] * contact.contact_offset
    tooth = np.stack([left, right])
    return SurfacePoints(g, ranges, f=FLANK_SIGNS[:, None], tooth=tooth, L=contact.contact_roll, face=face)


def _span_points(g: GearGeometry, ranges: Ranges, k: int) -> SurfacePoints:
    """Contacts of the span over teeth i .. i + k - 1: left flank of the first, right of the last."""
    first = np.arange(1, g.z + 1)
    last = (first + k - 2) % g.z + 1
    W = nominal_span(g, k)
    L = W * math.cos(g.beta_b) / 2
    face = g.b / 2 - FLANK_SIGNS[:, None] * g.H * math.sin(g.beta_b) * W / 2
    return SurfacePoints(g, ranges, f=FLANK_SIGNS[:, None], tooth=np.stack([first, last]), L=L, face=face)


def _measure(
    setup: _Setup, surface: FlankSurface, made: SimulatedPart, rng: np.random.Generator
) -> GearMeasurement:
    scenario = setup.scenario
    measuring = scenario.measuring
    own = override_of(scenario, made.serial)
    tables = set(measuring.tables) - set(own.omit)
    traces: list[Trace] = []
    for group in setup.groups:
        values = np.broadcast_to(
            surface.deviation(group.points), (len(FLANKS), len(setup.teeth), group.position.size)
        )
        values = values + measuring.trace_noise_um * rng.standard_normal(values.shape)
        if group.kind in tables:
            traces += [
                Trace(group.kind, flank, tooth, group.position, values[i, j], group.label_mm)
                for i, flank in enumerate(FLANKS)
                for j, tooth in enumerate(setup.teeth)
            ]
    return GearMeasurement(
        serial=made.serial,
        traces=tuple(traces),
        pitch=_pitch(setup, surface, own, rng) if "pitch" in tables else {},
        runout=_runout(setup, surface, own, rng) if "runout" in tables else None,
        sizes=tuple(_sizes(setup, surface, rng)) if "size" in tables else (),
        production=_production(scenario, made, own, rng) if "production" in tables else None,
    )


def _pitch(
    setup: _Setup, surface: FlankSurface, own: Override, rng: np.random.Generator
) -> dict[Flank, PitchReadings]:
    """Index deviations, arc at the reference circle, clockwise plus, tooth 1 of each flank at zero."""
    g = setup.geometry
    noise = setup.scenario.measuring.pitch_noise_um * rng.standard_normal((2, g.z))
    index = FLANK_SIGNS[:, None] * g.s * surface.deviation(setup.pitch) / math.cos(g.alpha_t) + noise
    index = index - index[:, :1]
    for row, missing in enumerate((own.missing_teeth.left, own.missing_teeth.right)):
        index[row, np.array(missing, dtype=np.intp) - 1] = np.nan
    return {flank: PitchReadings(flank, index[row]) for row, flank in enumerate(FLANKS)}


def _runout(
    setup: _Setup, surface: FlankSurface, own: Override, rng: np.random.Generator
) -> RunoutReadings | None:
    if setup.runout is None:
        return None
    contact, points = setup.runout
    left, right = surface.deviation(points)
    radius, _ = ball_centres(setup.geometry, contact, left, right)
    nominal, _ = ball_centres(setup.geometry, contact, np.zeros(1), np.zeros(1))
    noise = setup.scenario.measuring.runout_noise_um * rng.standard_normal(radius.size)
    radial = (radius - nominal) * 1000 + noise
    radial[np.array(own.missing_spaces, dtype=np.intp) - 1] = np.nan
    return RunoutReadings(radial)


def _sizes(setup: _Setup, surface: FlankSurface, rng: np.random.Generator) -> Iterator[SizeReading]:
    """Dimensions at places spread over half a turn (spans: a whole turn)."""
    g, measuring = setup.geometry, setup.scenario.measuring
    noise = measuring.size_noise_um / 1000 * rng.standard_normal(measuring.size_places)
    if setup.balls is not None:
        contact, points = setup.balls
        left, right = surface.deviation(points)
        radius, ahead = ball_centres(g, contact, left, right)
        direction = np.exp(2j * math.pi * (np.arange(g.z) + 0.5) / g.z)
        centre = (radius + 1j * ahead) * direction
        for place in range(measuring.size_places):
            i = place * g.z // (2 * measuring.size_places)
            apart = abs(centre[(i + g.z // 2) % g.z] - centre[i])
            yield SizeReading(
                "balls",
                float(apart + g.s * contact.diameter + noise[place]),
                contact.diameter,
                position=f"space {i + 1}",
            )
    if setup.span is not None:
        k, points = setup.span
        left, right = surface.deviation(points)
        for place in range(measuring.size_places):
            i = place * g.z // measuring.size_places
            over = math.cos(g.beta_b) * (left[i] + right[i]) / 1000
            yield SizeReading(
                "span",
                float(nominal_span(g, k) + over + noise[place]),
                teeth_spanned=k,
                position=f"tooth {i + 1}",
            )


def _production(
    scenario: Scenario, made: SimulatedPart, own: Override, rng: np.random.Generator
) -> Production:
    process, measuring = scenario.process, scenario.measuring
    warm = float(rng.standard_normal())
    temperature = measuring.temperature_degC
    due = measuring.calibration_due
    return Production(
        finished_at=made.finished_at,
        grinder=process.grinder,
        wheel=made.wheel,
        dress=f"D{made.cycle:03d}",
        parts_since_dress=made.since_dress,
        fixture=process.fixture,
        measured_at=made.finished_at + timedelta(minutes=measuring.delay_min),
        instrument=measuring.instrument,
        operator=measuring.operators[made.day % len(measuring.operators)] if measuring.operators else None,
        temperature_degC=None
        if temperature is None
        else round(temperature + measuring.temperature_scatter_degC * warm, 2),
        calibration_ref=measuring.calibration_ref,
        calibration_due=None if due is None else datetime.fromisoformat(due),
        remark=own.remark,
    )
