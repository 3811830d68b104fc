"""What probably happened, for stored visits: against the boat's last one, or against sisters of the same design."""

from __future__ import annotations

from django.db.models import OuterRef, Subquery

from boats.models import Boat
from computations.derivation import derive
from computations.diagnosis.diagnose import Answer, diagnose
from computations.diagnosis.sisters import Sisters, sisters_from
from computations.diagnosis.staging import scene_alone, scene_between
from office.policy import queries as policy_queries
from surveys.figures import Figures
from surveys.inputs import visit_inputs
from surveys.models import Visit, VisitState
from surveys.queries import with_content

MOST_SISTERS = 30  # the latest measured: more would say no more


def probable_causes(previous: Figures | None, current: Figures, sisters: Sisters | None = None) -> tuple[Answer, ...]:
    """Everything that may have happened, most probable first. A first visit is held against itself and her sisters."""
    if previous is None:
        return diagnose(scene_alone(current.derivation, sisters.readings if sisters else None))
    before, assumptions = previous.derivation, current.derivation.assumptions
    if before.assumptions != assumptions:
        before = derive(previous.inputs, assumptions)
    return diagnose(scene_between(before, current.derivation))


def sisters_of(boat: Boat) -> Sisters:
    """From the last accepted visits of other boats of her design. As many queries however many sisters there are."""
    if boat.design_id is None:
        return Sisters()
    accepted = Visit.objects.filter(state=VisitState.ACCEPTED, boat=OuterRef("boat")).order_by("-date", "-pk")
    latest = (
        Visit.objects.filter(state=VisitState.ACCEPTED, boat__design=boat.design_id)
        .exclude(boat=boat)
        .filter(pk=Subquery(accepted.values("pk")[:1]))
        .order_by("-date", "-pk")
    )
    assumptions = policy_queries.assumptions(policy_queries.current())
    return sisters_from(derive(visit_inputs(visit), assumptions) for visit in with_content(latest)[:MOST_SISTERS])
