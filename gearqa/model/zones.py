"""Zones in `part.toml`: stretches of profile or helix with tolerances of their own."""

from __future__ import annotations

from typing import Annotated, Self

from gearqa.errors import Reason
from gearqa.model.limit_curves import Over
from gearqa.model.table import Field, TomlTable, about, fault, model_validator, optional
from gearqa.symbols import Flank, TraceKind
from gearqa.wording.numbers import short_text

Positive = Annotated[float, Field(gt=0)]


class ToleranceZone(TomlTable):
    """`[[tolerance.zone]]`: one zone."""

    kind: TraceKind = about("profile or helix")
    flank: Flank | None = optional("of one flank alone; both where absent")
    over: Over | None = optional("of a profile, what from and to are; roll_length_mm where absent")
    from_: float = about("one end; of a helix face position in mm", alias="from")
    to: float = about("the other end")
    total_um: Positive | None = optional("tolerance of the total deviation within the zone")
    form_um: Positive | None = optional(
        "tolerance of the form deviation within the zone, about the mean line of the zone"
    )
    required: bool = about("whether the zone counts for conformity; false: for information")

    @model_validator(mode="after")
    def _whole(self) -> Self:
        if self.kind == "helix" and self.over is not None:
            raise fault("over", f'"{self.over}"', "nothing: a helix goes by face position in mm")
        if self.from_ == self.to:
            raise fault("to", short_text(self.to), "another position than from")
        if self.total_um is None and self.form_um is None:
            raise fault("total_um", "none", "total_um, form_um or both", reason=Reason.MISSING_KEY)
        return self

    def flanks(self, graded: tuple[Flank, ...]) -> tuple[Flank, ...]:
        """Graded flanks that the zone is of."""
        return tuple(flank for flank in graded if self.flank in (None, flank))
