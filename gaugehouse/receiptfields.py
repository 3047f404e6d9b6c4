"""Acts on receipts from their fields, as a page or a command sends them. Each raises `CallError` with the mend."""

from collections.abc import Callable, Mapping
from typing import Any, Final

from gaugehouse.act import Act, Json, text_of
from gaugehouse.actfields import boolean_of, is_number, whole_of
from gaugehouse.errors import CallError
from gaugehouse.receiptacts import (
    CallOff,
    CheckLine,
    DecideReceipt,
    DocumentReceipt,
    ForecastReceipt,
    NoteCheck,
    PlanReceipt,
    StartReceipt,
    TakeSample,
)
from inventory.receipts import DECIDED, DeliveryPaper, Stage
from models.density import DensityMeter

TEMPERATURES: Final = (-60.0, 90.0)


def paper_of(fields: Json) -> DeliveryPaper:
    """The paper among the fields of an act. Raises `CallError` for what is missing or out of reason."""
    observed = _number(fields, "observed_m3", 1e-6, 1e6)
    standard = _number(fields, "standard_m3", 1e-6, 1e6)
    if observed is None and standard is None:
        raise CallError(
            "the quantity is missing; write what the paper says, as observed or at the reference temperature"
        )
    return DeliveryPaper(
        observed, standard, _number(fields, "temperature_degC", *TEMPERATURES),
        _number(fields, "density_15_kgpm3", 500.0, 1200.0),
        *(text_of(fields, name, "") for name in ("note", "batch", "certificate", "vehicle", "owner")),
    )  # fmt: skip


def _rate(fields: Json) -> float | None:
    return _number(fields, "rate_m3_per_s", 1e-9, 10.0)


def _number(fields: Json, name: str, low: float, high: float) -> float | None:
    value: Any = fields.get(name)
    if value is None:
        return None
    if not is_number(value):
        raise CallError(f"{name} is {value!r}; write a number")
    if not low <= value <= high:
        raise CallError(f"{name} is {value:g}; allowed is {low:g} to {high:g}")
    return float(value)


def _receipt(fields: Json) -> int:
    return whole_of(fields, "number", "write the number of the receipt")


def forecast_of(fields: Json) -> ForecastReceipt:
    return ForecastReceipt(text_of(fields, "tank"), paper_of(fields), _rate(fields), text_of(fields, "product", ""))


def plan_of(fields: Json) -> PlanReceipt:
    return PlanReceipt(
        text_of(fields, "tank"), paper_of(fields), _rate(fields), text_of(fields, "product", ""), text_of(fields, "by"),
        text_of(fields, "sender", ""), text_of(fields, "stops", ""),
    )  # fmt: skip


def note_of(fields: Json) -> NoteCheck:
    return NoteCheck(_receipt(fields), text_of(fields, "what"), text_of(fields, "found", ""), text_of(fields, "by"))


def sample_of(fields: Json) -> TakeSample:
    density, at = _number(fields, "density_kgpm3", 500.0, 1200.0), _number(fields, "density_degC", *TEMPERATURES)
    temperature = _number(fields, "temperature_degC", *TEMPERATURES)
    if (density is None) != (at is None):
        raise CallError("a density goes with the temperature of the sample; write both, density_kgpm3 and density_degC")
    if density is None and temperature is None:
        raise CallError("nothing was measured; write the sample's density with its temperature, or the delivery's")
    meter = text_of(fields, "meter", DensityMeter.HYDROMETER.value)
    if meter not in (one.value for one in DensityMeter):
        raise CallError(f"meter is {meter!r}; write {' or '.join(one.value for one in DensityMeter)}")
    return TakeSample(_receipt(fields), density, at, meter, temperature, text_of(fields, "by"))


def start_of(fields: Json) -> StartReceipt:
    return StartReceipt(_receipt(fields), text_of(fields, "by"))


def line_of(fields: Json) -> CheckLine:
    figure = _number(fields, "figure_m3", 0.0, 1e6)
    return CheckLine(_receipt(fields), figure, text_of(fields, "by"), text_of(fields, "comment", ""))


def decide_of(fields: Json) -> DecideReceipt:
    word = text_of(fields, "decision")
    words = [stage.value for stage in DECIDED]
    if word not in words:
        raise CallError(f"decision is {word!r}; write {', '.join(words)}")
    without = boolean_of(fields, "without_tank")
    return DecideReceipt(_receipt(fields), Stage(word), text_of(fields, "comment", ""), text_of(fields, "by"), without)


def document_of(fields: Json) -> DocumentReceipt:
    return DocumentReceipt(_receipt(fields), text_of(fields, "by"), boolean_of(fields, "sure"))


def off_of(fields: Json) -> CallOff:
    return CallOff(_receipt(fields), text_of(fields, "reason"), text_of(fields, "by"))


RECEIPT_ACTS: Final[Mapping[str, Callable[[Json], Act]]] = {
    "forecast_receipt": forecast_of,
    "plan_receipt": plan_of,
    "note_receipt_check": note_of,
    "sample_receipt": sample_of,
    "start_receipt": start_of,
    "check_receipt_line": line_of,
    "decide_receipt": decide_of,
    "call_off_receipt": off_of,
    "document_receipt": document_of,
}
"""By their names; see `gaugehouse.acts.ACTS`."""
