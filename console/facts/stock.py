"""The stock sheet of now, and the stock book."""

from typing import Protocol

from console.facts.answers import ActAnswer, Json


class StockFacts(Protocol):
    """What is held, and what the book says of it."""

    def stock(self) -> Json:
        """What every tank holds now: ``{time, tanks, products}``.

        A tank: ``{tank, name, product, time, quality, stock_quality, level_m, temperature_degC, tov_m3, gov_m3,
        gsv_m3, mass_kg, why, gsv_u95_m3}``; a product: ``{product, gov_m3, gsv_m3, mass_kg, missing: [tanks],
        gsv_u95_m3}``, its figures None where a tank of it is not measured.
        """
        ...

    async def stock_book(self, kind: str, name: str, product: str | None, tank: str | None) -> Json:
        """The stock book of a "day" or "month" by its name, "" for the one that goes on.

        ``{kind, period, from, to, over, time, reference_degC, edition, rule: {name, words, source, base, standard} |
        None, head, products}``. A product: ``{product, name, whole, split, days, tanks: [{tank, name, whole, split,
        days}], owners, outside, papers, obstacles, remarks, closed: {entry, time, by, comment, head, period, name,
        rows} | None, seal}``; `days` are those of a month, `rows` of `closed` those that were signed. A row (`whole`,
        of `days`): ``{account, product, period, complete, missing, remarks, opening_from, physical_source,
        physical_time, physical_why, physical_u95_m3, variance_u95_m3, variance_gross_u95_m3, base_m3, percent,
        allowed_m3, verdict, verdict_why, telling, disputed_m3, disputed_u95_m3, since_days}`` and, each as `_gross_m3`
        and `_standard_m3`, opening, receipts, issues, transfers, draws, adjustments (signed: into the tank positive),
        book, physical, variance, cumulative, closing. A part of `split`: ``{part, amount_m3, u95_m3, why}``.
        `obstacles`: why it cannot be closed now. `seal`: changes with every figure that would be signed. Raises
        `ValueError` with what cannot be asked.
        """
        ...

    async def close_stock(
        self, kind: str, name: str, product: str, by: str, comment: str, seal: str | None
    ) -> ActAnswer:
        """Sign and lock a day or a month of a product, with the figures that `seal` stands for (None: as they are).

        Raises `ValueError` with what cannot be asked.
        """
