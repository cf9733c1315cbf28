"""ISO-TP reassembly against can-isotp: intact transfers of every length, and damaged ones."""

import random
from collections import deque

import frames
import isotp
from common import Table, ask


def reassemble_reference(wire, address):
    """can-isotp as a listener of frames that are there already."""
    queue, errors = deque(), []
    layer = isotp.TransportLayerLogic(
        rxfn=lambda _: queue.popleft() if queue else None, txfn=lambda _: None, address=address,
        params={"stmin": 0, "blocksize": 0, "max_frame_size": 8191}, error_handler=errors.append)
    messages = []
    for arbitration_id, extended, data in wire:
        queue.append(isotp.CanMessage(arbitration_id=arbitration_id, extended_id=extended, data=data, dlc=len(data)))
        layer.process()
        while (message := layer.recv()) is not None:
            messages.append(bytes(message).hex())
    return messages


def ours(wires):
    asked = [{"ask": "isotp", "frames": [data.hex() for _, _, data in wire]} for wire in wires]
    return [answer["messages"] for answer in ask(asked)]


def main():
    table = Table(
        "ISO-TP",
        ["can-isotp segments random payloads; the product puts them together again",
         "damaged transfers: what can-isotp as a listener delivers, the product delivers"],
        ["can-isotp"],
    )
    rng = random.Random(20261125)
    links = {
        "7E0/7E8, no padding": frames.Link(*frames.normal(0x7E0, 0x7E8)),
        "7E0/7E8, padding AA": frames.Link(*frames.normal(0x7E0, 0x7E8), padding=0xAA),
        "7E0/7E8, padding 00, blocks of 4": frames.Link(*frames.normal(0x7E0, 0x7E8), padding=0, block_size=4),
        "18DAF110, padding CC": frames.Link(*frames.fixed(), padding=0xCC),
    }
    for name, link in links.items():
        lengths = list(range(1, 80)) + [4094, 4095] + [rng.randrange(80, 4096) for _ in range(100)]
        payloads = [rng.randbytes(n) for n in lengths]
        wires = []
        for payload in payloads:
            wire, received = link.send(payload)
            assert bytes(received) == payload, "can-isotp does not agree with itself"
            sender = wire[0][0]
            wires.append([f for f in wire if f[0] == sender])
        good = sum(m == [p.hex()] for m, p in zip(ours(wires), payloads))
        table.same(f"{name}: payloads of 1 to 4095 bytes", good, len(payloads))

    module, listener = frames.normal(0x7E0, 0x7E8)
    link = frames.Link(module, listener, padding=0x55)
    damaged = []
    for _ in range(400):
        wire = []
        for _ in range(rng.randrange(1, 4)):
            wire += [f for f in link.send(rng.randbytes(rng.randrange(8, 120)))[0] if f[0] == 0x7E8]
        place = rng.randrange(len(wire))
        match rng.choice(["lose", "repeat", "swap", "cut"]):
            case "lose":
                del wire[place]
            case "repeat":
                wire.insert(place, wire[place])
            case "swap" if place + 1 < len(wire):
                wire[place], wire[place + 1] = wire[place + 1], wire[place]
            case _:
                del wire[place:]
        damaged.append(wire)
    same = 0
    for wire, messages in zip(damaged, ours(damaged)):
        reference = reassemble_reference(wire, listener)
        same += messages == reference
        if messages != reference:
            print("   ", [f[2].hex() for f in wire], messages, reference)
    table.same("damaged transfers: the same messages delivered", same, len(damaged))
    table.end()


if __name__ == "__main__":
    main()
