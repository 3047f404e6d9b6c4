"""Values of command options, as a person types them."""

from gaugehouse.errors import CallError
from gaugehouse.sitefile.quantities import BadQuantity, parse


def quantity(option: str, text: str, unit: str, example: str) -> float:
    """A quantity that was typed with its unit, in ours. Raises `CallError`, which names the option."""
    try:
        return parse(text, unit, example)
    except BadQuantity as error:
        raise CallError(f"{option}: {error}") from error


def quantity_or_none(option: str, text: str | None, unit: str, example: str) -> float | None:
    """The same; None where the option is not given."""
    return None if text is None else quantity(option, text, unit, example)
