"""What libraries log is not written among what is told to people."""

import subprocess
import sys

import pytest


@pytest.mark.parametrize("logger", ["bumble.host", "bumble.transport.tcp_client", "bleak.backends.bluezdbus.manager"])
def test_a_warning_of_a_library_reaches_nobody_by_itself(logger):
    code = f"import logging, benchrig.radio.specify; logging.getLogger({logger!r}).error('unexpected response')"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, check=True, timeout=50)
    assert done.stderr == b""


def test_who_wants_it_reads_it():
    code = "import logging, benchrig.radio; logging.basicConfig(); logging.getLogger('bumble.host').warning('odd')"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, check=True, timeout=50)
    assert b"odd" in done.stderr
