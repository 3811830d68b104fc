"""What probably happened, for stored visits: against the boat's last one, or against sisters of the same design."""

from __future__ import annotations

from collections.abc import Iterable

from boats.models import Boat
from computations.derivation import derive
from computations.diagnosis.diagnose import Answer, diagnose
from computations.diagnosis.sisters import Sisters, sisters_from
from computations.diagnosis.staging import scene_alone, scene_between
from office.policy import queries as policy_queries
from office.policy.models import PolicyEdition
from surveys.figures import Figures
from surveys.history import of_sisters
from surveys.inputs import visit_inputs
from surveys.models import Visit


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
    return sisters_among(of_sisters(boat))


def sisters_among(visits: Iterable[Visit], edition: PolicyEdition | None = None) -> Sisters:
    """From one visit of each sister, fetched with what its figures need, under one edition (today's) for all."""
    assumptions = policy_queries.assumptions(edition or policy_queries.current())
    return sisters_from(derive(visit_inputs(visit), assumptions) for visit in visits)
