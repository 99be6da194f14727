"""Tables of many services: read in few requests, and a table that takes too long is not called a missing connection."""

from tests.run.kit import HEAD, device_text, run


def table(services: int, characteristics: int) -> str:
    text = "services:\n"
    for number in range(services):
        text += f"  - service: 6b1d{number:04x}-9a53-4c86-8a3e-2f0f6c1d7e40\n    characteristics:\n"
        for place in range(characteristics):
            uuid = f"6b1e{number:02x}{place:02x}-9a53-4c86-8a3e-2f0f6c1d7e40"
            text += f"      - {{characteristic: {uuid}, as: uint8, properties: [read, notify], value: 1}}\n"
    return device_text(text)


def connect(within: str) -> str:
    return HEAD + f"steps:\n  - connect:\n    within: {within}\n    expect: {{elapsed: {{max: 60 s}}}}\n"


def test_the_table_of_twenty_services_is_read_in_three_seconds() -> None:
    """80 descriptors cost a request each, 30 ms; services and characteristics one in a dozen of them."""
    assert run(connect("20 s"), table(20, 4)).reading(1, "elapsed").value < 3.0


def test_a_table_that_takes_too_long_is_told_from_no_connection() -> None:
    ended = run(connect("3 s"), table(20, 4)).step(1).ended
    assert ended.cause == "link"
    assert "its attribute table was not read" in ended.message
