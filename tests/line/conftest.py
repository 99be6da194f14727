from benchrig.radio.virtual.clock import VirtualLoop


def pytest_asyncio_loop_factories(config, item):
    """The async tests here run on the virtual clock."""
    return {"virtual": VirtualLoop}
