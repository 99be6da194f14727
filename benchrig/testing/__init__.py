"""What tests of plans, step kinds and functions are made with: whole plans on simulated devices, in no time.

    from benchrig.testing import device_of, plan_of, run_plan

    ran = run_plan(plan_of({"read": "battery level"}), device_of("unit 1", {"battery": {"battery level": "88 %"}}))
    assert ran.reading("read battery level").quantity == Quantity("88 %")

sources.py   plans and devices as text, files or data
running.py   a plan on simulated devices
ran.py       what a run left
breaking.py  devices with a fault

The reference is testplans/reference/testing.md.
"""

from benchrig.radio.virtual.clock import VirtualLoop
from benchrig.radio.virtual.clock import run as run_virtual
from benchrig.radio.virtual.faults import DROPPED, AirPdu, Faults
from benchrig.run.answers import Answers
from benchrig.testing.breaking import fault_named, faults_of
from benchrig.testing.ran import Ran
from benchrig.testing.running import run_plan
from benchrig.testing.sources import device_of, load_device, load_plan, plan_of, text_of

__all__ = [
    "DROPPED",
    "AirPdu",
    "Answers",
    "Faults",
    "Ran",
    "VirtualLoop",
    "device_of",
    "fault_named",
    "faults_of",
    "load_device",
    "load_plan",
    "plan_of",
    "run_plan",
    "run_virtual",
    "text_of",
]
