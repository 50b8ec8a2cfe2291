"""Which flank is left and which is right, drawn from the involute: as text and as SVG.

Looking onto the datum face with the tooth tip up. Every outline point and every label place is
computed from the gear's geometry, so the sketch cannot disagree with the numbering rules:
teeth count clockwise, space i lies clockwise of tooth i.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from gearqa.report.blocks.document import Figure

Kind = Literal["external", "internal"]
Point = tuple[float, float]

TEXT_COLUMNS = 74
CHARACTER_ASPECT = 2.1
"""Height of a character cell over its width."""
METAL, AIR, RIM = "#", " ", "."


@dataclass(frozen=True, slots=True)
class SketchGear:
    """A spur gear of module 1 for drawing; angles clockwise from straight up, in radians."""

    kind: Kind
    teeth: int
    pressure_angle_deg: float = 20.0

    @property
    def s(self) -> int:
        """+1 external, -1 internal."""
        return 1 if self.kind == "external" else -1

    @property
    def reference_radius(self) -> float:
        """Radius of the reference circle, modules."""
        return self.teeth / 2

    @property
    def tip_radius(self) -> float:
        """Radius of the tips, modules."""
        return self.reference_radius + self.s

    @property
    def root_radius(self) -> float:
        """Radius of the roots, modules."""
        return self.reference_radius - 1.25 * self.s

    @property
    def rim_radius(self) -> float:
        """How far the metal is drawn behind the roots, modules."""
        return self.root_radius - 0.9 * self.s

    @property
    def pitch_angle(self) -> float:
        """Angle from tooth to tooth."""
        return 2 * math.pi / self.teeth

    @property
    def up(self) -> float:
        """Clockwise angle of the middle tooth, whose tip points up."""
        return 0.0 if self.kind == "external" else math.pi

    def half_thickness(self, radius: float) -> float:
        """Half the angle that a tooth fills at a radius: the involute (ISO 21771)."""
        base = self.reference_radius * math.cos(math.radians(self.pressure_angle_deg))
        here, reference = (
            math.tan(alpha) - alpha
            for alpha in (math.acos(min(1.0, base / radius)), math.radians(self.pressure_angle_deg))
        )
        return math.pi / 2 / self.teeth + self.s * (reference - here)

    def flank_angle(self, flank: Literal["left", "right"], tooth: int, radius: float) -> float:
        """Clockwise angle of a flank point; tooth 2 is the middle one.

        Going clockwise an external tooth shows its left flank first, an internal one its right flank.
        """
        clockwise_side = "right" if self.kind == "external" else "left"
        side = 1 if flank == clockwise_side else -1
        return self.tooth_angle(tooth) + side * self.half_thickness(radius)

    def tooth_angle(self, tooth: int) -> float:
        """Clockwise angle of a tooth's centre; tooth 2 is the middle one."""
        return self.up + (tooth - 2) * self.pitch_angle

    def is_metal(self, radius: float, angle: float) -> bool:
        """Whether a point lies in the gear."""
        if self.s * (radius - self.root_radius) <= 0:
            return True
        if self.s * (radius - self.tip_radius) > 0:
            return False
        off = math.remainder(angle - self.up, self.pitch_angle)
        return abs(off) <= self.half_thickness(radius)


def place(radius: float, angle: float) -> Point:
    """Rectangular coordinates (x to the right, y up) of a point at a clockwise angle from the top."""
    return radius * math.sin(angle), radius * math.cos(angle)


RING = SketchGear("internal", 44)
PINION = SketchGear("external", 24)
GEARS: dict[Kind, SketchGear] = {"external": PINION, "internal": RING}
TEETH_SHOWN = (1, 2, 3)


def _labels(gear: SketchGear) -> list[tuple[str, Point]]:
    """Words of the sketch and where they belong."""
    middle = gear.reference_radius
    into_air = 0.55 / middle
    labels: list[tuple[str, Point]] = []
    for tooth in TEETH_SHOWN:
        labels.append((str(tooth), place(gear.root_radius, gear.tooth_angle(tooth))))
        for flank in ("left", "right"):
            angle = gear.flank_angle(flank, tooth, middle)
            outwards = math.copysign(into_air, angle - gear.tooth_angle(tooth))
            labels.append((flank[0].upper(), place(middle, angle + outwards)))
    for space in TEETH_SHOWN[:-1]:
        angle = gear.tooth_angle(space) + gear.pitch_angle / 2
        labels.append((f"s{space}", place(gear.root_radius + 0.45 * gear.s, angle)))
    return labels


def _window(gear: SketchGear, *, whole_rim: bool) -> tuple[float, float, float, float]:
    """Left, right, bottom and top of what is drawn, in modules."""
    half = 1.62 * gear.pitch_angle * gear.reference_radius
    y_tip = place(gear.tip_radius, gear.up)[1]
    y_rim = place(gear.rim_radius, gear.up)[1]
    drop = gear.reference_radius * (1 - math.cos(1.5 * gear.pitch_angle))
    if gear.kind == "external":
        bottom = math.sqrt(gear.rim_radius**2 - half**2) if whole_rim else y_rim - 0.2 * drop
        return -half, half, bottom, y_tip + 0.2
    return -half, half, y_rim, y_tip + 0.9 * drop


def clockwise_text(gear: SketchGear) -> str:
    """Which way clockwise runs in the sketch: derived, not stated."""
    x_2, x_3 = (place(gear.reference_radius, gear.tooth_angle(tooth))[0] for tooth in (2, 3))
    return "clockwise ==>" if x_3 > x_2 else "<== clockwise"


