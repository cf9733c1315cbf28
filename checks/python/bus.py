"""Open recordings: frames by python-can, values by cantools, against the product."""

import gzip
import math
import shutil
import subprocess
import tempfile
from collections import defaultdict
from pathlib import Path

import can
import cantools
from common import ROOT, Table, ask, shared, skip

# Signals of the DBC and where the product says they come from: parameter group, suspect parameter.
SPN = {
    "DriverDemandTorque": 512, "ActualEngTorque": 513, "EngSpeed": 190, "AccelPedal1": 91, "EgrMassFlow": 2659,
    "IntakeAirMassFlow": 132, "FrictionTorque": 514, "ExhaustMassFlow": 3236, "FuelRate": 183,
    "IntakeManifoldTemp": 105, "IntakeManifoldPress": 102, "ExhaustTemp": 173,
    "PassiveRegenStatus": 3699, "ActiveRegenStatus": 3700, "DpfStatus": 3701, "RegenInhibited": 3702,
    "RegenInhibitSwitch": 3703, "HighExhTempLamp": 3698, "RegenForcedStatus": 4175, "DpfLamp": 3697,
    "SootLoad": 3719, "AshLoad": 3720, "TimeSinceActiveRegen": 3721, "SootRegenThreshold": 5466,
    "DpfIntakePressure": 3609, "DpfOutletPressure": 3610, "ExhaustTemp2": 3249, "DpfIntermediateTemp": 3250,
    "DpfDeltaP": 3251, "ExhaustTemp3": 3245, "DpfOutletTemp": 3246, "ExhaustTemp1": 3241, "DpfIntakeTemp": 3242,
}
# What a value in the DBC's unit is divided by to be in the product's, g/s.
DIVISOR = {"kg/h": 3.6}


def reader(path):
    with can.CanutilsLogReader(path) as log:
        yield from log


def group(arbitration_id):
    """Parameter group number of a 29-bit identifier."""
    number = arbitration_id >> 8 & 0x3FFFF
    return number if number >> 8 & 0xFF >= 240 else number & 0x3FF00


def available(raw, length):
    """False for the codes of SAE J1939-71 that say error or not available."""
    if length >= 8:
        return raw >> length - 8 <= 0xFA
    return raw < (1 << length) - (2 if length == 2 else 1)


def within_one(ours, theirs):
    """How many pairs are further apart than one unit in the last place."""
    return sum(abs(a - b) > math.ulp(max(abs(a), abs(b))) for a, b in zip(ours, theirs))


def j1939(table, folder, name):
    database = cantools.database.load_file(folder / "own-j1939-aftertreatment.dbc")
    messages = {group(m.frame_id): m for m in database.messages}
    theirs = defaultdict(list)
    first, frames = None, 0
    for frame in reader(folder / name):
        first = frame.timestamp if first is None else first
        frames += 1
        number = group(frame.arbitration_id)
        message = messages.get(number)
        if message is None or len(frame.data) < message.length:
            continue
        raw = message.decode(frame.data, decode_choices=False, scaling=False)
        for signal in message.signals:
            if signal.name in SPN and available(raw[signal.name], signal.length):
                value = signal.raw_to_scaled(raw[signal.name], decode_choices=False) / DIVISOR.get(signal.unit, 1)
                key = (frame.arbitration_id & 0xFF, number, SPN[signal.name])
                theirs[key].append((frame.timestamp - first, value))
    [ours] = ask([{"ask": "recording", "path": str(folder / name)}])
    table.same(f"{name}: frames", ours["counts"]["frames"], frames)
    signals = {s["source"]: s for s in ours["signals"]}
    for (address, number, spn), samples in sorted(theirs.items()):
        source = f"SA {address:02X} PGN {number} SPN {spn}"
        compare(table, f"{name}: {source}", signals.get(source), samples)
        apart = within_one(signals[source]["value"], [v for _, v in samples]) if source in signals else None
        table.same(f"{name}: {source} values beyond one unit in the last place", apart, 0, show=False)
    known = {f"SPN {spn}" for spn in SPN.values()}
    extra = [s for s in signals if s.split(" ", 4)[-1] in known and not any(
        s == f"SA {a:02X} PGN {n} SPN {p}" for a, n, p in theirs)]
    table.same(f"{name}: signals where cantools has none", extra, [])


