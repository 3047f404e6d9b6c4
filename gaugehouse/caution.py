"""What stands under every command's help and at the foot of every paper."""

from typing import Final

CAUTION: Final = (
    "A monitoring and accounting aid: not an overfill prevention system, not a safety instrumented function, not a "
    "custody-transfer approval. Follow local codes and licensed practice."
)
