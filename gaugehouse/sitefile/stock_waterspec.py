"""What a site says of the water in its tanks and of its forecast: plain values, ready for the rooms of the house."""

from dataclasses import dataclass

from inventory.draincheck import DrainRules
from inventory.forecast import ForecastRules
from inventory.wateraccount import WaterRules


@dataclass(frozen=True, slots=True)
class WaterSpec:
    """The water of a site's tanks. account_days: over how many days it is accounted for."""

    rules: WaterRules = WaterRules()  # noqa: RUF009 (immutable)
    drains: DrainRules = DrainRules()  # noqa: RUF009 (immutable)
    account_days: int = 30


@dataclass(frozen=True, slots=True)
class ForecastSpec:
    """How issues are foreseen. delivery_days, settling_days: from an order to a load that may be used; None where the
    site does not say."""

    rules: ForecastRules = ForecastRules()  # noqa: RUF009 (immutable)
    delivery_days: float | None = None
    settling_days: float | None = None
