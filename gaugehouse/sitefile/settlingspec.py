"""How a site settles and releases its tanks, once its file is read: immutable values, no TOML, no pydantic."""

from collections.abc import Mapping
from dataclasses import dataclass

from inventory.batches import Mixing
from inventory.settling import SettlingRules


@dataclass(frozen=True, slots=True)
class Settling:
    """What `[stock.settling]` means. rules: by tank. needed: results without which no tank is released.

    receiving, issuing: ids of points that tell, while they are on, that their tank receives or issues.
    recertify_after_ms: None where the site names no age.
    """

    rules: Mapping[str, SettlingRules]
    early_release_by: tuple[str, ...]
    needed: tuple[str, ...]
    receiving: tuple[str, ...]
    issuing: tuple[str, ...]
    mixing: Mixing
    recertify_after_ms: int | None
    recertify_source: str
