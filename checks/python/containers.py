"""Containers and message descriptions: what python-can, cantools and asammdf write and decode, against the product.

Frames of all kinds are invented, written by python-can as BLF, ASC and MF4 and read back by the product; groups of
signals of all number types are written by asammdf, plain and packed; the open recordings that exist in several containers
hold the same frames at the same times in each, and the signals of the shipped description are decoded by cantools out of
all of them. Values must agree within one unit in the last place.
"""

import random
import tempfile
from collections import defaultdict
from pathlib import Path

import can
import cantools
import numpy as np
from asammdf import MDF, Signal
from asammdf.blocks.conversion_utils import from_dict
from common import Table, ask, shared
from bus import available, group, within_one


def invented(count, fd):
    random.seed(2)
    time = 1_700_000_000.25
    for n in range(count):
        time += random.choice([0.001, 0.0005, 0.25])
        extended = random.random() < 0.5
        # Identifiers that no diagnostics and no transport use: random bytes there would be broken transfers.
        can_id = random.getrandbits(29) & ~0xFF0000 | 0xF10000 if extended else random.randrange(0x600)
        kind = random.random()
        if kind < 0.05:
            yield can.Message(timestamp=time, arbitration_id=can_id, is_extended_id=extended, is_remote_frame=True,
                              dlc=random.randint(0, 8), channel=0)
        elif fd and kind < 0.4:
            length = random.choice([0, 3, 8, 12, 20, 64])
            yield can.Message(timestamp=time, arbitration_id=can_id, is_extended_id=extended, is_fd=True,
                              bitrate_switch=n % 2 == 0, data=random.randbytes(length), channel=0)
        else:
            yield can.Message(timestamp=time, arbitration_id=can_id, is_extended_id=extended,
                              data=random.randbytes(random.randint(0, 8)), channel=0)


def frames(table, folder):
    for end, fd in [("blf", True), ("asc", True), ("mf4", False), ("log", True)]:
        path = folder / f"frames.{end}"
        wanted = list(invented(3000, fd))
        with can.Logger(path) as log:
            for message in wanted:
                log.on_message_received(message)
        answer = ask([{"ask": "frames", "path": str(path)}])[0]
        table.same(f"{end}: problems", answer["problems"], [], show=False)
        ours = answer["frames"]
        table.same(f"{end}: frames", len(ours), len(wanted))
        bad = 0
        for (ns, can_id, extended, kind, data, length), message in zip(ours, wanted):
            due = ("remote" if message.is_remote_frame else "fd" if message.is_fd else "data")
            same = (can_id, extended, kind, data) == (message.arbitration_id, message.is_extended_id, due,
                                                      bytes(message.data).hex() if due != "remote" else "")
            # python-can leaves the length of a remote frame out of candump text.
            same &= due != "remote" or length == (0 if end == "log" else message.dlc)
            bad += not same
        table.same(f"{end}: frames whose identifier, kind or data differ", bad, 0)
        first = ours[0][0]
        off = max(abs((o[0] - first) / 1e9 - (m.timestamp - wanted[0].timestamp)) for o, m in zip(ours, wanted))
        # ASC has microseconds, the others at least ten of them; the timestamps are doubles since 1970.
        table.near(f"{end}: largest difference of times, s", off, 0.0, absolute=1.1e-5)


def read_by_python_can(path):
    with can.LogReader(path) as log:
        return [(m.timestamp, m.arbitration_id, m.is_extended_id, bytes(m.data).hex()) for m in log]


def same_frames(table, folder, names, tick):
    """One recording in several containers: the same frames, and the times of the first one to a `tick` of the clock."""
    wanted = problems = None
    for name in names:
        answer = ask([{"ask": "frames", "path": str(folder / name)}])[0]
        # What is wrong with the traffic is wrong with it in each container, at another place.
        texts = [p.split(": ", 1)[1] for p in answer["problems"]]
        problems = texts if problems is None else problems
        table.same(f"{name}: problems as in {names[0]}", texts, problems, show=False)
        ours = [(ns, can_id, extended, data) for ns, can_id, extended, _, data, _ in answer["frames"]]
        if not name.endswith(".mf4"):
            theirs = read_by_python_can(folder / name)
            table.same(f"{name}: frames", len(ours), len(theirs))
            table.same(f"{name}: identifiers and data as python-can reads them",
                       [f[1:] for f in ours] == [f[1:] for f in theirs], True)
            off = max(abs((o[0] - ours[0][0]) / 1e9 - (t[0] - theirs[0][0])) for o, t in zip(ours, theirs))
            # Their times are doubles since 1970: steps of a quarter of a microsecond.
            table.near(f"{name}: largest time difference to python-can, s", off, 0.0, absolute=1e-6)
        if wanted is None:
            wanted = ours
            continue
        table.same(f"{name}: identifiers and data as in {names[0]}", [f[1:] for f in ours] == [f[1:] for f in wanted], True)
        off = max(abs((o[0] - ours[0][0]) - (w[0] - wanted[0][0])) for o, w in zip(ours, wanted))
        table.near(f"{name}: largest time difference to {names[0]}, s", off / 1e9, 0.0, absolute=tick)


