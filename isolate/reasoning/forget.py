"""What was believed a while ago, as far as it still holds.

Between two cases nobody watches: a part may be changed without a word, moisture dries, something new breaks. For each
zone the state stands with a share that falls with time, and else is drawn anew from what is believed of a zone that
nobody has looked at. It is one step of a Markov chain along each zone's axis, as the prediction step of a discrete
Bayes filter makes it.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from isolate.reasoning.belief import Model

Table = NDArray[np.float64]


def forget(joint: Table, model: Model, kept: Mapping[str, float]) -> Table:
    """Return the joint with each zone named kept by its share, and else drawn anew from its prior.

    ``joint``: one axis a zone, in the order of ``model.zones``; its sum stays as it is. ``kept``: zone → share from 0
    (all of it drawn anew) to 1 (as it was). Zones not named stay. J' = share J + (1 - share) prior x sum over the zone
    of J, zone by zone; the order does not matter. Raises ValueError for a zone that is not there or a share that is
    none.
    """
    for zone, share in kept.items():
        if zone not in model.axis:
            raise ValueError(f"there is no zone {zone!r}; there are {', '.join(model.zones)}")
        if not 0 <= share <= 1:
            raise ValueError(f"of a zone a share from 0 to 1 is kept, not {share!r}")
        if share == 1:
            continue
        prior = model.along(zone, model.fitted.zones[zone].prior)
        anew = joint.sum(axis=model.axis[zone], keepdims=True) * ((1 - share) * prior)
        joint = np.multiply(joint, share)
        joint += anew
    return joint


def share_kept(days: float, half_life: float) -> float:
    """Return the share that still stands after so many days, halved each ``half_life`` days."""
    return float(2.0 ** (-max(0.0, days) / half_life))
