"""How long general-purpose libraries take for the logs of bench_bus.py.

usage: bench_bus_reference.py DBC FILE...   prints a line `seconds FILE SECONDS WHAT` for each

Text and BLF: python-can reads every frame, cantools decodes it (found by its group). MF4: asammdf extracts the bus
logging by the same description. One round each.
"""

import sys
import time

import can
import cantools
from asammdf import MDF


def group(arbitration_id):
    return arbitration_id >> 8 & 0x3FFFF


def main():
    dbc, files = sys.argv[1], sys.argv[2:]
    messages = {group(m.frame_id): m for m in cantools.database.load_file(dbc).messages}
    for name in files:
        start = time.perf_counter()
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
        print(f"seconds {name} {time.perf_counter() - start:.3f} {what}", flush=True)


main()
