"""The radios of the contract suite.

Without `--radio`: the virtual one, and with `-m slow` a controller behind a TCP port too. `--radio host` is for the
guest, where the devices of this suite are in the air already.
"""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from tests.contract.radios import DEVICES, air_on_tcp

KINDS = [pytest.param("virtual"), pytest.param("hci", marks=pytest.mark.slow)]


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--radio", choices=["virtual", "hci", "host"], help="run the contract suite on this radio only")


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    if "kind" in metafunc.fixturenames:
        only = metafunc.config.getoption("--radio", default=None)
        metafunc.parametrize("kind", [only] if only else KINDS, scope="session")


@pytest.fixture(scope="session")
def radio(kind: str) -> Iterator[str]:
    """What `--radio` of benchrig is called with; the devices of the suite are in its air."""
    if kind == "hci":
        with air_on_tcp(DEVICES) as name:
            yield name
    else:
        yield "host" if kind == "host" else f"virtual:{DEVICES}"
