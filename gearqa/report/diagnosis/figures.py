"""Figures of a diagnosis: shares, ladder, index round the gear, orders with thresholds, flank surface."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from gearqa.model.diagnosis import GearDiagnosis, LotDiagnosis
from gearqa.report.blocks import document as doc
from gearqa.report.diagnosis.names import component_name, keys_text, rung_class
from gearqa.report.draw import diagnosis_charts as drawn
from gearqa.report.draw import palette, plot
from gearqa.report.draw.chart_scales import HALF
from gearqa.symbols import DEFAULT_GRADED, FLANKS, PARAMETERS
from gearqa.wording.numbers import fixed_text, percent_text, um_text

LEAST_SHARE = 0.05
MOST_BARS = 3
"""Components shown of a deviation."""
MOST_RUNGS = 8
NAME_CHARACTERS = 29


def _short(name: str) -> str:
    return name if len(name) <= NAME_CHARACTERS else f"{name[: NAME_CHARACTERS - 1].rstrip(', ')}…"


def share_chart(one: GearDiagnosis | LotDiagnosis) -> tuple[doc.Figure, ...]:
    """Bars of components for each deviation that counts for a class."""
    bars: list[drawn.NamedBar] = []
    for key in PARAMETERS:
        if key not in DEFAULT_GRADED:
            continue
        those = [(c.explains[key], c) for c in one.components if c.explains.get(key, 0.0) >= LEAST_SHARE]
        those.sort(key=lambda item: -item[0])
        if those:
            bars.append(drawn.NamedBar(doc.symbol(key)))
            bars += [
                drawn.NamedBar(_short(component_name(c)), share, percent_text(share))
                for share, c in those[:MOST_BARS]
            ]
    if not bars:
        return ()
    text = "What of each deviation goes with a component"
    whose = "of the gear" if isinstance(one, GearDiagnosis) else "of the worst gear"
    caption = f"Each taken out alone, so shares need not add up; value {whose}. At most {MOST_BARS} each."
    svg = drawn.named_bars(text, f"{text}. {caption}", bars, (0.0, 1.0), "share of the deviation")
    return (doc.Figure(svg, text, f"{text}.", caption, half=True),)


def ladder_chart(one: GearDiagnosis | LotDiagnosis, master: int) -> tuple[doc.Figure, ...]:
    """Exact class as measured and without components."""
    rungs = [rung for rung in one.ladder if rung.class_exact is not None]
    if len(rungs) < 2 or rungs[0].without:
        return ()
    base = rungs[0].class_exact or 0.0
    better = [rung for rung in rungs[1:] if base - (rung.class_exact or 0.0) >= 0.05][: MOST_RUNGS - 1]
    if not better:
        return ()
    bars = [
        drawn.NamedBar(
            _short(f"without {keys_text(r.without)}") if r.without else "as measured",
            max(r.class_exact or 0.0, 0.0),
            f"class {rung_class(r)}",
            palette.FILTERED if r.without else palette.MEASURED,
        )
        for r in (rungs[0], *better)
    ]
    text = "The class without components"
    highest = max(base, float(master)) * 1.05
    svg = drawn.named_bars(
        text, f"{text}, as exact class.", bars, (0.0, highest), "exact class",
        (float(master), f"master quality: class {master}"),
    )  # fmt: skip
    caption = "The measured class counts. Names in full in the table."
    return (doc.Figure(svg, text, f"{text}.", caption, half=True),)


def round_charts(gear: GearDiagnosis) -> tuple[doc.Figure, ...]:
    """Index of both flanks, and where the toothing lies, round the gear with the fitted first order."""
    views = gear.views
    if views is None:
        return ()
    figures = []
    if views.index_um:
        curves = []
        for flank, ink in zip(FLANKS, (palette.FILTERED, palette.DESIGN), strict=True):
            if flank in views.index_um:
                index = views.index_um[flank]
                angle = 2 * math.pi * np.arange(len(index)) / len(index)
                curves += [
                    drawn.Round(f"index, {flank}", angle, index, ink),
                    drawn.Round("first order", angle, views.first_order_um[flank], ink, 0.8, "3 2"),
                ]
        text = "Index round the gear, with the first order fitted"
        svg = drawn.polar(text, f"{text}, clockwise from tooth 1.", curves, None, "")
        figures.append(doc.Figure(svg, text, f"{text}.", half=True))
    if views.radial_um is not None and views.eccentric_um is not None:
        z = len(views.radial_um)
        angle = 2 * math.pi * (np.arange(z) + 0.5) / z
        off = next((c for c in gear.components if c.key == "eccentricity" and c.significant), None)
        curves = [
            drawn.Round("ball position", angle, views.radial_um, palette.FILTERED),
            drawn.Round("eccentricity fitted", angle, views.eccentric_um, palette.LIMIT, 1.0, "4 2"),
        ]
        words = "no eccentricity beyond chance"
        if off is not None and off.phase_deg is not None:
            words = f"{um_text(off.amplitude_um)} off centre at {fixed_text(off.phase_deg, 0)}°"
        arrow = None if off is None or off.phase_deg is None else math.radians(off.phase_deg)
        text = "Where the toothing lies, with the eccentricity fitted"
        svg = drawn.polar(text, f"{text}, clockwise from tooth 1: {words}.", curves, arrow, words)
        figures.append(doc.Figure(svg, text, f"{text}: {words}.", half=True))
    return tuple(figures)


def order_charts(gear: GearDiagnosis) -> tuple[doc.Figure, ...]:
    """Amplitude of each order with its interval, and the amplitude from which one is seen."""
    figures = []
    for kind, name in (("radial", "Radial"), ("tangential", "Tangential")):
        those = [one for one in gear.orders if one.kind == kind]
        if not those:
            continue
        order = np.array([one.order for one in those], dtype=np.float64)
        amplitude = np.array([one.amplitude_um for one in those])
        u = np.array([np.nan if one.u_um is None else one.u_um for one in those])
        low, high = np.maximum(amplitude - u, 0.0), amplitude + u
        whiskers = plot.strokes(order, low, high, palette.MUTED, 0.8, "± U (k = 2)")
        layers: list[plot.Layer] = [whiskers, plot.Dots(order, amplitude, size=1.8, name="amplitude")]
        if those[0].threshold_um is not None:
            layers.append(plot.Level(those[0].threshold_um, dash="3 2", name="seen from"))
        text = f"{name} orders of pitch and runout"
        chart = plot.Plot(
            title=text, description=f"{text}: amplitude in µm over waves per turn.",
            panels=(plot.Panel(label="", detail="µm", layers=tuple(layers), height=110),),
            x=(0.0, float(order.max()) + 1.0), x_name="waves per turn", width=HALF,
        )  # fmt: skip
        figures.append(plot.figure(chart))
    return tuple(figures)


def surface_charts(gear: GearDiagnosis) -> tuple[doc.Figure, ...]:
    """The flanks where several places of each were traced: mean trace of each place, less the design."""
    if gear.views is None:
        return ()
    figures = []
    for surface in gear.views.surfaces:
        profile = surface.kind == "profile"
        sections = [
            (f"{fixed_text(at, 1)} mm" if profile else f"d {fixed_text(at, 1)}", height)
            for at, height in zip(surface.places_mm, surface.height_um, strict=True)
        ]
        text = f"{surface.flank.capitalize()} flank: {surface.kind} traces at {len(sections)} places"
        ends = ("root", "tip") if profile else ("datum face", "far face")
        svg = drawn.slanted(text, f"{text}, less the design.", surface.position_mm, sections, ends)
        caption = (
            "Means over the teeth, less the design. Heights of the traces against each other: not known."
        )
        figures.append(doc.Figure(svg, text, f"{text}.", caption, half=True))
    return tuple(figures)


def gear_figures(gear: GearDiagnosis, master: int) -> Sequence[doc.Figure]:
    """All charts of a gear."""
    return (
        *share_chart(gear), *ladder_chart(gear, master), *round_charts(gear), *order_charts(gear),
        *surface_charts(gear),
    )  # fmt: skip