def text_sketch(kind: Kind) -> str:
    """The sketch in plain ASCII characters."""
    gear = GEARS[kind]
    left, right, bottom, top = _window(gear, whole_rim=False)
    step = (right - left) / TEXT_COLUMNS
    row_step = step * CHARACTER_ASPECT
    rows = math.ceil((top - bottom) / row_step)
    canvas = [[AIR] * TEXT_COLUMNS for _ in range(rows)]
    for row in range(rows):
        y = top - (row + 0.5) * row_step
        for column in range(TEXT_COLUMNS):
            x = left + (column + 0.5) * step
            radius, angle = math.hypot(x, y), math.atan2(x, y)
            if gear.is_metal(radius, angle):
                canvas[row][column] = METAL if gear.s * (radius - gear.rim_radius) > 0 else RIM
    for word, (x, y) in _labels(gear):
        row = int((top - y) / row_step)
        column = round((x - left) / step - len(word) / 2)
        padded = f" {word} " if canvas[row][column] == METAL else word
        column -= 1 if padded != word else 0
        canvas[row][column : column + len(padded)] = padded
    lines = ["".join(line).rstrip() for line in canvas]
    return "\n".join([clockwise_text(gear).center(TEXT_COLUMNS).rstrip(), *lines])


def outline(gear: SketchGear, steps: int = 12) -> list[Point]:
    """The drawn part of the transverse section as a closed line, tooth by tooth, clockwise."""
    first, last = TEETH_SHOWN[0] - 1, TEETH_SHOWN[-1] + 1
    base = gear.reference_radius * math.cos(math.radians(gear.pressure_angle_deg))
    root_side = max(gear.root_radius, base) if gear.kind == "external" else gear.root_radius
    up_flank = [root_side + (gear.tip_radius - root_side) * i / steps for i in range(steps + 1)]
    points: list[Point] = []
    for tooth in range(first, last + 1):
        centre = gear.tooth_angle(tooth)
        rising = [(r, centre - gear.half_thickness(r)) for r in up_flank]
        tip = gear.half_thickness(gear.tip_radius)
        land = [(gear.tip_radius, centre - tip + 2 * tip * i / steps) for i in range(1, steps)]
        falling = [(r, centre + gear.half_thickness(r)) for r in reversed(up_flank)]
        root = gear.half_thickness(root_side)
        space = gear.pitch_angle - 2 * root
        floor = [(gear.root_radius, centre + root + space * i / steps) for i in range(steps + 1)]
        points += [place(r, a) for r, a in [*rising, *land, *falling, *floor]]
    end = gear.tooth_angle(last) + gear.pitch_angle / 2
    start = gear.tooth_angle(first) - gear.pitch_angle / 2
    back = [(gear.rim_radius, end + (start - end) * i / 60) for i in range(61)]
    return [*points, *(place(r, a) for r, a in back)]


def svg_figure(kind: Kind) -> Figure:
    """The sketch as a figure of a page."""
    from gearqa.report.blocks.document import Figure
    from gearqa.report.draw.palette import BAND, DESIGN, FILTERED, FRAME, TEXT
    from gearqa.report.draw.svg import Canvas, number

    gear = GEARS[kind]
    left, right, bottom, top = _window(gear, whole_rim=True)
    width = 640.0
    scale = width / (right - left)
    head = 26.0
    height = (top - bottom) * scale + head
    description = DESCRIPTIONS[kind]
    canvas = Canvas(width, height, TITLES[kind], description)

    def at(point: Point) -> Point:
        return (point[0] - left) * scale, (top - point[1]) * scale + head

    def path(points: list[Point]) -> str:
        return "M" + "L".join(f"{number(x)} {number(y)}" for x, y in map(at, points))

    canvas.path(path(outline(gear)) + "z", stroke=FRAME, fill=BAND, width=1)
    depth = gear.tip_radius - gear.root_radius
    radii = [gear.reference_radius + depth * (i / 10 - 0.5) * 0.85 for i in range(11)]
    for flank, ink in (("left", FILTERED), ("right", DESIGN)):
        for tooth in TEETH_SHOWN:
            line = [place(r, gear.flank_angle(flank, tooth, r)) for r in radii]  # type: ignore[arg-type]
            canvas.path(path(line), stroke=ink, width=3, dash="" if flank == "left" else "7 3")
    for word, point in _labels(gear):
        x, y = at(point)
        ink = {"L": FILTERED, "R": DESIGN}.get(word, TEXT)
        named = {"L": "left", "R": "right"}.get(word, word.replace("s", "space "))
        size = 13 if word.isdigit() else 11 if len(word) == 1 else 10
        canvas.text(x, y + 4, named, anchor="middle", ink=ink, size=size, bold=word.isdigit())
    arrow = "clockwise →" if clockwise_text(gear).endswith(">") else "← clockwise"
    canvas.text(width / 2, 17, f"{arrow}, tip up, seen onto the datum face", anchor="middle", size=12)
    return Figure(canvas.tostring(), TITLES[kind], description)


TITLES: dict[Kind, str] = {
    "external": "External gear (pinion, sun, planet)",
    "internal": "Internal gear (ring)",
}
DESCRIPTIONS: dict[Kind, str] = {
    "external": "Three teeth of an external gear seen onto the datum face, tips up. Clockwise runs to the "
    "right. Going clockwise each tooth shows its left flank, then its right flank; space 1 lies between "
    "the right flank of tooth 1 and the left flank of tooth 2.",
    "internal": "Three teeth of an internal gear seen onto the datum face, at the bottom of the ring, so "
    "that the tips point up. Clockwise runs to the left. Going clockwise each tooth shows its right flank, "
    "then its left flank; space 1 lies between the left flank of tooth 1 and the right flank of tooth 2.",
}