def compare(table, what, ours, samples):
    if ours is None:
        table.same(f"{what} present", False, True)
        return
    table.same(f"{what} samples", len(ours["value"]), len(samples), show=False)
    off = max((abs(a - b) for a, (_, b) in zip(ours["value"], samples)), default=0.0)
    late = max((abs(a - t) for a, (t, _) in zip(ours["time_s"], samples)), default=0.0)
    table.near(f"{what} largest difference ({len(samples)})", off, 0.0, absolute=1e-9)
    table.near(f"{what} largest time difference s", late, 0.0, absolute=2e-6, show=False)


def obd(table, folder, name):
    database = cantools.database.load_file(ROOT / "checks" / "data" / "own-obd-service-01.dbc")
    message = database.get_message_by_name("Service01")
    parameters = {i for s in message.signals for i in s.multiplexer_ids or []}
    theirs = defaultdict(list)
    first, frames = None, 0
    for frame in reader(folder / name):
        first = frame.timestamp if first is None else first
        frames += 1
        # Single frames that answer service 01; several parameters in one answer do not occur here.
        if frame.arbitration_id != 0x7E8 or frame.data[0] > 7 or frame.data[1] != 0x41:
            continue
        if frame.data[2] not in parameters:
            continue
        for signal, value in message.decode(frame.data, decode_choices=False).items():
            if signal not in ("pid", "service", "length"):
                theirs[frame.data[2]].append((frame.timestamp - first, value))
    [ours] = ask([{"ask": "recording", "path": str(folder / name)}])
    table.same(f"{name}: frames", ours["counts"]["frames"], frames)
    signals = {s["source"]: s for s in ours["signals"]}
    for pid, samples in sorted(theirs.items()):
        source = f"7E8 01 {pid:02X}"
        compare(table, f"{name}: {source}", signals.get(source), samples)


def forms(table, folder, name, work):
    """The screen form written by can-utils, and the packed file, hold the same signals."""
    path = folder / name
    [compact] = ask([{"ask": "recording", "path": str(path)}])
    packed = work / (name + ".gz")
    with gzip.open(packed, "wb") as out:
        out.write(path.read_bytes())
    [other] = ask([{"ask": "recording", "path": str(packed)}])
    table.same(f"{name}: packed, signals", other["signals"] == compact["signals"], True)
    if shutil.which("log2long"):
        screen = work / (name + ".txt")
        with open(path) as source, open(screen, "w") as out:
            subprocess.run(["log2long"], stdin=source, stdout=out, check=True)
        [other] = ask([{"ask": "recording", "path": str(screen)}])
        table.same(f"{name}: screen form by log2long, frames", other["counts"]["frames"], compact["counts"]["frames"])
        same = [s["value"] for s in other["signals"]] == [s["value"] for s in compact["signals"]]
        table.same(f"{name}: screen form by log2long, values", same, True)


def main():
    folder = shared()
    if folder is None:
        skip("open recordings", "the open recordings are not beside the checkout")
    folder = folder / "data" / "bus"
    table = Table(
        "open recordings",
        ["python-can reads candump; cantools decodes by own-j1939-aftertreatment.dbc and by our own",
         "checks/data/own-obd-service-01.dbc (formulas of SAE J1979); not-available values masked",
         "log2long (can-utils) writes the screen form"],
        ["python-can", "cantools"],
    )
    for name in ("truck-j1939-idle.log", "j1939-tp-reagent.log", "container-400.log"):
        j1939(table, folder, name)
    for name in ("obd-request-response.log", "obd-drive-responses.log"):
        obd(table, folder, name)
    with tempfile.TemporaryDirectory() as work:
        for name in ("truck-j1939-idle.log", "obd-request-response.log", "isotp-multiframe.log"):
            forms(table, folder, name, Path(work))
    table.end()


if __name__ == "__main__":
    main()
