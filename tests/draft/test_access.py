"""The step `access` of a draft, made from a sound device: it passes that, and none that asks for less."""

from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest

from benchrig.draft.compose import compose
from benchrig.draft.from_devices import Collecting, collect
from benchrig.errors import UsageError
from benchrig.faults.weakening import weakenings
from benchrig.propose.proposal import Basis
from benchrig.radio.bumble_stack.pairing import ClientSecurity
from benchrig.run.unattended import Unattended
from benchrig.steps.attribute import Names
from tests.desk.kit import at_desk
from tests.draft.kit import ANY
from tests.radio.virtual.bench import models
from tests.run.kit import run
from tests.run.test_access import CODE, NEEDS, OWN, SECURITY, every_need, needs, unit
from tests.scratch import scratch

DESCRIBED = (
    "value: 5, properties: [read, write without response], descriptors: [{descriptor: characteristic user description, "
    "value: x, writable: true, read_needs: encrypted, write_needs: authenticated, key_size_needed: 16}]"
)
SOUND = every_need() + f"      - {{characteristic: {OWN(5)}, as: uint8, {DESCRIBED}}}\n"
WRITES = (*map(OWN, range(1, 5)), "characteristic user description")


class Typing(Unattended):
    """Who reads the passkey that the unit shows."""

    async def enter(self, question="", problem_with=None):
        return CODE if question else int(CODE)

    def chosen(self):
        return None


@cache
def drafted(device=SOUND, pair="keyboard", writes=WRITES):
    async def work(desk):
        desk = replace(desk, options=replace(desk.options, pair=pair), party=Typing())
        return await collect(desk, Collecting(repeat=1, listen=1, writes=writes))

    with scratch() as folder:
        file = Path(folder, "unit.yaml")
        file.write_text(device)
        return compose(at_desk(work, file, selection=ANY), Names(), Basis()).text


def access_alone(text):
    """The step with what the plan needs for it: a whole draft has limits on much else."""
    head, steps = text.split("steps:\n")
    return f"{head}steps:\n  - scan:\n  - access:{steps.partition('- access:')[2]}"


SPEC = models(SOUND)[0]
MUTATIONS = [*weakenings(SPEC)]


def test_the_matrix_is_what_the_device_asks_for():
    text = drafted()
    for at, need in enumerate(NEEDS, 1):
        assert f"own {OWN(at)[:8]}: {{read: {need}, write: {need}, subscribe: {need}}}\n" in text
    assert "      own 6b1d0005: {read: open, write without response: any}\n" in text
    assert "own 6b1d0005/user description: {read: encrypted, write: authenticated, key_size: 16}\n" in text
    assert "    levels:\n      encrypted: {pair: none}\n      authenticated: {pair: keyboard}\n" in text
    assert CODE not in text
    assert "strict" not in text


@pytest.mark.parametrize("air", ["kind", pytest.param("rough", marks=pytest.mark.slow)])
@pytest.mark.parametrize("seed", [1, *(pytest.param(seed, marks=pytest.mark.slow) for seed in range(2, 21))])
def test_the_draft_passes_the_device_that_it_was_made_from(seed, air):
    ran = run(access_alone(drafted()), SPEC, seed=seed, air=air, operator=Typing())
    assert ran.ended.exit_code == 0, ran.ended.message


def test_the_whole_draft_passes_it_too():
    ran = run(drafted(), SPEC, operator=Typing())
    assert ran.ended.exit_code == 0, ran.ended.message


@pytest.mark.parametrize(
    "mutation",
    [pytest.param(each, marks=[] if at == 10 else pytest.mark.slow) for at, each in enumerate(MUTATIONS)],
    ids=lambda mutation: mutation.name,
)
@pytest.mark.parametrize("air", ["kind", pytest.param("rough", marks=pytest.mark.slow)])
def test_a_device_that_asks_for_less_fails(mutation, air):
    """Of each attribute and each requirement in turn; with the step taken out the rest of the plan is no help."""
    ran = run(access_alone(drafted()), mutation.apply(SPEC), air=air, operator=Typing())
    assert (ran.ended.exit_code, ran.step("access").ended.cause) == (1, "limit")
    what = mutation.name.partition(": ")[2]
    found = ran.reading("access", "found").value
    assert found
    told = "short key" if what == "any size of the key" else f", {what.partition('_')[0]}, "
    assert all(told in text for text in found)


