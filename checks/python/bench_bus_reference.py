"""How long general-purpose libraries take for the logs of bench_bus.py.

usage: bench_bus_reference.py DBC FILE...   prints a line `FILE: wall W s, processor P s, WHAT` for each

Text and BLF: python-can reads every frame, cantools decodes it (found by its group), one round. MF4: asammdf extracts the
bus logging by the same description, the better of three rounds, since the first also loads its tables.
"""

import sys
import time

import can
import cantools
from asammdf import MDF


def group(arbitration_id):
    return arbitration_id >> 8 & 0x3FFFF


def one(name, dbc, messages):
    wall, processor = time.perf_counter(), time.process_time()
    if name.endswith("mf4"):
        with MDF(name) as mdf:
            mdf.extract_bus_logging({"CAN": [(dbc, 0)]}, ignore_value2text_conversion=True)
        what = "asammdf"
    else:
        columns, frames = {}, 0
        for frame in can.LogReader(name):
            frames += 1
            message = messages.get(group(frame.arbitration_id))
            if message is not None:
                for signal, value in message.decode(frame.data, decode_choices=False).items():
                    columns.setdefault(signal, []).append((frame.timestamp, value))
        what = f"python-can and cantools, {frames} frames"
    return time.perf_counter() - wall, time.process_time() - processor, what


def main():
    dbc, files = sys.argv[1], sys.argv[2:]
    messages = {group(m.frame_id): m for m in cantools.database.load_file(dbc).messages}
    for name in files:
        rounds = [one(name, dbc, messages) for _ in range(3 if name.endswith("mf4") else 1)]
        wall, processor, what = min(rounds, key=lambda r: r[1])
        print(f"{name}: wall {wall:.3f} s, processor {processor:.3f} s, {what}", flush=True)


main()