def signals(table, folder):
    times = np.arange(500) / 50
    whole = np.arange(500)
    kinds = [
        ("Small", (whole % 200).astype("u1"), None), ("Word", (whole * 131 % 60000).astype("u2"), None),
        ("Long", (whole * 8_000_000).astype("u4"), None), ("Huge", (whole.astype("u8") << 40), None),
        ("Signed", (whole * 7 - 1500).astype("i2"), None), ("BigEndian", (whole * 3).astype(">u2"), None),
        ("BigSigned", (whole * -3).astype(">i4"), None), ("Single", (np.sin(times) * 20).astype("f4"), None),
        ("Double", np.cos(times) * 1e-3, None), ("BigDouble", np.cos(times).astype(">f8"), None),
        ("Scaled", (whole % 4000).astype("u2"), {"a": 0.0025, "b": -40.0}),
        ("Table", (whole % 11).astype("u1"), {"raw_0": 0, "phys_0": 0, "raw_1": 5, "phys_1": 100, "raw_2": 10,
                                             "phys_2": 110, "interpolation": True}),
    ]
    for version, compression in [("4.10", 0), ("4.11", 1), ("4.11", 2)]:
        path = folder / f"signals-{version}-{compression}.mf4"
        mdf = MDF(version=version)
        mdf.append([Signal(v, times, name=n, unit="x", conversion=from_dict(c) if c else None) for n, v, c in kinds])
        mdf.append([Signal((whole % 100).astype("u2"), times + 0.01, name="engine_speed", unit="rpm")])
        mdf.save(path, overwrite=True, compression=compression)
        answer = ask([{"ask": "recording", "path": str(path)}])[0]
        label = f"MDF {version}, packing {compression}"
        table.same(f"{label}: problems", answer["problems"], [], show=False)
        named = {s["name"]: s for s in answer["named"]}
        table.same(f"{label}: signals", sorted(named), sorted(n for n, _, _ in kinds), show=False)
        with MDF(path) as read:
            for name, _, _ in kinds:
                theirs = [float(v) for v in read.get(name).samples]
                ours = named[name]["value"]
                table.same(f"{label}: {name}, values beyond one unit in the last place",
                           (len(ours), within_one(ours, theirs)), (len(theirs), 0), show=False)
        speed = [s for s in answer["signals"] if s["quantity"] == "engine_speed"]
        table.same(f"{label}: a name and unit that the product knows", len(speed), 1)


def described(table, folder, name, frames_of):
    """Every signal of the shipped description in an open recording; not available is masked on both sides."""
    dbc = folder / "own-j1939-aftertreatment.dbc"
    messages = {group(m.frame_id): m for m in cantools.database.load_file(dbc).messages}
    theirs = defaultdict(list)
    for arbitration_id, data in frames_of:
        message = messages.get(group(arbitration_id))
        if message is None or len(data) < message.length:
            continue
        raw = message.decode(data, decode_choices=False, scaling=False)
        scaled = message.decode(data, decode_choices=False)
        for signal in message.signals:
            valid = raw[signal.name] < (1 << signal.length) - 1 if signal.length < 8 else available(
                raw[signal.name], signal.length)
            if valid:
                theirs[message.name, signal.name, arbitration_id & 0xFF].append(float(scaled[signal.name]))
    answer = ask([{"ask": "recording", "path": str(folder / name), "descriptions": [str(dbc)]}])[0]
    ours = {(s["message"], s["name"], int(s["source"].split("PGN")[0].replace("SA", "").strip()[-2:], 16)
             if "SA" in s["source"] else int(s["source"][-2:], 16)): s["value"]
            for s in answer["named"] if s["value"]}
    table.same(f"{name}: described signals", sorted(ours), sorted(theirs), show=False)
    bad = sum((len(ours.get(k, [])) != len(v)) + within_one(ours.get(k, []), v) for k, v in theirs.items())
    count = sum(map(len, theirs.values()))
    table.same(f"{name}: of {count} described values beyond one unit in the last place", bad, 0)


def main():
    table = Table("containers and message descriptions", ["python-can writes, cantools and asammdf decode"],
                  ["python-can", "cantools", "asammdf"])
    with tempfile.TemporaryDirectory() as name:
        frames(table, Path(name))
        signals(table, Path(name))
    folder = shared()
    if folder:
        folder = folder / "data" / "bus"
        same_frames(table, folder, [f"container-400.{end}" for end in ("log", "asc", "blf")], 1e-6)
        for name in ("j1939-tp-reagent", "isotp-multiframe"):
            same_frames(table, folder, [f"{name}.log", f"{name}.mf4"], 1e-6)
        for name in ("truck-j1939-idle.log", "j1939-tp-reagent.log", "j1939-tp-reagent.mf4", "container-400.log",
                     "container-400.asc", "container-400.blf"):
            # python-can does not read this MF4; its frames are those of the log beside it, as compared above.
            log = folder / name.replace(".mf4", ".log")
            described(table, folder, name, [(f[1], bytes.fromhex(f[3])) for f in read_by_python_can(log)])
    table.end()


if __name__ == "__main__":
    main()
