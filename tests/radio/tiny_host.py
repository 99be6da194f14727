"""A device stack that is not bumble, in plain Python over a blocking stream: HCI in the H4 format, L2CAP's ATT channel,
a GATT server with one service. As small as a firmware may be: it knows no other command, event or request.

Written from Core Vol 4 Part E 7.3.2, 7.8.4 to 7.8.9 (commands) and 7.7 (events), Vol 3 Part F 3.4 (ATT).

python -m tests.radio.tiny_host HOST:NUMBER|PATH [public|random]
"""

import os
import socket
import struct
import sys
import uuid

from tests.radio.unit import ADVERTISEMENT, COUNTER, SERVICE, VALUE

READ, WRITE, NOTIFY = 0x02, 0x08, 0x10
ADDRESS = bytes.fromhex("0200000000C7")  # the least octet first
MTU = 23


def le(text):
    return uuid.UUID(text).bytes[::-1]


PRIMARY, DECLARATION, CCCD = (struct.pack("<H", short) for short in (0x2800, 0x2803, 0x2902))


class TinyHost:
    def __init__(self, read, write, public):
        self.read, self.write, self.public = read, write, public
        # handle -> [type, value]
        self.table = {
            1: [PRIMARY, le(SERVICE)],
            2: [DECLARATION, struct.pack("<BH", READ | WRITE, 3) + le(VALUE)],
            3: [le(VALUE), b"\x01\x00"],
            4: [DECLARATION, struct.pack("<BH", NOTIFY, 5) + le(COUNTER)],
            5: [le(COUNTER), bytes(4)],
            6: [CCCD, b"\x00\x00"],
        }
        self.handle = self.count = 0

    # HCI

    def packet(self):
        kind = self.exactly(1)[0]
        if kind == 2:
            head = self.exactly(4)
            return kind, head + self.exactly(struct.unpack_from("<H", head, 2)[0])
        head = self.exactly(2)
        return kind, head + self.exactly(head[1])

    def exactly(self, count):
        data = b""
        while len(data) < count:
            part = self.read(count - len(data))
            if not part:
                sys.exit(0)
            data += part
        return data

    def command(self, opcode, parameters=b""):
        self.write(struct.pack("<BHB", 1, opcode, len(parameters)) + parameters)
        while True:
            kind, packet = self.packet()
            if kind == 4 and packet[0] == 0x0E and packet[3:5] == struct.pack("<H", opcode):
                assert packet[5] == 0, f"command 0x{opcode:04X}: status 0x{packet[5]:02X}"
                return
            self.take(kind, packet)

    def advertise(self):
        self.command(0x200A, b"\x01")

    def start(self):
        self.command(0x0C03)
        if not self.public:
            self.command(0x2005, ADDRESS)
        own = 0 if self.public else 1
        self.command(0x2006, struct.pack("<HHBBB6sBB", 0x30, 0x30, 0, own, 0, bytes(6), 7, 0))
        self.command(0x2008, bytes((len(ADVERTISEMENT),)) + ADVERTISEMENT.ljust(31, b"\x00"))
        self.advertise()

    def take(self, kind, packet):
        if kind == 2:
            length, channel = struct.unpack_from("<HH", packet, 4)
            if channel == 4:
                self.request(packet[8 : 8 + length])
        elif packet[:1] == b"\x3e" and packet[2] == 1 and packet[3] == 0:
            self.handle = struct.unpack_from("<H", packet, 4)[0]
        elif packet[0] == 0x05:
            self.handle, self.table[6][1] = 0, b"\x00\x00"
            self.advertise()
        elif packet[0] == 0x13:
            self.notify()  # the last one has gone out

    # ATT

    def send(self, pdu):
        body = struct.pack("<HH", len(pdu), 4) + pdu
        self.write(struct.pack("<BHH", 2, self.handle, len(body)) + body)

    def error(self, request, handle, code):
        self.send(struct.pack("<BBHB", 1, request, handle, code))

    def notify(self):
        if self.table[6][1] == b"\x01\x00":
            self.send(struct.pack("<BHI", 0x1B, 5, self.count))
            self.count += 1

    def request(self, pdu):
        code = pdu[0]
        if code == 0x02:
            self.send(struct.pack("<BH", 0x03, MTU))
        elif code in (0x08, 0x10):
            self.by_type(code, *struct.unpack_from("<HH", pdu, 1), pdu[5:])
        elif code == 0x04:
            self.information(*struct.unpack_from("<HH", pdu, 1))
        elif code == 0x0A:
            self.value(*struct.unpack_from("<H", pdu, 1))
        elif code == 0x12:
            self.store(struct.unpack_from("<H", pdu, 1)[0], pdu[3:])
        else:
            self.error(code, 0, 0x06)

    def by_type(self, code, start, end, wanted):
        """Read By Type and Read By Group Type: one entry an answer."""
        for handle, (kind, value) in self.table.items():
            if start <= handle <= end and kind == wanted:
                head = struct.pack("<HH", handle, 6) if code == 0x10 else struct.pack("<H", handle)
                self.send(bytes((code + 1, len(head + value))) + head + value)
                return
        self.error(code, start, 0x0A)

    def information(self, start, end):
        for handle, (kind, _) in self.table.items():
            if start <= handle <= end:
                self.send(struct.pack("<BBH", 0x05, 1 if len(kind) == 2 else 2, handle) + kind)
                return
        self.error(0x04, start, 0x0A)

    def value(self, handle):
        if handle == 5:
            self.error(0x0A, handle, 0x02)
        else:
            self.send(b"\x0b" + self.table[handle][1])

    def store(self, handle, value):
        if handle not in (3, 6) or len(value) != 2:
            self.error(0x12, handle, 0x03 if handle not in (3, 6) else 0x0D)
            return
        self.table[handle][1] = value
        self.send(b"\x13")
        if handle == 6:
            self.notify()

    def run(self):
        self.start()
        while True:
            self.take(*self.packet())


def main(place, kind="random"):
    if ":" in place:
        host, _, number = place.rpartition(":")
        connection = socket.create_connection((host, int(number)))
        TinyHost(connection.recv, connection.sendall, kind == "public").run()
    terminal = os.open(place, os.O_RDWR | os.O_NOCTTY)
    TinyHost(lambda size: os.read(terminal, size), lambda data: os.write(terminal, data), kind == "public").run()


if __name__ == "__main__":
    main(*sys.argv[1:])
