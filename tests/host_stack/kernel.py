"""The guest's kernel: built from Debian's source of Linux 6.12, kept in a cache.

The key of the cache is the version of the source package and the configuration; a kernel with the right key is used
as it is. A build takes 2 to 4 minutes on two cores and 2 GB of disk, which it gives back. Not 6.1.192, Debian 12's own:
it panicked in one of five runs after a disconnection; 6.12 never did.
"""

from __future__ import annotations

import hashlib
import os
import platform
import re
import shutil
import subprocess
import tempfile
from pathlib import Path

CONFIG = Path(__file__).with_name("kernel.config")
SOURCE = "linux-source-6.12"
TOOLS = ("apt-get", "dpkg", "gcc", "make", "flex", "bison", "bc", "xz")
LONGEST_BUILD = 1800

# $SOURCE and $CONFIG come in the environment; make may switch off what it thinks impossible, so that is looked at.
BUILD = r"""
apt-get download "$SOURCE"
dpkg --fsys-tarfile "$SOURCE"_*.deb | tar xO "./usr/src/$SOURCE.tar.xz" | tar xJ
cd "$SOURCE"
make ARCH=um KCONFIG_ALLCONFIG="$CONFIG" allnoconfig
grep -v '^#' "$CONFIG" | grep . | while read -r line; do
    grep -qxF "$line" .config || { echo "not in the configuration: $line"; exit 1; }
done
make ARCH=um -j"$(nproc)" linux
strip -o ../kernel linux
"""


class NoKernel(Exception):
    """There is none, and why."""


def folder() -> Path:
    """Where kernels are kept: $BENCHRIG_KERNEL_CACHE, or ~/.cache/benchrig."""
    return Path(os.environ.get("BENCHRIG_KERNEL_CACHE") or Path.home() / ".cache" / "benchrig")


def source_version() -> str:
    """The version of the source package that this machine would build from. Raises NoKernel."""
    if platform.machine() != "x86_64" or shutil.which("apt-cache") is None:
        raise NoKernel("the guest's kernel needs x86-64 and Debian's packages")
    answer = subprocess.run(["apt-cache", "policy", SOURCE], capture_output=True, text=True, check=False).stdout
    found = re.search(r"Candidate: (\S+)", answer)
    if found is None or found[1] == "(none)":
        raise NoKernel(f"no package {SOURCE}: run apt-get update, or use Debian 12 or later")
    return found[1]


def place() -> Path:
    """Where the kernel for this source and this configuration is kept, whether it is there or not."""
    version = source_version()
    key = hashlib.sha256(f"{version}\n{CONFIG.read_text()}".encode()).hexdigest()[:12]
    return folder() / f"linux-{version.partition('~')[0]}-{key}"


def cached() -> Path:
    """The kernel from the cache. Raises NoKernel when there is none."""
    path = place()
    if not path.exists():
        raise NoKernel("the guest's kernel is not built: python -m tests.host_stack --build")
    return path


def build() -> Path:
    """Build the kernel unless the cache has it. Raises NoKernel when that fails."""
    path = place()
    if path.exists():
        return path
    if lacking := [tool for tool in TOOLS if shutil.which(tool) is None]:
        raise NoKernel(f"to build the guest's kernel these are missing: {', '.join(lacking)}")
    path.parent.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(dir=path.parent, prefix="build-") as work:
        log = Path(work) / "build.log"
        with log.open("wb") as output:
            done = subprocess.run(
                ["bash", "-euo", "pipefail", "-c", BUILD],
                cwd=work,
                env={**os.environ, "SOURCE": SOURCE, "CONFIG": str(CONFIG)},
                stdin=subprocess.DEVNULL,
                stdout=output,
                stderr=output,
                timeout=LONGEST_BUILD,
                check=False,
            )
        if done.returncode:
            raise NoKernel("the build of the kernel failed:\n" + log.read_text(errors="replace")[-2000:])
        (Path(work) / "kernel").replace(path)
    return path
