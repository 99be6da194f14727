"""A session that pairs: what it shows, what it keeps, what it saves."""

from __future__ import annotations

from typing import Any

import pytest

from benchrig.cli.session_text import lines
from benchrig.desk.prompt.completing import proposals
from benchrig.desk.prompt.saving import Story, plan_text
from benchrig.desk.securing import Unattended
from benchrig.errors import BenchrigError, DeviceError, OperatorError, StationError, UsageError, WantsPairing
from benchrig.radio.security import CAPABILITIES
from tests.desk.kit import Clumsy
from tests.desk.prompt.kit import LOCK, Talked, talked
from tests.draft.kit import loaded


def session(*said: str, device: str = LOCK, **options: Any) -> Talked:
    return talked(*said, devices=(device,), **options)


def failing(kind: type[BenchrigError], *said: str, **options: Any) -> tuple[BenchrigError, list[dict[str, Any]]]:
    """The error of the last line, and what was shown before it."""
    shown: list[dict[str, Any]] = []
    with pytest.raises(kind) as caught:
        session(*said, into=shown, **options)
    return caught.value, shown


def test_what_pairing_comes_to_is_shown_and_lets_read() -> None:
    done = session(
        "pair keyboard",
        "read humidity",
        "bonds",
        "disconnect",
        "connect",
        "encrypt",
        "read humidity",
        "unpair",
        "bonds",
    )
    shown = [line for result in done.results for line in lines(result)]
    assert (
        "paired: passkey, Secure Connections, authenticated, key of 16 bytes, bonded; link: secure connections" in shown
    )
    assert [each["content"].value for each in done.of("read")] == [40, 40]
    assert any("Lock 1" in line and line.endswith("passkey") for line in shown)
    assert "encrypted, key of 16 bytes" in shown
    assert shown[-3:] == ["the bond with Lock 1 is forgotten", "disconnected from Lock 1", "no bonds"]
    assert "keys" not in done.of("bonds")[0]["bonds"][0]


def test_a_device_that_wants_to_be_paired_with() -> None:
    error, _ = failing(WantsPairing, "read humidity")
    assert error.advice == "pair with the device: pair keyboard"
    error, _ = failing(DeviceError, "pair none", "read humidity")
    assert not isinstance(error, WantsPairing), "the link is encrypted: more than that is the device's own wish"


def test_a_wrong_passkey() -> None:
    error, shown = failing(DeviceError, "pair keyboard", party=Clumsy)
    assert error.message == "the pairing failed: confirm value failed (the device refused)"
    assert shown[-1]["failure"] == "confirm value failed"
    assert lines(shown[-1]) == [], "the error says it"
    error, _ = failing(
        DeviceError, "pair none", device=LOCK.replace("security: {", "security: {accepts: authenticated, ")
    )
    assert error.advice == "pair as something that can do more: pair keyboard"


def test_nobody_who_answers() -> None:
    error, _ = failing(OperatorError, "pair keyboard", party=lambda _: Unattended())
    assert "nobody can type it" in error.message


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("pair keybord", "did you mean 'keyboard'?"),
        ("pair keyboard --pairing secure", "choose one of: either, legacy, secure connections"),
        ("pair keyboard --key-size 6", "--key-size 16"),
        ("pair keyboard --passkey 123456", "choose one of: --key-size, --no-bonding, --no-mitm, --pairing"),
    ],
)
def test_lines_that_mean_nothing(line: str, said: str) -> None:
    error, _ = failing(UsageError, line)
    assert said in error.advice


def test_nothing_to_encrypt_with() -> None:
    error, _ = failing(StationError, "encrypt")
    assert error.cause == "station"


def test_what_can_be_typed_next() -> None:
    at = session("connect").session
    assert proposals("pair ", at)[1] == [*CAPABILITIES]
    assert proposals("pair keyboard --pairing s", at)[1] == ["secure connections"]


def saved(done: Talked) -> list[str]:
    """The steps of the plan without what every one begins with."""
    unit = done.session.connection.unit
    assert unit is not None
    text = plan_text(Story(done.session.deeds, unit, done.session.began, done.session.desk.names))
    return text.partition("attempts: 3\n")[2].splitlines()


def test_a_saved_session_pairs_as_it_did() -> None:
    done = session(
        "pair keyboard --no-bonding --pairing legacy --key-size 10",
        "pair",
        "disconnect",
        "connect",
        "encrypt",
        "unpair",
    )
    assert [line.strip() for line in saved(done)] == [
        "- pair: keyboard", "pairing: legacy", "bonding: false", "key_size: 10",
        "expect:", "method: {equals: passkey}", "secure_connections: {equals: false}", "authenticated: {equals: true}",
        "bonded: {equals: false}", "key_size: {min: 10}",
        "- pair: none",
        "expect:", "method: {equals: just works}", "secure_connections: {equals: true}", "authenticated: {equals: false}",
        "bonded: {equals: true}", "key_size: {min: 16}",
        "- disconnect:", "- connect:", "name: connect (2)", "attempts: 3",
        "- encrypt:", "expect:", "authenticated: {equals: false}", "secure_connections: {equals: true}", "key_size: {min: 16}",
        "- unpair:",
    ]  # fmt: skip


def test_what_a_plan_cannot_know_is_a_remark() -> None:
    assert "unpair: left out" in saved(session("unpair"))[0]


def test_a_session_that_pairs_when_it_connects_saves_that_too() -> None:
    done = session("connect", "read humidity", "disconnect", "connect", pair="keyboard")
    text = [line.strip() for line in saved(done) if line.strip().startswith("- ")]
    assert text == ["- pair: keyboard", "- read: humidity", "- disconnect:", "- connect:", "- encrypt:"]


def test_a_bond_that_was_not_used_yet() -> None:
    error, _ = failing(WantsPairing, "pair keyboard", "disconnect", "connect", "read humidity")
    assert "encrypted link" in error.message
    assert "nothing was paired" not in error.message
    assert error.advice == "type 'encrypt'"


def test_what_is_encrypted_twice_and_read_after_unpair_is_saved_as_a_plan_that_passes() -> None:
    done = session(
        *("pair keyboard", "encrypt", "disconnect", "connect", "encrypt", "encrypt", "read humidity"),
        *("unpair", "connect", "read device name", "disconnect", "connect"),
    )
    assert lines(done.of("encrypt")[0]) == ["the link is encrypted already: secure connections"]
    unit = done.session.connection.unit
    assert unit is not None
    text = plan_text(Story(done.session.deeds, unit, done.session.began, done.session.desk.names))
    assert "earlier bond" not in text
    assert [step.kind.verb for step in loaded(text).steps][2:] == [
        "pair", "disconnect", "connect", "encrypt", "read", "unpair", "connect", "read", "disconnect", "connect",
    ]  # fmt: skip
