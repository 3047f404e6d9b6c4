"""Wrong rights of site file, store and serial device: each is named, and once the right is there, it works."""

import asyncio
import os
import pty
import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from collector.clock import RealClock
from collector.rtu_line import RtuLine
from collector.spec import BusKind, BusSpec
from gaugehouse.cli import main
from gaugehouse.daemon import Daemon, Options
from gaugehouse.errors import CouldNot
from gaugehouse.service import unwrapped
from tests.gaugehouse.farms import running
from tests.hardening.rights import NOBODY, as_nobody


@pytest.fixture
def folder() -> Iterator[Path]:
    """A folder that others may enter: those of pytest are closed to them."""
    path = Path(tempfile.mkdtemp(prefix="rights-"))
    path.chmod(0o777)
    yield path
    shutil.rmtree(path)


@pytest.mark.timeout(90)
async def test_a_store_that_may_not_be_written_ends_the_start_in_words_and_works_once_it_may(folder: Path) -> None:
    async with running(folder) as run:
        site = run.site
    store = site.store_path
    for path in (*store.iterdir(), store):
        os.chown(path, 0 if os.geteuid() == 0 else -1, -1)
        path.chmod(0o555 if path.is_dir() else 0o444)
    with as_nobody(), pytest.raises(CouldNot) as refused:
        await unwrapped(Daemon(site, RealClock(), Options(build="test")).run())
    assert str(store) in str(refused.value)
    assert any(word in str(refused.value) for word in ("rights", "Permission denied", "write-protected"))
    for path in (store, *folder.rglob("*")):
        path.chmod(0o755 if path.is_dir() else 0o644)
        if os.geteuid() == 0:
            os.chown(path, NOBODY, NOBODY)
    with as_nobody():
        async with running(folder) as run:
            await run.until(lambda live: live["seq"] > 1)


def test_a_site_file_that_may_not_be_read_is_named(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = folder / "site.toml"
    path.write_text("[site]\n", encoding="utf-8")
    path.chmod(0o000)
    main(["check", str(folder / "none.toml")])  # loads what it needs while it may
    capsys.readouterr()
    with as_nobody():
        status = main(["check", str(path)])
    told = capsys.readouterr()
    assert status in (2, 3)
    assert str(path) in told.err + told.out
    assert "Permission denied" in told.err + told.out


def test_a_secret_file_that_others_may_read_is_no_reason_to_print_it(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (folder / "hook").write_text("not an address but s3cret-8199\n", encoding="utf-8")
    path = folder / "site.toml"
    path.write_text('[[notify]]\nid = "hook"\nkind = "webhook"\nurl_file = "hook"\n', encoding="utf-8")
    main(["check", str(path)])
    told = capsys.readouterr()
    assert "s3cret-8199" not in told.err + told.out


async def test_a_serial_device_that_may_not_be_opened_is_named_and_opens_once_it_may() -> None:
    master, slave = pty.openpty()
    device = Path(os.ttyname(slave))
    line = RtuLine(BusSpec("b", BusKind.RTU, (), "", 0, str(device), 9600, "N", 1, 1000, 200))
    try:
        device.chmod(0o000)
        with as_nobody():
            told = await line.open()
        assert str(device) in told
        assert "ermission" in told or "right" in told, told
        assert not line.is_open
        device.chmod(0o666)
        async with asyncio.timeout(10):
            assert await line.open() == ""
        assert line.is_open
    finally:
        line.close()
        os.close(master)
        os.close(slave)
