"""The cache of kernels: what its key depends on, and what is said without a kernel."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.host_stack import kernel


@pytest.fixture
def cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("BENCHRIG_KERNEL_CACHE", str(tmp_path))
    monkeypatch.setattr(kernel, "source_version", lambda: "6.12.1-1~deb12u1")
    return tmp_path


def test_a_kernel_with_the_right_key_is_used(cache: Path) -> None:
    kernel.place().write_bytes(b"kernel")
    assert kernel.cached() == kernel.build() == kernel.place()
    assert kernel.place().parent == cache


def test_another_source_or_configuration_wants_another_kernel(
    cache: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    first = kernel.place()
    monkeypatch.setattr(kernel, "source_version", lambda: "6.12.2-1")
    second = kernel.place()
    config = tmp_path / "kernel.config"
    config.write_text("CONFIG_BT=y\n")
    monkeypatch.setattr(kernel, "CONFIG", config)
    assert len({first, second, kernel.place()}) == 3


def test_without_a_kernel_it_says_how_to_get_one(cache: Path) -> None:
    with pytest.raises(kernel.NoKernel, match=r"python -m tests\.host_stack --build"):
        kernel.cached()


def test_without_tools_nothing_is_built(cache: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(kernel.shutil, "which", lambda tool: None if tool in ("bc", "flex") else tool)
    with pytest.raises(kernel.NoKernel, match="these are missing: flex, bc"):
        kernel.build()


def test_where_there_are_no_packages_it_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(kernel.platform, "machine", lambda: "aarch64")
    with pytest.raises(kernel.NoKernel, match="x86-64 and Debian's packages"):
        kernel.source_version()
