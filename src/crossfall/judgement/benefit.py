"""What it is worth to do a need, and how urgent it is.

Worth is counted in hours of a grader with its operator, so that dispatch can weigh it against the
hours the job takes. It has six parts, shown beside the need:

- *traffic*: roughness saved for those who drive there while the gain lasts;
- *road class*: what a road of its class must carry whatever its traffic;
- *condition*: how far the road has fallen, for work of this size;
- *delay*: the dearer work that waiting would bring, as far as the road is near it;
- *requests*: residents who asked;
- *served*: who depends on the road: school bus, milk, logs, mail, emergency.

Urgency joins the lacks of a road so that they add up and never cancel: worse is never less urgent.
Hazards are in neither: they are secured at once.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from crossfall.judgement.restore import scores_after
from crossfall.judgement.rules import CODE, Judgement, usual_h_km
from crossfall.model import Treatment
from crossfall.model.policy.needs import CallPolicy, NeedsPolicy, WorthPolicy

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

PARTS = ("traffic", "road class", "condition", "delay", "requests", "served")
"""Names of the shares of worth, in the order of :func:`worth`'s rows."""

_DEFORMATION = 3
_T = Treatment
_HOLDS_WATER = (
    _T.DITCH_CLEANING,
    _T.CULVERT_CLEARING,
    _T.SHOULDER_PULLING,
    _T.SECONDARY_DITCH_REMOVAL,
)
"""Left undone, water breaks the surface: the dearer work comes on top, not instead."""
_FAULTS = {
    _T.CULVERT_CLEARING: ("is_culvert_blocked",),
    _T.DITCH_CLEANING: ("is_ditch_blocked", "is_ditch_missing"),
    _T.SHOULDER_PULLING: ("has_high_shoulder",),
    _T.SECONDARY_DITCH_REMOVAL: ("has_secondary_ditch",),
    _T.SPOT_GRAVEL: ("is_shoulder_eroded", "is_shoulder_low"),
    _T.WINDROW_PICKUP: ("has_windrow",),
}
"""Faults that are there or not, and the work that ends them."""
_LIFE = {
    _T.BLADING: "life_blading_days",
    _T.WINDROW_PICKUP: "life_blading_days",
    _T.SHOULDER_PULLING: "life_reshaping_days",
    _T.SECONDARY_DITCH_REMOVAL: "life_reshaping_days",
    _T.RESHAPING: "life_reshaping_days",
    _T.SCARIFY_REMIX: "life_reshaping_days",
    _T.DUST_CONTROL: "life_reshaping_days",
    _T.SPOT_GRAVEL: "life_reshaping_days",
    _T.DITCH_CLEANING: "life_drainage_days",
    _T.CULVERT_CLEARING: "life_drainage_days",
    _T.REGRAVELLING: "life_gravel_days",
    _T.ENGINEER: "life_gravel_days",
}


def urgency(
    scores: Floats, facts: dict[str, Floats], n_requests: Ints, needs: NeedsPolicy
) -> Floats:
    """Urgency from 0 (can wait a season) to 1 (this week), shape (segment,).

    Each lack leaves a share of calm; the shares multiply. Lacks of ride, surface and crown count
    more where more people drive.
    """
    weight, call = needs.urgency, needs.worth
    lack = np.clip((5 - scores) / 4, 0, 1) ** weight.power
    busy = facts["adt"] / (facts["adt"] + weight.half_adt)
    felt = weight.quiet_share + (1 - weight.quiet_share) * busy
    calm = np.ones(scores.shape[1])
    for share, amount, reach in (
        (weight.crown, lack[0], felt),
        (weight.drainage, lack[1], 1.0),
        (weight.gravel, lack[2], 1.0),
        (weight.deformation, lack[3], felt),
        (weight.defects, lack[4], felt),
        (weight.culvert, facts["is_culvert_blocked"], 1.0),
        (weight.ditch, np.maximum(facts["is_ditch_blocked"], facts["is_ditch_missing"]), 1.0),
        (weight.windrow, facts["has_windrow"], 1.0),
        (weight.edge, facts["has_high_shoulder"], 1.0),
        (weight.edge, facts["has_secondary_ditch"], 1.0),
        (weight.edge, facts["is_shoulder_eroded"], 1.0),
        (weight.edge, facts["is_shoulder_low"], 1.0),
    ):
        calm *= 1 - share * amount * reach
    calm *= (1 - call.request_urgency) ** np.sqrt(n_requests)
    return 1 - calm


def worth(
    judgement: Judgement,
    scores: Floats,
    scores_later: Floats,
    facts: dict[str, Floats],
    class_h_km: Floats,
    length_km: Floats,
    n_requests: Ints,
    needs: NeedsPolicy,
    served_h_km: Floats | float = 0.0,
) -> Floats:
    """Worth of each segment's work by part (part, segment) [h]; 0 where none is due.

    All the work a need calls for counts, what comes before and after the primary treatment too, as
    it does in the hours of the job. ``scores_later`` are the scores after the delay that the policy
    names, without work.
    """
    usual = usual_h_km(needs.usual)
    is_due = judgement.primary != CODE[_T.NONE]
    lack = _lack(judgement, scores, facts, needs.worth.fault_lack)
    parts = np.zeros((len(PARTS), scores.shape[1]))
    parts[0] = _users(judgement, scores, facts["adt"], needs) * length_km
    parts[1] = class_h_km * lack.max(axis=0) * length_km
    parts[2] = needs.worth.deficit_share * (usual @ lack) * length_km
    parts[3] = (
        needs.worth.delay_share
        * _dearer_h_km(judgement, scores_later, facts["adt"], usual, needs.call)
        * length_km
    )
    parts[4] = needs.worth.request_h * np.sqrt(n_requests)
    parts[5] = served_h_km * lack.max(axis=0) * length_km
    return np.where(is_due, parts, 0.0)


