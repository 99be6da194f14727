"""encrypt: the link encrypted with the key of the bond."""

from __future__ import annotations

from collections.abc import Mapping
from typing import ClassVar

from benchrig.errors import BenchrigError, DeviceError, LinkLost, NoAnswer, StationError
from benchrig.radio.security import ANOTHER_KEY, LINK_LOST, NO_KEY, NONE, TIMEOUT, Encrypted, LinkSecurity
from benchrig.radio.turns import Use
from benchrig.source.yaml import Mapping as MappingNode
from benchrig.steps.attribute import Names
from benchrig.steps.base import NOTHING, Cap, ReadingType, Step
from benchrig.steps.bench import Bench
from benchrig.steps.pairing_readings import OF_KEY, fails, judges, limits_written, one_of, report

FAILURES = (NONE, NO_KEY, ANOTHER_KEY, LINK_LOST, TIMEOUT)


class Encrypt(Step, kw_only=True):
    """Encrypt the link with the key that the bench and the unit have kept. Where that is meant to fail, the link is ended
    afterwards."""

    verb: ClassVar[str] = "encrypt"
    uses: ClassVar[Use] = Use.CONNECT
    usual: ClassVar[str] = "failure"
    encrypts: ClassVar[bool] = True
    needs: ClassVar[frozenset[Cap]] = frozenset({Cap.LINK, Cap.BOND})
    tries_again: ClassVar[bool] = False
    # longer than a radio waits for the unit's answer, so that its silence is the unit's
    within_default: ClassVar[float] = 40.0

    encrypt: None

    @classmethod
    def ended_by(cls, node: MappingNode) -> frozenset[Cap]:
        return frozenset({Cap.LINK}) if fails(limits_written(node)) else NOTHING

    def readings(self, names: Names) -> Mapping[str, ReadingType]:
        why = f"why the link is not encrypted; '{NONE}' when it is"
        return {
            "elapsed": ReadingType("number", "s", "from the request to the encrypted link"),
            "failure": ReadingType("text", "", why, wrong=one_of(FAILURES, "failure")),
            **OF_KEY,
        }

    async def run(self, bench: Bench) -> None:
        started = bench.now()
        result = await encrypted(bench.link.security)
        bench.reading("elapsed", bench.since(started), "s")
        if (error := self._error(result)) is not None:
            raise error
        if bench.wanted("failure"):
            bench.reading("failure", result.failure)
        lack = "" if result.failure == NONE else f"the link is not encrypted: {result.failure}"
        for name in OF_KEY:
            report(bench, name, getattr(result, name), lack)
        if fails(self.limits) or result.failure != NONE:
            await bench.device.close()

    def _error(self, result: Encrypted) -> BenchrigError | None:
        """The failure as an error, where no limit judges it; a link that is lost for another reason is that to all."""
        return None if judges(self.limits.get("failure"), result.failure) else error_of(result)


async def encrypted(security: LinkSecurity) -> Encrypted:
    """With the bond that an earlier step has made. A unit that has told another address, or another key for it, than the one
    it has now is a stranger to that bond."""
    try:
        return await security.encrypt()
    except StationError:
        if security.is_bonded:
            raise
    raise DeviceError(
        "the bond is for another address than the device has now",
        advice="see the identity address and the identity key that the device gives out when it pairs",
    )


def error_of(result: Encrypted) -> BenchrigError | None:
    """Who is to blame for a link that is not encrypted; None for one that is."""
    if result.failure == NONE:
        return None
    if result.failure == LINK_LOST:
        return LinkLost("the link was lost before it was encrypted")
    if result.failure == TIMEOUT:
        return NoAnswer("the device did not answer the request to encrypt the link")
    said = {
        NO_KEY: "the device has no key for this bond any more",
        ANOTHER_KEY: "the device has another key for this bond",
    }
    return DeviceError(said.get(result.failure, f"the link is not encrypted: {result.failure}"))
