"""The wheel, in an environment that has nothing else of the project: what it holds, and the first steps of the README."""

from __future__ import annotations

import email
import os
import re
import shutil
import subprocess
import sys
import venv
from collections.abc import Iterator
from importlib.util import find_spec
from pathlib import Path
from zipfile import ZipFile

import pytest

from tests.cli.kit import environment

PROJECT = Path(__file__).parents[1]
README = (PROJECT / "README.md").read_text(encoding="utf-8")
# Where the packages are that it depends on: they are lent to the empty environment.
LENT = (
    "bleak",
    "bumble",
    "click",
    "cryptography",
    "msgspec",
    "prompt_toolkit",
    "pytest",
    "re2",
    "rich",
    "scipy",
    "yaml",
)

pytestmark = [pytest.mark.slow, pytest.mark.timeout(300)]


def run(*words: str | Path, cwd: Path, **variables: str) -> str:
    """Run to the end, which must be a good one; what it says."""
    done = subprocess.run([*map(str, words)], cwd=cwd, env=environment(**variables), capture_output=True, text=True)
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


def built(kind: str, source: Path, folder: Path) -> Path:
    """A distribution, as a package index would have it made, with the setuptools that is installed."""
    script = f"from setuptools import build_meta; build_meta.build_{kind}({str(folder)!r})"
    run(sys.executable, "-c", script, cwd=source)
    [made] = folder.glob("*.whl" if kind == "wheel" else "*.tar.gz")
    return made


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """By way of the source distribution, so that this has all that it takes; from a copy, which is left clean."""
    source, folder = tmp_path_factory.mktemp("source"), tmp_path_factory.mktemp("dist")
    for name in ("README.md", "pyproject.toml"):
        shutil.copy(PROJECT / name, source)
    for name in ("benchrig", "testplans"):
        shutil.copytree(PROJECT / name, source / name, ignore=shutil.ignore_patterns("__pycache__", "results"))
    shutil.unpack_archive(built("sdist", source, folder), folder, filter="data")
    [unpacked] = folder.glob("benchrig-*/")
    return built("wheel", unpacked, folder)


@pytest.fixture(scope="module")
def scripts(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Where the programs of an environment are that has the wheel."""
    home = tmp_path_factory.mktemp("environment")
    venv.create(home, symlinks=True)
    [packages] = home.glob("lib/*/site-packages")
    (packages / "lent.pth").write_text("\n".join(sorted({*lent()})) + "\n")
    pip = [sys.executable, "-m", "pip", "--python", home, "install", "--quiet", "--no-deps", "--no-index"]
    run(*pip, wheel, cwd=home)
    return home / "bin"


def lent() -> Iterator[str]:
    for name in LENT:
        spec = find_spec(name)
        assert spec is not None, f"{name} is not installed"
        assert spec.origin is not None
        yield str(Path(spec.origin).parents[0 if Path(spec.origin).name == f"{name}.py" else 1])


def test_the_wheel_holds_all(wheel: Path) -> None:
    with ZipFile(wheel) as file:
        names = file.namelist()
        [about] = (name for name in names if name.endswith(".dist-info/METADATA"))
        metadata = email.message_from_bytes(file.read(about))
        info = about.partition("/")[0]
        text = file.read(f"{info}/licenses/benchrig/LICENSE").decode()
        points = file.read(f"{info}/entry_points.txt").decode()
    assert "Copyright (c) 2026 the benchrig contributors" in text
    assert (metadata["License-Expression"], metadata["License-File"]) == ("MIT", "benchrig/LICENSE")
    assert {"pytest", "test"} <= {*metadata.get_all("Provides-Extra", [])}
    assert "[console_scripts]\nbenchrig = benchrig.__main__:start" in points
    assert "[pytest11]\nbenchrig = benchrig.pytest_plugin" in points
    assert "benchrig/py.typed" in names
    inside = {name.removeprefix("benchrig/example/") for name in names if "/testplans/" in name}
    left_out = {"__pycache__", "pictures"}  # the last ones are for the README
    tree = [path for path in (PROJECT / "testplans").rglob("*.*") if not left_out.intersection(path.parts)]
    assert inside == {path.relative_to(PROJECT).as_posix() for path in tree}
    assert {name.partition("/")[0] for name in names} == {"benchrig", info}
    modules = {path.relative_to(PROJECT).as_posix() for path in (PROJECT / "benchrig").rglob("*.py")}
    assert modules <= {*names}


def test_the_first_steps_from_the_wheel_alone(scripts: Path, tmp_path: Path) -> None:
    path = f"{scripts}{os.pathsep}/usr/bin:/bin"

    def benchrig(words: str) -> str:
        return run(scripts / "benchrig", *words.split(), cwd=tmp_path, PATH=path, PYTHONPATH="")

    home = run(scripts / "python", "-c", "import benchrig; print(benchrig.__file__)", cwd=tmp_path, PYTHONPATH="")
    assert Path(home).is_relative_to(scripts.parent)
    assert re.fullmatch(r"benchrig, version [\d.]+\n", benchrig("--version"))
    shown = benchrig("example .")
    assert "Caution." in shown
    assert "OK" in benchrig("check testplans/end_of_line.yaml testplans/twelve_checks.yaml")
    [first] = re.findall(r"^\.venv/bin/benchrig (run testplans/.*)$", README, re.MULTILINE)
    assert "PASS, SIMULATED" in benchrig(first)
    [words] = re.findall(r"^  pytest (.*)$", shown, re.MULTILINE)
    tested = run(scripts / "python", "-m", "pytest", "-q", *words.split(), cwd=tmp_path, PYTHONPATH="")
    assert "8 passed" in tested
    assert "PASS, SIMULATED" in benchrig(
        "run testplans/end_of_line.yaml --station testplans/stations/line2.yaml --acknowledge"
    )
