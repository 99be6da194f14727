"""The radios of the contract suite.

Without `--radio`: the virtual one, and with `-m slow` it in a rough air and a controller behind a TCP port
too, in airs of both kinds. `--radio host` is for the guest, where the devices of this suite are in the air already.
"""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from tests.contract.radios import DEVICES, air_on_tcp, in_rough_air

ROUGH = "rough "
NAMES = ["virtual", f"{ROUGH}virtual", "hci", f"{ROUGH}hci", "host"]
KINDS = [pytest.param(name, marks=pytest.mark.slow if name != "virtual" else ()) for name in NAMES if name != "host"]


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--radio", choices=NAMES, help="run the contract suite on this radio only")


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    if "kind" in metafunc.fixturenames:
        only = metafunc.config.getoption("--radio", default=None)
        metafunc.parametrize("kind", [only] if only else KINDS, scope="session")


@pytest.fixture(scope="session")
def radio(kind: str, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """What `--radio` of benchrig is called with; the devices of the suite are in its air."""
    devices = DEVICES
    if kind.startswith(ROUGH):
        devices = in_rough_air(DEVICES, tmp_path_factory.mktemp("rough"))
    if "hci" in kind:
        with air_on_tcp(devices) as name:
            yield name
    else:
        yield "host" if kind == "host" else f"virtual:{devices}"


@pytest.fixture
def offers(kind: str) -> str:
    """The radio of `benchrig.radio.offers` that this one is."""
    return kind.removeprefix(ROUGH)
