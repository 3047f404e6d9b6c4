"""The peer itself: what its registers tell, its commands, and that its documents name all it can do."""

import asyncio
import subprocess
import sys
from pathlib import Path

import pytest

from tests.peers import MISDEEDS, Peer, tell, told
from tests.peers.__main__ import command
from tests.peers.misdeeds import ALL, RTU, TCP

ROOT = Path(__file__).resolve().parents[2]


def test_a_register_tells_its_address_and_the_requests_number() -> None:
    assert told(tell(3, 0x1234, 0x5678)) == (0x34, 0x78)
    assert [tell(1, address, 0b1010_0101) for address in range(8)] == [1, 0, 1, 0, 0, 1, 0, 1]


@pytest.mark.parametrize("kind", sorted(ALL))
def test_each_wire_has_all_misdeeds_that_mean_something_on_it(kind: str) -> None:
    peer = Peer(kind)
    for name, misdeed in MISDEEDS.items():
        assert command(peer, name) == (
            f"does: {name}" if kind in misdeed.kinds else f'cannot do "{name}" on {kind}; --list tells what can be done'
        )
    assert command(peer, "") == "behaves"
    assert "cannot do" in command(peer, "dance")


@pytest.mark.parametrize("kind", [TCP, RTU])
async def test_the_program_says_where_it_is_and_takes_commands(kind: str) -> None:
    process = await asyncio.create_subprocess_exec(
        sys.executable, "-m", "tests.peers", "--kind", kind, "--units", "3,17", "--do", "silence",
        cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE,
    )  # fmt: skip
    assert process.stdin is not None
    assert process.stdout is not None
    async with asyncio.timeout(60):
        assert (await process.stdout.readline()).decode().startswith(f"{kind} on /" if kind == RTU else "tcp on 127.")
        assert await process.stdout.readline() == b"does: silence\n"
        process.stdin.write(b"exception 06\n\n")
        assert await process.stdout.readline() == b"does: exception 06\n"
        assert await process.stdout.readline() == b"behaves\n"
        process.stdin.close()
        assert await process.wait() == 0


def test_the_documents_name_every_misdeed() -> None:
    text = (ROOT / "docs" / "test-peers.md").read_text(encoding="utf-8")
    named = [name for name in MISDEEDS if not name.startswith(("noise ", "exception 0"))]
    assert [name for name in named if f"`{name}`" not in text] == []
    assert "`noise 0303`" in text
    assert "`exception 0B`" in text
