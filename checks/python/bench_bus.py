"""Invented truck traffic in the containers a workshop brings, for the log benchmark.

usage: bench_bus.py FOLDER [FRAMES]

Writes truck.log, and its first 300,000 frames as part.log, part.blf, part.mf4 (packed) and plain.mf4 (not packed). Twelve J1939 groups, the ones that
own-j1939-aftertreatment.dbc describes, in turn every 2 ms; eight bytes each, random, some fields not available.
Nothing is learnt from the values.
"""

import random
import sys
from pathlib import Path

import can

IDS = [
    0x0CF00400, 0x0CF00300, 0x0CF00A00, 0x18FEDF00, 0x18FEF200, 0x18FEF600,
    0x18FD7C00, 0x18FD7B00, 0x18FD8C00, 0x18FDB200, 0x18FDB300, 0x18FDB400,
]
PART = 300_000


def frames(count):
    random.seed(1)
    for n in range(count):
        data = bytearray(random.getrandbits(64).to_bytes(8, "little"))
        # Values, not the reserved top of the range, in most places.
        for k in range(1, 8, 2):
            data[k] %= 0xF0
        yield n, IDS[n % len(IDS)], bytes(data)


def main():
    folder = Path(sys.argv[1])
    count = int(sys.argv[2]) if len(sys.argv) > 2 else 980_393
    folder.mkdir(parents=True, exist_ok=True)
    with open(folder / "truck.log", "w") as whole, open(folder / "part.log", "w") as piece:
        for n, can_id, data in frames(count):
            us = 1_700_000_000_000_000 + n * 2_000
            line = f"({us // 1_000_000}.{us % 1_000_000:06}) can0 {can_id:08X}#{data.hex().upper()}\n"
            whole.write(line)
            if n < PART:
                piece.write(line)
    for name, form in (("part.blf", {}), ("part.mf4", {}), ("plain.mf4", {"compression_level": 0})):
        with can.Logger(folder / name, **form) as log:
            for n, can_id, data in frames(min(count, PART)):
                log.on_message_received(can.Message(
                    timestamp=1_700_000_000 + n * 0.002, arbitration_id=can_id, is_extended_id=True, data=data))


main()
