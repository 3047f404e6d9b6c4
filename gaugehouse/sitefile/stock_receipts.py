"""The `[stock.receipts]` table of the site file: limits, prompts and checks of receipts."""

from typing import Annotated

from pydantic import AfterValidator, Field

from gaugehouse.sitefile import fields as f
from gaugehouse.sitefile.fields import milliseconds, quantity, refuse
from gaugehouse.sitefile.table import Table, Text
from inventory.receiptrules import CHECKS, ReceiptRules

MOST_CHECKS = 24
LONGEST_CHECK = 120


def _checks(given: list[str]) -> list[str]:
    plain = [" ".join(text.split()) for text in given]
    if len(plain) > MOST_CHECKS:
        raise refuse(f"{len(plain)} checks; a list that nobody can do protects nobody: write {MOST_CHECKS} at most")
    for number, text in enumerate(plain):
        if not text or len(text) > LONGEST_CHECK:
            raise refuse(f"check {number + 1} is empty or longer than {LONGEST_CHECK} signs; say what is to be done")
        if text.casefold() in (other.casefold() for other in plain[:number]):
            raise refuse(f'"{text}" stands there twice; write each check once')
    return plain


class ReceiptsTable(Table):
    """How receipts are checked here. Everything has a default."""

    density_limit: Annotated[float, quantity("kg/m3", "3 kg/m3", 0.1, 50)] = 3.0
    temperature_limit: f.Difference = 3.0
    quantity_limit: Annotated[float, quantity("%", "0.5 %", 0.01, 10)] = 0.5
    paper_uncertainty: Annotated[float, quantity("%", "0.2 %", 0.01, 10)] = 0.2
    divergence_limit: Annotated[float, quantity("%", "2 %", 0.1, 50)] = 2.0
    slow_start: Annotated[int, milliseconds("10 min", 0, 7200)] = 600_000
    first_check: Annotated[int, milliseconds("15 min", 60, 14_400)] = 900_000
    check_every: Annotated[int, milliseconds("20 min", 60, 86_400)] = 1_200_000
    checks: Annotated[list[Text], AfterValidator(_checks)] = Field(default_factory=lambda: list(CHECKS))
    source: str = ""

    def rules(self) -> ReceiptRules:
        return ReceiptRules(
            density_limit_kgpm3=self.density_limit,
            temperature_limit_degC=self.temperature_limit,
            quantity_limit_frac=self.quantity_limit / 100,
            paper_u95_frac=self.paper_uncertainty / 100,
            divergence_frac=self.divergence_limit / 100,
            slow_start_ms=self.slow_start,
            first_check_ms=self.first_check,
            check_every_ms=self.check_every,
            checks=tuple(self.checks),
            source=self.source,
        )
