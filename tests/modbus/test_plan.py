from itertools import pairwise, permutations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from modbus.errors import BadSignal
from modbus.frames import most
from modbus.plan import Block, plan, split
from modbus.signals import RegisterSignal, RegisterType


def at(address: int, kind: RegisterType = RegisterType.UINT16, function: int = 3, name: str = "") -> RegisterSignal:
    return RegisterSignal(name or f"s{function}-{address}-{kind}", function, address, kind)


def shape(blocks: tuple[Block, ...]) -> list[tuple[int, int, int]]:
    return [(b.function, b.start, b.quantity) for b in blocks]


def test_neighbours_are_one_request() -> None:
    assert shape(plan([at(10), at(11), at(12, RegisterType.FLOAT32)])) == [(3, 10, 4)]


def test_a_gap_is_read_over_only_where_allowed() -> None:
    signals = [at(10), at(14)]
    assert shape(plan(signals)) == [(3, 10, 1), (3, 14, 1)]
    assert shape(plan(signals, bridge=2)) == [(3, 10, 1), (3, 14, 1)]
    blocks = plan(signals, bridge=3)
    assert shape(blocks) == [(3, 10, 5)]
    assert blocks[0].unwanted == 3


def test_functions_are_never_mixed() -> None:
    bit = RegisterType.BIT
    signals = [at(0, function=4), at(0), at(1, bit, 2), at(0, bit, 1)]
    assert shape(plan(signals)) == [(1, 0, 1), (2, 1, 1), (3, 0, 1), (4, 0, 1)]


def test_a_value_over_the_limit_moves_whole_into_the_next_request() -> None:
    signals = [at(a) for a in range(124)] + [at(124, RegisterType.INT32)]
    assert shape(plan(signals)) == [(3, 0, 124), (3, 124, 2)]


def test_bits_have_a_limit_of_their_own() -> None:
    bit = RegisterType.BIT
    assert shape(plan([at(0, bit, 1), at(1999, bit, 1)], bridge=2000)) == [(1, 0, 2000)]
    assert len(plan([at(0, bit, 1), at(2000, bit, 1)], bridge=2000)) == 2


def test_an_instrument_may_answer_less_at_once() -> None:
    assert shape(plan([at(a) for a in range(10)], longest=4)) == [(3, 0, 4), (3, 4, 4), (3, 8, 2)]
    with pytest.raises(BadSignal, match="longest read is 1"):
        plan([at(0, RegisterType.INT32)], longest=1)


def test_two_flags_of_one_register_cost_one_register() -> None:
    signals = [RegisterSignal("a", 3, 5, RegisterType.BIT, bit=0), RegisterSignal("b", 3, 5, RegisterType.BIT, bit=9)]
    blocks = plan(signals)
    assert shape(blocks) == [(3, 5, 1)]
    assert split(blocks[0], (7,)) == {"a": (7,), "b": (7,)}


def test_a_reply_is_cut_into_the_registers_of_each_signal() -> None:
    block = plan([at(20, name="one"), at(22, RegisterType.INT32, name="two")], bridge=1)[0]
    assert split(block, (1, 2, 3, 4)) == {"one": (1,), "two": (3, 4)}
    with pytest.raises(ValueError, match="block of 4"):
        split(block, (1, 2, 3))


@pytest.mark.parametrize(
    ("signals", "more", "why"),
    [
        ([at(1, name="x"), at(2, name="x")], {}, "signal x is there twice"),
        ([at(65535, RegisterType.INT32)], {}, "allowed 0 to 65534"),
        ([at(1)], {"bridge": -1}, "bridge -1"),
    ],
)
def test_what_cannot_be_asked_is_refused_by_name(signals: list[RegisterSignal], more: dict, why: str) -> None:
    with pytest.raises(BadSignal, match=why):
        plan(signals, **more)


def test_nothing_wanted_is_nothing_asked() -> None:
    assert plan([]) == ()


KINDS = st.sampled_from([RegisterType.UINT16, RegisterType.INT32, RegisterType.FLOAT64])
SIGNALS = st.lists(
    st.builds(at, st.integers(0, 400), KINDS, st.sampled_from([3, 4])), max_size=40, unique_by=lambda s: s.name
)


@given(SIGNALS, st.integers(0, 30), st.sampled_from([0, 4, 20, 125, 500]))
def test_laws_of_a_plan(signals: list[RegisterSignal], bridge: int, longest: int) -> None:
    blocks = plan(signals, bridge, longest)
    assert sorted(s.name for b in blocks for s in b.signals) == sorted(s.name for s in signals)
    for block in blocks:
        assert 1 <= block.quantity <= min(most(block.function), longest or 125)
        wanted = set()
        for s in block.signals:
            assert s.function == block.function
            assert block.start <= s.address
            assert s.address + s.words <= block.start + block.quantity
            wanted |= set(range(s.address, s.address + s.words))
        assert min(wanted) == block.start
        assert max(wanted) == block.start + block.quantity - 1
        reached = sorted(wanted)
        assert all(b - a - 1 <= bridge for a, b in pairwise(reached))
        assert block.unwanted == block.quantity - len(wanted)


@given(SIGNALS, st.randoms(use_true_random=False), st.integers(0, 10))
def test_the_order_of_writing_changes_nothing(signals: list[RegisterSignal], random: object, bridge: int) -> None:
    shuffled = list(signals)
    random.shuffle(shuffled)  # type: ignore[attr-defined]
    assert plan(shuffled, bridge) == plan(signals, bridge)


def fewest(signals: list[RegisterSignal], bridge: int, longest: int) -> int:
    """The least number of blocks over every order of joining: slow and plain, an oracle for small cases."""
    best = len(signals)
    for order in permutations(signals):
        groups: list[list[RegisterSignal]] = []
        for s in order:
            if not groups or not legal([*groups[-1], s], bridge, longest):
                groups.append([])
            groups[-1].append(s)
        best = min(best, len(groups))
    return best


def legal(group: list[RegisterSignal], bridge: int, longest: int) -> bool:
    wanted = sorted({p for s in group for p in range(s.address, s.address + s.words)})
    return wanted[-1] - wanted[0] < longest and all(b - a - 1 <= bridge for a, b in pairwise(wanted))


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.builds(at, st.integers(0, 14), KINDS), max_size=5, unique_by=lambda s: s.name),
    st.integers(0, 3),
    st.integers(4, 8),
)
def test_no_plan_has_fewer_requests(signals: list[RegisterSignal], bridge: int, longest: int) -> None:
    assert len(plan(signals, bridge, longest)) == fewest(signals, bridge, longest)
