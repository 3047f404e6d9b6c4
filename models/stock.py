"""One tank's stock: its calculation and its uncertainty put together once, then asked at every poll.

Knows vessel, product and accuracy; remembers nothing between two questions.
"""

from collections.abc import Mapping

from models.chain import Step, budget_step, steps_of
from models.quantity import Calculation, Gauging, Product, Quantities, Vessel
from models.stock_budget import AFTER_RECEIPT, AT_REST, Accuracy, Rest, StockBudgeter
from models.uncertainty import Budget


class StockModel:
    """What turns the gaugings of one tank into stock.

    accuracy: standard uncertainties by whether the liquid is at rest. Raises `OutOfRange` for a density that no table
    takes.
    """

    __slots__ = ("_moving", "_resting", "calculate", "product", "vessel")

    def __init__(self, vessel: Vessel, product: Product, accuracy: Mapping[Rest, Accuracy]) -> None:
        self.vessel, self.product = vessel, product
        self.calculate = Calculation(vessel, product)
        self._moving = StockBudgeter(vessel, product, accuracy[AFTER_RECEIPT])
        self._resting = StockBudgeter(vessel, product, accuracy[AT_REST])

    def u95_m3(self, q: Quantities, gauging: Gauging, rest: Rest) -> float | None:
        """Expanded uncertainty (k = 2) of GSV; None where there is none."""
        return (self._resting if rest is AT_REST else self._moving).expanded_m3(q, gauging)

    def budget(self, q: Quantities, gauging: Gauging, rest: Rest) -> Budget | None:
        """The same with every term; None where there is no GSV."""
        return None if q.gsv_m3 is None else (self._resting if rest is AT_REST else self._moving).budget(q, gauging)

    def steps(self, q: Quantities, gauging: Gauging, budget: Budget | None) -> list[Step]:
        """Every step behind these figures, the uncertainty last."""
        steps = list(steps_of(self.vessel, self.product, gauging, q))
        return steps if budget is None else [*steps, budget_step(budget)]
