"""Looking attributes up by index finds what a walk through the whole table finds."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from benchrig.radio.table import Characteristic, Descriptor, Found, Segment, Service, Table

UUIDS = st.sampled_from(["a", "b", "c"])
TABLES = st.lists(st.tuples(UUIDS, st.lists(st.tuples(UUIDS, st.lists(UUIDS, max_size=3)), max_size=3)), max_size=4)
PATHS = st.lists(st.builds(Segment, st.none() | UUIDS, st.none() | st.integers(0, 3)), min_size=1, max_size=4)


def table(shape: Any) -> Table:
    handles = iter(range(1, 200))
    services = []
    for service, characteristics in shape:
        handle, made = next(handles), []
        for characteristic, descriptors in characteristics:
            value = next(handles)
            made.append(
                Characteristic(value, characteristic, (), tuple(Descriptor(next(handles), d) for d in descriptors))
            )
        services.append(Service(handle, service, tuple(made)))
    return Table(tuple(services))


def walk(whole: Table, path: Sequence[Segment]) -> list[Found]:
    found = [each for each in whole.attributes() if (nodes_of(each, path)) is not None]
    for depth, segment in enumerate(path):
        if segment.index is not None:
            handles = list(dict.fromkeys(nodes_of(each, path)[depth].handle for each in found))
            chosen = handles[segment.index : segment.index + 1]
            found = [each for each in found if nodes_of(each, path)[depth].handle in chosen]
    return found


def nodes_of(found: Found, path: Sequence[Segment]) -> list[Any] | None:
    """The nodes of the chain that answer the path, the last first, each as near to the end as can be."""
    left, nodes = list(found.chain), []
    for segment in reversed(path):
        while left and nodes and segment.uuid not in (None, left[-1].uuid):
            left.pop()
        if not left or segment.uuid not in (None, left[-1].uuid):
            return None
        nodes.append(left.pop())
    return nodes[::-1]


@given(TABLES, PATHS)
def test_an_index_finds_what_a_walk_finds(shape: Any, path: list[Segment]) -> None:
    whole = table(shape)
    assert whole.find(path) == walk(whole, path)
    assert whole.find(path) is whole.find(tuple(path))


@given(TABLES)
def test_by_handle(shape: Any) -> None:
    whole = table(shape)
    for found in whole.attributes():
        assert whole.by_handle(found.attribute.handle) == [found]
    assert whole.by_handle(999) == []
