"""Words that the shell completes."""

from __future__ import annotations

from pathlib import Path

import click

from benchrig.cli.groups import RadioWords
from benchrig.cli.options import Decorator
from benchrig.errors import BenchrigError


def complete_step(context: click.Context, _: click.Parameter, incomplete: str) -> list[str]:
    """Names of the steps of the plan on the command line, and their numbers once one is begun, for the shell."""
    from benchrig.plan.loader import load_plan

    # click stops at the option that has no value yet and leaves the plan among the words it did not come to
    path = next(iter(context.params.get("plans") or context.args), None)
    try:
        plan = load_plan(Path(path)) if path else None
    except BenchrigError:
        return []
    words = [step.name for step in plan.steps] if plan else []
    words += [step.id for step in plan.steps] if plan and incomplete[:1].isdigit() else []
    return [word for word in words if word.startswith(incomplete)]


def complete_family(_: click.Context, __: click.Parameter, incomplete: str) -> list[str]:
    """Families of faults."""
    from benchrig.faults.registry import FAMILIES

    return [family for family in FAMILIES if family.startswith(incomplete)]


def complete_fault(context: click.Context, _: click.Parameter, incomplete: str) -> list[str]:
    """Names of the faults of the device on the command line, for the shell."""
    from benchrig.escapes.launch import sound_scene
    from benchrig.faults.registry import faults_of

    radio = context.params.get("radio")
    try:
        known = faults_of(sound_scene(RadioWords(radio, (), (), None).choice())) if radio else []
    except BenchrigError:
        return []
    return [fault.name for fault in known if fault.name.startswith(incomplete)]


def complete_attribute(context: click.Context, _: click.Parameter, incomplete: str) -> list[str]:
    """Names of attributes for the shell: those of the plan on the command line, else the assigned ones."""
    from benchrig.cli.desk import plan_names
    from benchrig.values import catalogue

    plan = context.params.get("plan")
    try:
        known = [*plan_names(Path(plan)).aliases] if plan else []
    except BenchrigError:  # a plan that is being written
        known = []
    known = known or [*catalogue.names("characteristic")]
    return [name for name in known if name.startswith(incomplete)]


def attributes_option(name: str, help: str) -> Decorator:
    """An option for attributes; it may be given several times."""
    return click.option(name, help=help, metavar="ATTRIBUTE", multiple=True, shell_complete=complete_attribute)


def attributes_argument() -> Decorator:
    return click.argument(
        "attributes", nargs=-1, required=True, metavar="ATTRIBUTE…", shell_complete=complete_attribute
    )
