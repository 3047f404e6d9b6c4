"""What goes wrong with a store, named by what the caller can do about it."""

from collections.abc import Mapping

from models.errors import GaugehouseError


class StoreError(GaugehouseError):
    """Root of this branch. Raised itself only for a store that was closed: a retry does not help."""


class StoreUnavailable(StoreError):
    """Disk full, file locked, unreadable or absent for now. Nothing of the batch was kept; a later retry may help."""


class StoreDamaged(StoreError):
    """The file's own structure is broken. A retry does not help: restore a copy, or move the file away."""


class StoreBusy(StoreError):
    """Another process writes to this file; the message names it. End that one first."""


class WrongStore(StoreError):
    """The file belongs to another site, another use, or a newer program. Nothing in it was touched."""


class BadQuestion(StoreError):
    """A question that no store can answer: an unknown quantity, too many points, a span of nothing."""


class EntryRejected(StoreError):
    """A record that cannot be written as it is (its body is no JSON). Nothing of its batch was kept."""


class PointsRejected(StoreError):
    """Some readings of a batch can never be stored; the others are stored. Do not send the refused ones again.

    refused: index in the batch -> why. accepted: the indices that are stored.
    """

    def __init__(self, refused: Mapping[int, str], accepted: tuple[int, ...]) -> None:
        index, why = next(iter(refused.items()))
        super().__init__(
            f"{len(refused)} of {len(refused) + len(accepted)} readings were refused and the others stored; "
            f"the first refused is number {index}: {why}"
        )
        self.refused = dict(refused)
        self.accepted = accepted