def _users(judgement: Judgement, scores: Floats, adt: Floats, needs: NeedsPolicy) -> Floats:
    """Roughness saved for users by the work they feel most, in hours for a kilometre [h/km]."""
    worth_policy = needs.worth
    before = _iri(scores[_DEFORMATION], worth_policy)
    saved_days = np.zeros(scores.shape[1])
    for treatment, life in _LIFE.items():
        rows = judgement.work[CODE[treatment]]
        first = _surface_work(treatment)
        if first is _T.NONE or not rows.any():
            continue
        after = _iri(scores_after(scores[:, rows], first, needs.effect)[_DEFORMATION], worth_policy)
        days = min(getattr(worth_policy, life), worth_policy.life_reshaping_days)
        saved_days[rows] = np.maximum(saved_days[rows], (before[rows] - after) * days)
    return worth_policy.user_h_per_1000_veh_km_iri * adt * saved_days / 1000


def _surface_work(treatment: Treatment) -> Treatment:
    """The part of a treatment that people feel under their wheels."""
    if treatment in (_T.ENGINEER, _T.REGRAVELLING):
        return _T.REGRAVELLING
    if treatment in (_T.DITCH_CLEANING, _T.CULVERT_CLEARING, _T.DUST_CONTROL, _T.WINDROW_PICKUP):
        return _T.NONE
    return treatment


def _iri(ride: Floats, worth_policy: WorthPolicy) -> Floats:
    at, iri = zip(*worth_policy.iri_knots, strict=True)
    return np.interp(ride, at, iri)


def _lack(
    judgement: Judgement, scores: Floats, facts: dict[str, Floats], fault_lack: float
) -> Floats:
    """How far what each treatment mends has fallen (treatment, segment), 0 to 1.

    By the scores it mends, and at least ``fault_lack`` where the fault itself was seen: a blocked
    culvert under a perfect road is still worth clearing. 0 for treatments that are not called for.
    """
    mends = {
        _T.REGRAVELLING: (2,),
        _T.SPOT_GRAVEL: (2,),
        _T.ENGINEER: (1, 2, 3),
        _T.DITCH_CLEANING: (1,),
        _T.CULVERT_CLEARING: (1,),
        _T.DUST_CONTROL: (4,),
        _T.BLADING: (0, 3, 4),
        _T.WINDROW_PICKUP: (0, 3, 4),
        _T.RESHAPING: (0, 3),
        _T.SCARIFY_REMIX: (0, 3),
        _T.SHOULDER_PULLING: (0, 1),
        _T.SECONDARY_DITCH_REMOVAL: (0, 1),
    }
    lack = np.zeros(judgement.work.shape)
    for treatment, indices in mends.items():
        rows = judgement.work[CODE[treatment]]
        worst = scores[list(indices)][:, rows].min(axis=0)
        lack[CODE[treatment], rows] = np.clip((5 - worst) / 4, 0, 1)
    for treatment, faults in _FAULTS.items():
        is_seen = judgement.work[CODE[treatment]] & np.any([facts[name] > 0 for name in faults], 0)
        lack[CODE[treatment], is_seen] = np.maximum(lack[CODE[treatment], is_seen], fault_lack)
    return lack


def _dearer_h_km(
    judgement: Judgement, later: Floats, adt: Floats, usual: Floats, call: CallPolicy
) -> Floats:
    """Further hours that the next dearer work would take, as near as the delay brings it [h/km]."""
    steps = (
        (_T.BLADING, _T.RESHAPING, 3, call.reshape_deformation),
        (_T.BLADING, _T.RESHAPING, 0, call.reshape_crown),
        (_T.RESHAPING, _T.SCARIFY_REMIX, 3, call.scarify_deformation),
        (_T.SPOT_GRAVEL, _T.REGRAVELLING, 2, call.regravel_gravel),
        (_T.REGRAVELLING, _T.ENGINEER, 2, call.engineer_score),
        (_T.DITCH_CLEANING, _T.RESHAPING, 1, call.ditch_drainage),
        (_T.CULVERT_CLEARING, _T.RESHAPING, 1, call.cause_drainage),
        (_T.SHOULDER_PULLING, _T.RESHAPING, 1, call.cause_drainage),
        (_T.SECONDARY_DITCH_REMOVAL, _T.RESHAPING, 1, call.cause_drainage),
    )
    dearer = np.zeros(judgement.work.shape)
    for now, then, score, limit in steps:
        rows = judgement.work[CODE[now]]
        near = np.clip(1 - (later[score, rows] - limit), 0, 1)
        if then is _T.REGRAVELLING:
            # Too few drive there: gravel over the whole length would never be called for
            near = np.where(adt[rows] > call.regravel_adt, near, 0.0)
        spared = 0.0 if now in _HOLDS_WATER else usual[CODE[now]]
        further = max(usual[CODE[then]] - spared, 0.0)
        dearer[CODE[now], rows] = np.maximum(dearer[CODE[now], rows], further * near)
    return dearer.sum(axis=0)
