"""Makes the sample gauge studies: made-up values with known spreads, marked as simulated."""

from __future__ import annotations

from pathlib import Path

import numpy as np

FOLDER = Path(__file__).parents[1] / "sample_measurements" / "gauge_study"
ITEMS, SETUPS, TRIALS = 10, ("A", "B", "C"), 3
SPREADS = {"profile_slope": (2.4, 0.25, 0.20), "helix_slope": (2.8, 0.30, 0.35), "runout": (5.0, 0.5, 0.3)}
"""Parameter -> standard deviation of items, of repeats, of set-ups. [um]"""
REFERENCE = {"profile_slope": (-1.30, 0.40, 0.25, 0.10), "helix_slope": (2.10, 0.50, 0.30, -0.35)}
"""Parameter -> calibrated value, its U, standard deviation of repeats, bias. [um]"""


def crossed_text(seed: int = 91) -> str:
    """Ten rings, three set-ups, three trials."""
    rng = np.random.default_rng(seed)
    lines = ["# gearqa simulated", "item,operator,trial,parameter,value_um"]
    for key, (items, repeats, setups) in SPREADS.items():
        item = rng.normal(0.0, items, ITEMS) + (14.0 if key == "runout" else 0.0)
        setup = rng.normal(0.0, setups, len(SETUPS))
        for i in range(ITEMS):
            for o, name in enumerate(SETUPS):
                for trial in range(1, TRIALS + 1):
                    value = item[i] + setup[o] + rng.normal(0.0, repeats)
                    lines.append(f"R-{i + 1:02d},{name},{trial},{key},{value:.2f}")
    return "\n".join(lines) + "\n"


def reference_text(seed: int = 92) -> str:
    """Thirty measurements of one calibrated gear."""
    rng = np.random.default_rng(seed)
    lines = ["# gearqa simulated", "trial,parameter,value_um,reference_um,reference_uncertainty_um"]
    for key, (value, U, repeats, bias) in REFERENCE.items():
        for trial in range(1, 31):
            found = value + bias + rng.normal(0.0, repeats)
            lines.append(f"{trial},{key},{found:.2f},{value:.2f},{U:.2f}")
    return "\n".join(lines) + "\n"


FILES = {"crossed.csv": crossed_text, "reference_gear.csv": reference_text}

if __name__ == "__main__":
    FOLDER.mkdir(exist_ok=True)
    for name, text in FILES.items():
        (FOLDER / name).write_text(text(), encoding="utf-8", newline="\n")
