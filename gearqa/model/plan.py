"""How a lot is decided, as a plan file states it: schema and invariants.

Everything has a default; without a plan file the empty plan applies. This module is the schema:
`gearqa schema plan` prints it, and nothing else repeats the keys.
"""

from __future__ import annotations

from typing import Annotated, Final, Literal, Self

from gearqa.errors import Reason
from gearqa.model.decision_rule import DecisionTable, Share
from gearqa.model.part import Positive
from gearqa.model.table import Field, TomlTable, about, fault, model_validator, section
from gearqa.symbols import QUANTITIES, quantity_of

Drawn = Literal["random", "systematic", "convenience", "unknown"]
Scheme = Literal["isolated lot", "AQL", "own"]
InspectionLevel = Literal["S-1", "S-2", "S-3", "S-4", "I", "II", "III"]
Requirement = Literal[
    "outliers", "normality", "ppk", "tolerance_interval", "trend", "independence", "uncertainty"
]

REQUIREMENTS: Final[dict[Requirement, str]] = {
    "outliers": "no value is flagged as an outlier",
    "normality": "no departure from the assumed distribution is seen, and there are enough gears to see one",
    "ppk": "the lower bound of every index reaches minimum_ppk",
    "tolerance_interval": "every tolerance interval can be stated and lies within the limits",
    "trend": "the order of production is known and no trend is seen",
    "independence": "the dress cycles of all gears are known and the sample is not worth far fewer gears",
    "uncertainty": "the measurement uncertainty of every required parameter is known",
}
"""What a plan may make a condition of release, which otherwise only cautions."""

Percent = Annotated[float, Field(ge=1e-6, lt=100)]


class SamplingTable(TomlTable):
    """`[sampling]`: how many gears, and how many may fail."""

    scheme: Scheme | None = about(
        "isolated lot (by limiting quality, own computed plan), AQL (single sampling, normal inspection), or "
        "own (n with ac or k); found from the other keys where absent",
        default=None,
    )
    limiting_quality_percent: Percent | None = about(
        "isolated lot: nonconforming share that should rarely pass; 5 where absent", default=None
    )
    consumer_risk_percent: Percent | None = about(
        "isolated lot: how often a lot of limiting quality may pass; 10 where absent", default=None
    )
    aql_percent: Positive | None = about("AQL: acceptance quality limit, a preferred value", default=None)
    level: InspectionLevel | None = about("AQL: inspection level; II where absent", default=None)
    n: Annotated[int, Field(ge=1)] | None = about("own plan: gears to be measured", default=None)
    ac: Annotated[int, Field(ge=0)] | None = about(
        "own plan or isolated lot: acceptance number; 0 where absent", default=None
    )
    k: Positive | None = about("own plan by variables: acceptability constant of the s-method", default=None)
    variables: tuple[str, ...] = about(
        "own plan by variables: parameters it judges", default=(), strict=False
    )

    @model_validator(mode="after")
    def _one_scheme(self) -> Self:
        given = {
            "isolated lot": [k for k in ("limiting_quality_percent", "consumer_risk_percent")
                             if getattr(self, k) is not None],
            "AQL": [k for k in ("aql_percent", "level") if getattr(self, k) is not None],
            "own": [k for k in ("n", "k") if getattr(self, k) is not None],
        }  # fmt: skip
        for scheme, keys in given.items():
            if keys and scheme != self.resolved:
                raise fault(keys[0], f"with scheme '{self.resolved}'", f"only with scheme '{scheme}'")
        if self.resolved == "AQL":
            if self.aql_percent is None:
                raise fault("aql_percent", "nothing", "the AQL in percent", reason=Reason.MISSING_KEY)
            if self.ac is not None:
                raise fault("ac", f"{self.ac}", "no ac with an AQL: the table gives it")
        if self.resolved == "own":
            if self.n is None:
                raise fault("n", "nothing", "the number of gears", reason=Reason.MISSING_KEY)
            if self.ac is None and self.k is None:
                raise fault("ac", "neither ac nor k", "ac, or k and variables", reason=Reason.MISSING_KEY)
        if (self.k is None) != (not self.variables):
            raise fault("variables", f"{len(self.variables)} parameters", "k and variables together")
        for number, key in enumerate(self.variables):
            if key not in QUANTITIES or quantity_of(key).family == "pitch":
                raise fault(
                    f"variables.{number}", f"'{key}'",
                    "a parameter with a distribution: slopes, totals, forms, runout, size",
                )  # fmt: skip
        return self

    @property
    def resolved(self) -> Scheme:
        """The scheme named, or the one whose keys are given; the isolated lot by default."""
        if self.scheme is not None:
            return self.scheme
        if self.aql_percent is not None:
            return "AQL"
        return "own" if self.n is not None or self.k is not None else "isolated lot"


