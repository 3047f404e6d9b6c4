"""The state of the core that outlives a crash: what its rooms give and take, and how that goes into the record book.

State is text by key, "room/key"; a key without text is gone. Decides nothing and looks at no clock.
"""

import json
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from typing import Any, Final, Protocol, TypeVar

T = TypeVar("T")
State = dict[str, str | None]

STATES_TOGETHER: Final = 100
"""Tanks or loops whose state is saved in one part."""


class Room(Protocol):
    """A part of the core with a past: its state by key, as JSON values, kept in the record book as "room/key".

    save: with `changed_only`, what changed since it was last asked; a value of None says that the key is gone.
    """

    def save(self, changed_only: bool) -> Mapping[str, Any]: ...

    def restore(self, saved: Mapping[str, Any]) -> object: ...


class SlowRoom(Room, Protocol):
    """A room of which each tank or loop has a key: its full save may take a large farm's turn, so it is also given in
    parts. keys: those of a full save. save_some: what it tells of some of them."""

    def keys(self) -> Sequence[str]: ...

    def save_some(self, keys: Iterable[str]) -> Mapping[str, Any]: ...


class Saves(Protocol):
    """What keeps one tank."""

    def save(self) -> Any: ...


def changed_of(rooms: Mapping[str, Room]) -> State:
    """What the rooms hold now, only what changed since this was last asked."""
    return {f"{name}/{key}": compact(state) for name, room in rooms.items() for key, state in room.save(True).items()}


def parts_of(
    keepers: Mapping[str, Saves], rooms: Mapping[str, SlowRoom], clock: Callable[[], State]
) -> Iterator[State]:
    """Keepers and slow rooms in parts, each with the clock of its own moment."""
    for some in _cut(list(keepers.items())):
        yield clock() | {f"tank/{name}": compact(keeper.save()) for name, keeper in some}
    for name, room in rooms.items():
        for keys in _cut(room.keys()):
            yield clock() | {f"{name}/{key}": compact(state) for key, state in room.save_some(keys).items()}


def past_of(state: Mapping[str, str]) -> dict[str, dict[str, Any]]:
    """Saved state by room and key."""
    past: dict[str, dict[str, Any]] = {}
    for key, text in state.items():
        place, _, name = key.partition("/")
        past.setdefault(place, {})[name] = json.loads(text)
    return past


def compact(state: Any) -> str | None:
    return None if state is None else json.dumps(state, separators=(",", ":"), sort_keys=True)


def _cut(whole: Sequence[T]) -> Iterator[Sequence[T]]:
    for start in range(0, len(whole), STATES_TOGETHER):
        yield whole[start : start + STATES_TOGETHER]
