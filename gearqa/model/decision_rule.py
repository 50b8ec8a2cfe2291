"""`[decision]`: what counts as proven for one value of one gear; in a plan file or in `part.toml`."""

from __future__ import annotations

from typing import Annotated, Literal

from gearqa.model.table import Field, TomlTable, about

DecisionRuleName = Literal["guarded acceptance", "simple acceptance", "guarded rejection"]
Share = Annotated[float, Field(gt=0, lt=1)]


class DecisionTable(TomlTable):
    """`[decision]`: what counts as proven for one value of one gear."""

    rule: DecisionRuleName = about(
        "how a value counts whose conformity is not proven: guarded acceptance not as conforming, simple "
        "acceptance by the value itself, guarded rejection as conforming",
        default="guarded acceptance",
    )
    confidence: Share = about("probability with which conformity is to be proven", default=0.95, ge=0.5)
