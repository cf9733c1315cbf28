"""Writes the recording of the benchmark: one hour of OBD traffic at 10 Hz with background frames.

    bench_log.py hour.log

About half a million frames. Every tenth of a second a tester asks for four groups of parameters and the
engine module answers, the filter's pressure and temperatures by ISO-TP in two frames; 91 frames a second
of other traffic stand between. The drive is invented: speed and flow follow slow waves, and the pressure
difference follows the flow.
"""

import math
import random
import sys

HOUR_S, STEP_S = 3600, 0.1
REQUESTS = {"fast": "0C0D1033", "warm": "05460F04", "pressure": "7A", "temperature": "7C"}


def word(value, lowest=0, highest=0xFFFF):
    return max(lowest, min(highest, round(value)))


def single(payload):
    return f"{len(payload) // 2:02X}{payload}".ljust(16, "5")


def multi(payload):
    data = f"1{len(payload) // 2:03X}{payload}"
    yield data[:16]
    rest, number = data[16:], 1
    while rest:
        yield f"2{number:X}{rest[:14]}".ljust(16, "5")
        rest, number = rest[14:], (number + 1) % 16


def main():
    rng = random.Random(10)
    background = [f"{0x100 + 7 * i:03X}" for i in range(60)]
    time = 1_700_000_000.0
    with open(sys.argv[1], "w") as out:
        def put(at, name, data):
            out.write(f"({at:.6f}) can0 {name}#{data}\n")

        for step in range(round(HOUR_S / STEP_S)):
            t = step * STEP_S
            wave = 0.5 + 0.35 * math.sin(t / 37) + 0.15 * math.sin(t / 5.3)
            rpm = 850 + 2300 * wave
            air = 8 + 62 * wave**1.5 + rng.gauss(0, 0.3)
            hot = 190 + 160 * (0.5 + 0.5 * math.sin(t / 290)) + 40 * wave
            rho = 353.0 / (hot + 273)
            volume = air / rho
            drop = 0.1 + 4.5e-2 * volume * (hot + 273) ** 0.7 / 80 + 8e-6 * rho * volume**2 + rng.gauss(0, 0.02)
            frames = [("7E0", single(f"01{REQUESTS['fast']}"))]
            frames += [("7E8", f) for f in multi(
                f"410C{word(4 * rpm):04X}0D{word(130 * wave, highest=255):02X}10{word(100 * air):04X}33{98:02X}")]
            frames.insert(2, ("7E0", "3000005555555555"))
            frames += [("7E0", single("017A")), *(("7E8", f) for f in multi(
                f"417A01{word(100 * drop) & 0xFFFF:04X}00000000"))]
            frames += [("7E0", single("017C")), *(("7E8", f) for f in multi(
                f"417C03{word(10 * (hot + 40)):04X}{word(10 * (hot + 25)):04X}00000000"))]
            if step % 10 == 0:
                frames += [("7E0", single(f"01{REQUESTS['warm']}")), *(("7E8", f) for f in multi(
                    f"4105{88 + 40:02X}46{18 + 40:02X}0F{25 + 40:02X}04{word(255 * wave, highest=255):02X}"))]
            for k in range(3 + step % 2):
                frames.append((rng.choice(background), f"{rng.getrandbits(64):016X}"))
            for k, (name, data) in enumerate(frames):
                put(time + t + 0.004 * k, name, data)


if __name__ == "__main__":
    main()
