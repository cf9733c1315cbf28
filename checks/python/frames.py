"""Frames and candump text for the scripts: payloads are segmented by can-isotp, never by us."""

import logging
from collections import deque

import isotp

logging.getLogger("isotp").setLevel(logging.CRITICAL)


class Link:
    """Two can-isotp layers joined by queues; remembers every frame on the wire in order."""

    def __init__(self, address, peer, padding=None, block_size=0, receive=True):
        self.to_sender, self.to_receiver = deque(), deque()
        self.wire = []
        params = {"stmin": 0, "blocksize": block_size, "tx_padding": padding, "max_frame_size": 8191}
        self.sender = isotp.TransportLayerLogic(
            rxfn=lambda _: self._take(self.to_sender), txfn=lambda m: self._put(m, self.to_receiver),
            address=address, params=params)
        self.receiver = isotp.TransportLayerLogic(
            rxfn=lambda _: self._take(self.to_receiver), txfn=lambda m: self._put(m, self.to_sender),
            address=peer, params=params)

    @staticmethod
    def _take(queue):
        return queue.popleft() if queue else None

    def _put(self, message, queue):
        self.wire.append((message.arbitration_id, message.is_extended_id, bytes(message.data)))
        queue.append(message)

    def send(self, payload):
        """All frames of one payload, flow control included, and what can-isotp put together again."""
        self.wire = []
        self.sender.send(payload)
        for _ in range(20_000):
            self.sender.process()
            self.receiver.process()
            if not self.sender.transmitting() and not self.to_receiver:
                break
        return self.wire, self.receiver.recv()


def normal(request, response):
    """A module answering on `response` with 11-bit identifiers, and its listener."""
    mode = isotp.AddressingMode.Normal_11bits
    return isotp.Address(mode, txid=response, rxid=request), isotp.Address(mode, txid=request, rxid=response)


def fixed(module=0x10, tester=0xF1):
    """A module with 29-bit normal fixed addressing, and its listener."""
    mode = isotp.AddressingMode.NormalFixed_29bits
    return (isotp.Address(mode, target_address=tester, source_address=module),
            isotp.Address(mode, target_address=module, source_address=tester))


class Log:
    """candump text in the compact form."""

    def __init__(self, start=1_700_000_000.0, step=0.001):
        self.time, self.step, self.lines = start, step, []

    def frame(self, arbitration_id, extended, data):
        name = f"{arbitration_id:08X}" if extended else f"{arbitration_id:03X}"
        self.lines.append(f"({self.time:.6f}) can0 {name}#{data.hex().upper()}")
        self.time += self.step

    def frames(self, wire):
        for frame in wire:
            self.frame(*frame)

    def text(self):
        return "\n".join(self.lines) + "\n"
