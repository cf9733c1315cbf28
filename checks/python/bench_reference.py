"""Times python-can and cantools on the recording of the benchmark: bench_reference.py hour.log

Reads every frame, puts the two-frame answers together and decodes each parameter by a DBC. That is what
a script made of general-purpose libraries does; it looks for no support bits, no codes and no faults.
"""

import sys
import time
from importlib import metadata

import can
import cantools

# Parameter: length, signals as (start byte, bytes, factor, offset, signed).
PARAMETERS = {
    0x04: (1, [(0, 1, 100 / 255, 0)]), 0x05: (1, [(0, 1, 1, -40)]), 0x0C: (2, [(0, 2, 0.25, 0)]),
    0x0D: (1, [(0, 1, 1, 0)]), 0x0F: (1, [(0, 1, 1, -40)]), 0x10: (2, [(0, 2, 0.01, 0)]),
    0x33: (1, [(0, 1, 1, 0)]), 0x46: (1, [(0, 1, 1, -40)]), 0x7A: (7, [(1, 2, 0.01, 0)]),
    0x7C: (9, [(1, 2, 0.1, -40), (3, 2, 0.1, -40)]),
}


def database():
    text = 'VERSION ""\nNS_ :\nBS_:\nBU_: X\n'
    for pid, (length, signals) in PARAMETERS.items():
        text += f"BO_ {pid} P{pid:02X}: {length} X\n"
        for i, (start, size, factor, offset) in enumerate(signals):
            sign = "-" if pid == 0x7A else "+"
            text += f' SG_ s{i} : {8 * start + 7}|{8 * size}@0{sign} ({factor},{offset}) [0|0] "" X\n'
    return {m.frame_id: m for m in cantools.database.load_string(text, "dbc").messages}


def main():
    messages = database()
    began = time.perf_counter()
    with can.CanutilsLogReader(sys.argv[1]) as log:
        frames = sum(1 for _ in log)
    read = time.perf_counter() - began

    began = time.perf_counter()
    values = 0
    payload, wanted = b"", 0
    with can.CanutilsLogReader(sys.argv[1]) as log:
        for frame in log:
            if frame.arbitration_id != 0x7E8:
                continue
            data = bytes(frame.data)
            if data[0] >> 4 == 1:
                payload, wanted = data[2:], (data[0] & 15) << 8 | data[1]
                continue
            payload = (payload + data[1:])[:wanted] if data[0] >> 4 == 2 else data[1:1 + data[0]]
            if payload[0] != 0x41:
                continue
            at = 1
            while at < len(payload):
                pid = payload[at]
                length = PARAMETERS[pid][0]
                values += len(messages[pid].decode(payload[at + 1:at + 1 + length]))
                at += 1 + length
    decoded = time.perf_counter() - began
    print(f"python-can {metadata.version('python-can')}, read only: {frames} frames in {read:.2f} s")
    print(f"python-can + cantools {metadata.version('cantools')}: {frames} frames, {values} values in {decoded:.2f} s")
    print(f"reference_seconds {decoded:.4f}")


if __name__ == "__main__":
    main()