def test_without_a_pairing_the_levels_are_no_more_than_guessed():
    text = drafted(pair=None, writes=())
    assert f"own {OWN(4)[:8]}: {{read: encrypted, write: any, subscribe: encrypted}}\n" in text
    assert "    levels:\n      encrypted: never\n" in text
    assert "# guess: what needs more than an open link was tried without security alone" in text
    assert run(access_alone(text), SPEC).ended.exit_code == 0
    open_now = run(access_alone(text), models(SOUND.replace(needs(read=NEEDS[3]), ""))[0])
    assert open_now.ended.exit_code == 1


def test_a_device_without_a_way_to_a_level():
    legacy = SOUND.replace(SECURITY, SECURITY.replace("{", "{pairing: secure connections, "))
    text = drafted(legacy)
    assert "      authenticated: never\n      secure connections: {pair: keyboard}\n" in text
    assert "# authenticated: the pairing failed: authentication requirements" in text
    assert f"own {OWN(3)[:8]}: {{read: secure connections," in text
    assert run(access_alone(text), models(legacy)[0], operator=Typing()).ended.exit_code == 0


def test_a_device_that_is_not_strict_is_drafted_so():
    loose = unit({1: f"value: 1, properties: [read]{needs(read='encrypted')}"}, security="security: {strict: false}")
    text = drafted(loose, "none", ())
    assert "    strict: false\n" in text
    assert run(access_alone(text), models(loose)[0]).ended.exit_code == 0


def test_a_bond_of_the_station_hides_what_a_device_asks_for(monkeypatch):
    monkeypatch.setattr(ClientSecurity, "is_bonded", True)
    with pytest.raises(UsageError) as told:
        drafted.__wrapped__()
    assert "benchrig bonds clear" in told.value.advice


@pytest.mark.parametrize("pair", [None, "none", "keyboard"])
def test_what_the_links_of_a_draft_are_refused_is_no_line_without_a_judgement(pair):
    """Nobody is authorized for one, and the other wants more than these pairings give: a unit that tells them fails."""
    keys = "value: 1, properties: [read]"
    unknown = unit({1: f"{keys}, read_needs: encrypted, authorized: false", 2: keys + needs(read="authenticated")})
    text = drafted(unknown, pair, ())
    assert "read: any" not in text
    assert run(access_alone(text), models(unknown)[0], operator=Typing()).ended.exit_code == 0
    for loss in (", read_needs: encrypted, authorized: false", ", read_needs: authenticated"):
        told = run(access_alone(text), models(unknown.replace(loss, ""))[0], operator=Typing())
        assert (told.ended.exit_code, told.step("access").ended.cause) == (1, "limit"), loss
    for_all = unknown.replace(", authorized: false", "")
    told = run(access_alone(text), models(for_all)[0], operator=Typing())
    assert told.ended.exit_code == (1 if pair else 0), "without a pairing nobody gets as far as the authorization"


def test_an_open_device_has_no_such_step():
    assert "- access:" not in drafted(unit({1: "value: 1, properties: [read, write]"}), None, ())


STRICT = SOUND.replace(
    SECURITY,
    SECURITY.replace("{", "{accepts: secure connections, least_key_size: 16, wait_after_failure: 5 s, "),
)


def test_what_the_pairing_came_to_and_what_was_refused_is_held():
    """The unit takes no other pairing for 5 s after one that failed, and twice as long after each."""
    text = drafted(STRICT, writes=())
    assert run(text, models(STRICT)[0], operator=Typing()).ended.exit_code == 0
    for weaker, step in {
        "accepts: secure connections, ": "refuse encrypted",
        "least_key_size: 16, ": "refuse a short key",
    }.items():
        told = run(text, models(STRICT.replace(weaker, ""))[0], operator=Typing())
        assert told.ended.exit_code == 1, weaker
        assert told.step(step).ended.cause == "limit", weaker
    told = run(text, models(STRICT.replace("least_key_size: 16", "key_size: 7"))[0], operator=Typing())
    assert (told.ended.exit_code, told.step("pair keyboard").ended.cause) == (1, "limit")
    told = run(text, models(STRICT.replace("{accepts", "{faults: {unchecked: true}, accepts"))[0], operator=Typing())
    assert (told.ended.exit_code, told.step("refuse a wrong passkey").ended.verdict) == (1, "fail")
