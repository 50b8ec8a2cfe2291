"""Amplitude of every order of pitch and runout, with the threshold below which it would not be seen."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from gearqa.core.flank_frame import flank_angle
from gearqa.core.geometry import GearGeometry
from gearqa.diagnosis.decomposition import FAMILY_RISK, Decomposition
from gearqa.diagnosis.points import FLANK_SIGN
from gearqa.evaluation.part_setup import PartSetup
from gearqa.model.diagnosis import OrderAmplitude
from gearqa.model.measurement import GearMeasurement
from gearqa.symbols import FLANKS, Flank


def order_spectrum(fit: Decomposition, setup: PartSetup) -> tuple[OrderAmplitude, ...]:
    """Orders 1 to half the number of teeth: tangential and radial part of the index of both flanks.

    None without the index of all teeth of both flanks. The threshold is what chance reaches in one of all
    orders with the scatter that the fit leaves.
    """
    g = setup.geometry
    waves = flank_waves(fit.gear, g)
    if not waves:
        return ()
    highest = (g.z - 1) // 2
    tangential = (waves["right"] + waves["left"]) / 2
    radial = (waves["right"] - waves["left"]) / (2 * math.tan(g.alpha_t))
    scatter = fit.scatter.get("pitch")
    found = []
    for kind, values, gain in (("tangential", tangential, 1.0), ("radial", radial, 1 / math.tan(g.alpha_t))):
        sd = None if scatter is None else scatter / math.sqrt(g.z) * gain
        threshold = None if sd is None else sd * math.sqrt(2 * math.log(2 * highest / FAMILY_RISK))
        found += [
            OrderAmplitude(
                "tangential" if kind == "tangential" else "radial",
                int(order),
                float(abs(value)),
                None if sd is None else 2 * sd,
                threshold,
            )
            for order, value in enumerate(values, 1)
        ]
    return tuple(found)


def flank_waves(gear: GearMeasurement, g: GearGeometry) -> dict[Flank, NDArray[np.complex128]]:
    """Cosine and sine, as real and imaginary part with its sign turned, of orders 1 to half the number of
    teeth in the index of each flank; empty without the index of all teeth of both flanks. [um]"""
    if any(flank not in gear.pitch or gear.pitch[flank].missing_teeth for flank in FLANKS):
        return {}
    tooth, n = np.arange(1, g.z + 1), np.arange(1, (g.z - 1) // 2 + 1)
    waves: dict[Flank, NDArray[np.complex128]] = {}
    for flank in FLANKS:
        index = gear.pitch[flank].index_um
        theta = flank_angle(g, np.array(FLANK_SIGN[flank]), tooth)
        waves[flank] = 2 / g.z * np.exp(-1j * np.outer(n, theta)) @ (index - index.mean())
    return waves
