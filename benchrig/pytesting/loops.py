"""The loop of an async test: on a virtual radio that with the virtual clock, so that waiting costs nothing.

A plugin of pytest of its own, which is there once a test takes a radio: pytest-asyncio asks for the loop of each test then.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Generator, Mapping
from typing import TypeAlias

import pytest

from benchrig.pytesting.wishes import is_virtual
from benchrig.radio.virtual.clock import VirtualLoop

Factories: TypeAlias = Mapping[str, Callable[[], asyncio.AbstractEventLoop]]


@pytest.hookimpl(wrapper=True)
def pytest_asyncio_loop_factories(
    config: pytest.Config, item: pytest.Function
) -> Generator[None, Factories | None, Factories]:
    others = yield
    if "benchrig_radio" in item.fixturenames and is_virtual(item):
        return {"virtual": VirtualLoop}
    return others if others is not None else {"asyncio": asyncio.new_event_loop}
