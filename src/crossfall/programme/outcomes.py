"""What each strategy would come to on each segment, in eight bytes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Singles = npt.NDArray[np.float32]
Masks = npt.NDArray[np.uint32]


@dataclass(frozen=True, eq=False)
class Outcomes:
    """What each strategy would cost on each segment, and when it regravels."""

    cost: Singles
    """(segment, strategy) present value, minor units; inf where the service level is missed."""
    mask: Masks
    """(segment, strategy) bit t set: regravelled in year t."""

    def rows(self, chosen: npt.NDArray[np.int64]) -> Outcomes:
        """The outcomes of some of the segments."""
        return Outcomes(self.cost[chosen], self.mask[chosen])