class MasterTable(TomlTable):
    """`[master_quality]`: what it takes to call the lot master quality."""

    confidence: Share = about("confidence of the statement", default=0.95, ge=0.5)
    coverage: Share = about("share of the lot that must be master quality", default=0.95)


class UncertaintySource(TomlTable):
    """`[uncertainty_source.PARAMETER]`: where an expanded uncertainty comes from."""

    source: str = about("certificate, study or budget", min_length=1)
    date: str = about("its date", default="")


class RepeatTable(TomlTable):
    """`[[repeats]]`: of a gear that was measured more than once, which measurement counts."""

    serial: str = about("serial of the gear", min_length=1)
    use: str = about("label of the measurement that counts", min_length=1)
    reason: str = about("why", min_length=1)
    by: str = about("who says so", min_length=1)


class Plan(TomlTable):
    """A whole plan file."""

    schema_: Literal["gearqa.plan/1"] = about("format of this file", default="gearqa.plan/1", alias="schema")
    decision: DecisionTable = section("what counts as proven")
    sampling: SamplingTable = section("how many gears, and how many may fail")
    confidence: Share = about("confidence of intervals and bounds", default=0.95, ge=0.5)
    coverage: Share = about("share of the lot that tolerance intervals cover", default=0.99)
    master_quality: MasterTable = section("when the lot is called master quality")
    drawn: Drawn = about("how the gears of the sample were picked", default="unknown")
    dress_cycles: Annotated[int, Field(ge=1)] | None = about(
        "dress cycles in which the whole lot was ground", default=None
    )
    require: tuple[Requirement, ...] = about(
        "cautions that hold the lot: " + "; ".join(f"{k}: {v}" for k, v in REQUIREMENTS.items()),
        default=(), strict=False,
    )  # fmt: skip
    minimum_ppk: Positive | None = about('lower bound that require = ["ppk"] asks for', default=None)
    segregated_to: str = about("where gears go that do not conform", default="")
    repeats: tuple[RepeatTable, ...] = about(
        "gears measured more than once: which measurement counts, instead of the first; a [[repeats]] table "
        "for each, with serial, use, reason and by",
        default=(), strict=False,
    )  # fmt: skip
    uncertainty_source: dict[str, UncertaintySource] = about(
        "source and date of each expanded uncertainty", default={}
    )

    @model_validator(mode="after")
    def _requirements(self) -> Self:
        if "ppk" in self.require and self.minimum_ppk is None:
            raise fault("minimum_ppk", "nothing", "the lower bound asked for", reason=Reason.MISSING_KEY)
        for number, word in enumerate(self.require):
            if word in self.require[:number]:
                raise fault(f"require.{number}", f"'{word}' a second time", "each once")
        serials = [one.serial for one in self.repeats]
        for number, serial in enumerate(serials):
            if serial in serials[:number]:
                raise fault(f"repeats.{number}.serial", f"'{serial}' a second time", "each gear once")
        for key in self.uncertainty_source:
            if key not in QUANTITIES:
                raise fault(f"uncertainty_source.{key}", f"'{key}'", f"one of {', '.join(QUANTITIES)}")
        return self
