"""Reference values for liquids: writes checks/data/liquids.csv.

Independent of this repository's Rust code: friction from the package `fluids`, water from CoolProp, draining by
SciPy's adaptive quadrature on the level.

    python3 -m venv venv && venv/bin/pip install fluids CoolProp scipy
    venv/bin/python checks/python/liquids.py > checks/data/liquids.csv
"""

import math
import platform
import sys
from importlib.metadata import version

import fluids
import scipy.integrate
import scipy.optimize
from CoolProp.CoolProp import PropsSI

G = 9.80665
P0 = 101325.0


def velocity(pressure, d, length, k, rho, mu):
    """Velocity at which friction and fittings use up the pressure, or None where no steady root exists."""

    def excess(v):
        f = fluids.friction.friction_factor(Re=rho * v * d / mu, eD=0.0)
        return (f * length / d + k) * rho * v * v / 2 - pressure

    critical = 2040.0 * mu / (rho * d)
    below = critical * (1 - 1e-9)
    if excess(below) >= 0:
        return scipy.optimize.brentq(excess, 1e-12, below, xtol=1e-15, rtol=1e-13)
    above = critical * (1 + 1e-9)
    if excess(above) > 0:
        return None
    return scipy.optimize.brentq(excess, above, 100.0, xtol=1e-15, rtol=1e-13)


def drive(v_out, case):
    head = case["h0"] - max(v_out / case["a_b"], case.get("tip", 0.0))
    if "a_r" in case:
        head -= v_out / case["a_r"]
    p = case["rho"] * G * head + case.get("press", 0.0)
    if "vg" in case:
        p += P0 * case["vg"] / (case["vg"] + v_out) - P0
    if "vr" in case:
        p -= P0 * case["vr"] / (case["vr"] - v_out) - P0
    return p


def drain(case):
    area = math.pi * case["d"] ** 2 / 4

    def slowness(v_out):
        v = velocity(drive(v_out, case), case["d"], case["length"], case["k"], case["rho"], case["mu"])
        return 1.0 / (v * area)

    points = [case["tip"] * case["a_b"]] if "tip" in case else None
    return scipy.integrate.quad(slowness, 0.0, case["v"], epsrel=1e-9, limit=400, points=points)[0]


BASE = dict(d=0.003, length=1.5, k=2.5, rho=850.0, mu=0.004, h0=0.5, a_b=0.01, v=2e-3)
CASES = {
    "vented": BASE,
    "vented-cold": BASE | dict(mu=0.010),
    "vented-lower": BASE | dict(h0=0.8),
    "vented-4mm": BASE | dict(d=0.004),
    "narrow-bottle": BASE | dict(a_b=0.005, h0=0.9),
    "receiver-rises": BASE | dict(a_r=0.02, h0=0.7),
    "mariotte": BASE | dict(tip=0.15, h0=0.6),
    "squeezed-2kpa": BASE | dict(press=2000.0),
    "closed-receiver-200L": BASE | dict(vr=0.200, h0=0.7),
    "closed-bottle-10mL": BASE | dict(vg=1e-3, h0=1.0, v=1e-5),
    "turbulent": BASE | dict(d=0.008, mu=0.001, h0=1.0),
    "couplings": BASE | dict(k=12.0, d=0.004, mu=0.002),
}


def main():
    out = sys.stdout
    out.write(f"# made by checks/python/liquids.py, Python {platform.python_version()}, ")
    out.write(", ".join(f"{p} {version(p)}" for p in ("fluids", "CoolProp", "scipy")) + "\n")
    out.write("quantity,inputs,value,unit,source\n")

    def row(quantity, inputs, value, unit, source):
        text = "; ".join(f"{k}={v!r}" for k, v in inputs.items())
        out.write(f"{quantity},{text},{value:.8g},{unit},{source}\n")

    for t in (1.0, 5.0, 10.0, 15.0, 20.0, 25.0, 30.0, 40.0, 50.0, 60.0):
        kelvin = t + 273.15
        rho = PropsSI("D", "T", kelvin, "P", P0, "Water")
        mu = PropsSI("V", "T", kelvin, "P", P0, "Water")
        row("water_density", dict(degc=t), rho, "kg/m3", "CoolProp")
        row("water_kinematic", dict(degc=t), mu / rho * 1e6, "mm2/s", "CoolProp")
    for re in (1.0, 500.0, 2039.0, 2041.0, 2500.0, 3000.0, 5000.0, 2e4, 1e5, 1e6):
        row("friction", dict(re=re), fluids.friction.friction_factor(Re=re, eD=0.0), "-", "fluids")
    for name, case in CASES.items():
        row("drain", dict(case=name) | case, drain(case), "s", "fluids + scipy")


main()
