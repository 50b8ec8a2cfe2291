"""Claims of whole gears: all values of a gear judged against the worst class that was claimed for it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from gearqa.incoming.claims import judge_all
from gearqa.incoming.editions import Edition, edition_claimed
from gearqa.model.incoming import Claim, ClaimedValue, GearClaim, ReportedValue
from gearqa.model.results import GearResult


@dataclass(frozen=True, eq=False, slots=True)
class ValueClaim:
    """What a claim of one value is judged on."""

    meanings: Sequence[ReportedValue]
    gear: GearResult
    expanded: float | None
    """Our U. [um]"""


def gear_claims(values: Iterable[ValueClaim], editions: Mapping[str, Edition]) -> tuple[GearClaim, ...]:
    """One claim a gear that we measured; none where its classes belong to several editions."""
    gears: dict[str, list[ValueClaim]] = {}
    for one in values:
        if one.meanings[0].class_ is not None:
            gears.setdefault(one.meanings[0].serial, []).append(one)
    found = []
    for serial, own in gears.items():
        titles = {edition_claimed(one.meanings[0].standard, editions) for one in own}
        title = titles.pop()
        if titles or title is None or title not in editions:
            continue
        found.append(_gear(serial, title, own, editions))
    return tuple(found)


def _gear(serial: str, title: str, own: Sequence[ValueClaim], editions: Mapping[str, Edition]) -> GearClaim:
    class_ = max(one.meanings[0].class_ or 0 for one in own)
    states: dict[Claim, list[ClaimedValue]] = {"not confirmed": [], "not proven": [], "confirmed": []}
    for one in own:
        meant = [replace(value, class_=class_, class_text=str(class_)) for value in one.meanings]
        judged = judge_all(meant, one.gear, one.expanded, editions)
        if judged.claim != "none":
            value = one.meanings[0]
            states[judged.claim].append(ClaimedValue(value.parameter, value.flank, judged.judged_um))
    claim: Claim = next((claim for claim, some in states.items() if some), "none")
    deciding = tuple(states[claim]) if claim in {"not confirmed", "not proven"} else ()
    return GearClaim(serial, own[0].gear.serial, class_, title, claim, deciding)


def lot_claim(gears: Sequence[GearClaim]) -> Claim:
    """The worst claim of the gears; none where nothing was judged."""
    order: tuple[Claim, ...] = ("not confirmed", "not proven", "confirmed")
    return next((claim for claim in order if any(one.claim == claim for one in gears)), "none")
