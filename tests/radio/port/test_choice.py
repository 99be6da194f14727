"""What --radio, --port and --start say."""

import pytest

from benchrig.errors import UsageError
from benchrig.radio.port.choice import PortChoice, parse_ports
from benchrig.radio.specify import RadioChoice, loop_factory


def test_a_tcp_port():
    assert PortChoice.parse("tcp:127.0.0.1:9001") == PortChoice("tcp", host="127.0.0.1", number=9001)


def test_an_ipv6_port():
    choice = PortChoice.parse("tcp:[::1]:9001")
    assert (choice.host, str(choice)) == ("::1", "tcp:[::1]:9001")


def test_a_pty():
    assert PortChoice.parse("pty:./dut").path == "./dut"


@pytest.mark.parametrize("text", ["", "tcp", "tcp:", "tcp:9001", "tcp:localhost:70000", "pty:", "udp:127.0.0.1:1"])
def test_no_port(text):
    with pytest.raises(UsageError, match="names no port"):
        PortChoice.parse(text)


def test_a_command_is_split_into_words_and_not_given_to_a_shell():
    assert PortChoice.parse("pty:x", "fw --hci '{port} a' ; rm").start == ("fw", "--hci", "{port} a", ";", "rm")


def test_quotes_that_do_not_close():
    with pytest.raises(UsageError, match="No closing quotation"):
        PortChoice.parse("pty:x", "fw 'a")


def test_programs_are_for_ports_in_order():
    first, second = parse_ports(["pty:a", "pty:b"], ["one"])
    assert (first.start, second.start) == (("one",), ())


def test_more_programs_than_ports():
    with pytest.raises(UsageError, match="2 programs to start, but 1 ports"):
        parse_ports(["pty:a"], ["one", "two"])


def test_one_port_twice():
    with pytest.raises(UsageError, match="pty:a appears twice"):
        parse_ports(["pty:a", "pty:a"], [])


def test_a_virtual_radio_needs_files_or_a_port():
    assert RadioChoice.parse("virtual", ["pty:a"]).files == ()
    with pytest.raises(UsageError, match="device files, or a port"):
        RadioChoice.parse("virtual")


@pytest.mark.parametrize("radio", ["host", "hci:usb:0"])
def test_ports_go_with_a_virtual_radio(radio):
    with pytest.raises(UsageError, match="go with a virtual radio"):
        RadioChoice.parse(radio, ["pty:a"])


def test_ports_stand_in_the_radios_name():
    assert str(RadioChoice.parse("virtual:a/one.yaml", ["tcp:127.0.0.1:9001"])) == "virtual:one.yaml,tcp:127.0.0.1:9001"


def test_a_port_takes_real_time():
    assert loop_factory(RadioChoice.parse("virtual:a.yaml")) is not None
    assert loop_factory(RadioChoice.parse("virtual:a.yaml", ["pty:a"])) is None


@pytest.mark.parametrize(
    "place",
    ["usb:0", "usb:0A12:0001", "serial:/dev/ttyUSB0", "serial:/dev/ttyUSB0,1000000,rtscts", "tcp:127.0.0.1:9000"],
)
def test_controllers(place):
    choice = RadioChoice.parse(f"hci:{place}")
    assert (str(choice), choice.simulated, loop_factory(choice)) == (f"hci:{place}", False, None)


@pytest.mark.parametrize("place", ["usb:", "usb:x", "serial:", "serial:/dev/x,fast", "tcp:localhost"])
def test_no_controller(place):
    with pytest.raises(UsageError, match="names no controller"):
        RadioChoice.parse(f"hci:{place}")


def test_an_unknown_transport():
    with pytest.raises(UsageError, match="unknown transport 'i2c'"):
        RadioChoice.parse("hci:i2c:0")
