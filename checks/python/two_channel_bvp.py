#!/usr/bin/env python3
"""Independent solution of the two-channel equations of a wall-flow filter with SciPy's solve_bvp.

Writes checks/data/two_channel_bvp.csv (pressure drop p1(0) - p2(L) without end losses, and the lowest
and highest wall velocity). The unknowns differ on purpose from those of the crate under test: mass flow
and the two impulses I = p A + b M u, from which the pressures follow by a quadratic.

Needs: pip install scipy numpy. Usage: python3 two_channel_bvp.py [output.csv]
"""

import csv
import pathlib
import sys

import numpy as np
import scipy
from scipy.integrate import solve_bvp

R = 8.314462618
MOLAR_MASS = 28.8811e-3
FRICTION = 28.454
ATM = 101325.0

FIELDS = (
    "id cpsi wall_m inlet_ratio diameter_m length_m filtering_length_m k_wall_m2 forchheimer_per_m "
    "wall_pore_m cake_product_kg_m cake_packing_kg_m3 cake_pore_m slip_reference_k ash_k_m2 "
    "ash_packing_kg_m3 plug_packing_kg_m3 soot_kg_m3 ash_kg_m3 plug_share soot_profile mass_flow_kg_s "
    "temperature_k outlet_pressure_pa momentum compressible"
).split()

BASE = dict(
    cpsi=200, wall_m=0.3048e-3, inlet_ratio=1.0, diameter_m=0.1438, length_m=0.1524,
    filtering_length_m=0.1524, k_wall_m2=5e-13, forchheimer_per_m=0.0, wall_pore_m=0.0,
    cake_product_kg_m=1.8e-12, cake_packing_kg_m3=90.0, cake_pore_m=0.0, slip_reference_k=573.15,
    ash_k_m2=6e-14, ash_packing_kg_m3=400.0, plug_packing_kg_m3=500.0, soot_kg_m3=0.0, ash_kg_m3=0.0,
    plug_share=0.0, soot_profile="1 1", mass_flow_kg_s=200 / 3600, temperature_k=573.15,
    outlet_pressure_pa=ATM, momentum=1.0, compressible=1,
)
FINE = dict(cpsi=300, wall_m=0.254e-3, length_m=0.2032, filtering_length_m=0.2032, k_wall_m2=1e-12)
BIG = dict(diameter_m=0.19, length_m=0.2032, filtering_length_m=0.2032, wall_m=0.3556e-3)

CASES = {
    "bare": {},
    "bare-constant-density": dict(compressible=0),
    "bare-no-momentum": dict(compressible=0, momentum=0.0),
    "loaded": dict(soot_kg_m3=6.0),
    "idle": dict(soot_kg_m3=3.0, mass_flow_kg_s=25 / 3600, temperature_k=423.15),
    "full-load": dict(soot_kg_m3=3.0, mass_flow_kg_s=400 / 3600, temperature_k=723.15, outlet_pressure_pa=112e3),
    "fine-bare": dict(FINE),
    "fine-bare-full-load": dict(FINE, mass_flow_kg_s=500 / 3600, temperature_k=823.15),
    "fine-very-open": dict(FINE, k_wall_m2=5e-12),
    "big-loaded": dict(BIG, soot_kg_m3=8.0, mass_flow_kg_s=300 / 3600),
    "developed-profile": dict(soot_kg_m3=1.0, momentum=1.38),
    "forchheimer": dict(soot_kg_m3=1.0, forchheimer_per_m=3e8, mass_flow_kg_s=300 / 3600),
    "inlet-wide": dict(inlet_ratio=1.3, soot_kg_m3=5.0),
    "inlet-wide-ash": dict(inlet_ratio=1.2, soot_kg_m3=4.0, ash_kg_m3=30.0, plug_share=0.6),
    "ash-layer": dict(soot_kg_m3=3.0, ash_kg_m3=15.0),
    "ash-plug": dict(soot_kg_m3=3.0, ash_kg_m3=40.0, plug_share=0.9),
    "slip-hot": dict(soot_kg_m3=4.0, cake_pore_m=80e-9, wall_pore_m=12e-6, temperature_k=873.15),
    "slip-cold": dict(soot_kg_m3=4.0, cake_pore_m=80e-9, wall_pore_m=12e-6, temperature_k=323.15),
    "soot-at-the-end": dict(soot_kg_m3=5.0, soot_profile="0.5 1.5"),
    "soot-at-the-front": dict(soot_kg_m3=5.0, soot_profile="1.6 0.4", mass_flow_kg_s=350 / 3600),
    "soot-hump": dict(soot_kg_m3=4.0, soot_profile="0.6 1.4 0.6"),
    "all-together": dict(
        FINE, inlet_ratio=1.25, filtering_length_m=0.195, soot_kg_m3=4.0, ash_kg_m3=25.0, plug_share=0.7,
        soot_profile="0.8 1.2", cake_pore_m=90e-9, wall_pore_m=11e-6, forchheimer_per_m=1e7,
        mass_flow_kg_s=350 / 3600, temperature_k=773.15, outlet_pressure_pa=108e3, momentum=1.2,
    ),
}


def viscosity(t):
    return 1.5386e-6 * t**1.5 / (t + 163.48)


def slip(pore, p, t):
    if pore == 0.0:
        return 1.0
    kn = 2 * viscosity(t) / p * np.sqrt(np.pi * R * t / (2 * MOLAR_MASS)) / pore
    return 1 + kn * (1.257 + 0.4 * np.exp(-1.1 / kn))


def solve(c):
    pitch = 0.0254 / np.sqrt(c["cpsi"])
    face = np.pi * c["diameter_m"] ** 2 / 4
    n = face / pitch**2 / 2
    a_out = 2 * (pitch - c["wall_m"]) / (1 + c["inlet_ratio"])
    a = c["inlet_ratio"] * a_out
    per_channel = face * c["length_m"] / n
    plug = c["plug_share"] * c["ash_kg_m3"] * per_channel / (a**2 * c["plug_packing_kg_m3"])
    length = c["filtering_length_m"] - plug
    ash_area = (1 - c["plug_share"]) * c["ash_kg_m3"] * per_channel / length / c["ash_packing_kg_m3"]
    soot_area = c["soot_kg_m3"] * per_channel / length / c["cake_packing_kg_m3"]
    knots = np.array([float(v) for v in c["soot_profile"].split()])
    at = np.linspace(0, length, len(knots))
    knots = knots / (np.trapezoid(knots, at) / length)

    t, p_out, b = c["temperature_k"], c["outlet_pressure_pa"], c["momentum"]
    mu, rt = viscosity(t), R * t / MOLAR_MASS
    flow = c["mass_flow_kg_s"] / n
    area2 = a_out**2
    compressible = bool(c["compressible"])

    def area1(x):
        return a**2 - ash_area - soot_area * np.interp(x, at, knots)

    # Slope of the area in each piece of the profile: it jumps at the knots, so the pieces are solved
    # side by side on 0..1 and joined by boundary conditions.
    pieces = len(knots) - 1
    narrowing = -soot_area * np.diff(knots) / (at[1] - at[0])

    def density(p):
        return p / rt if compressible else np.full_like(p, p_out / rt)

    def pressure(impulse, m, area):
        if not compressible:
            return (impulse - b * m**2 / (p_out / rt * area)) / area
        return (impulse + np.sqrt(impulse**2 - 4 * b * m**2 * rt)) / (2 * area)

    def wall_velocity(x, p1, p2):
        mean = (p1 + p2) / 2
        kw = c["k_wall_m2"] * slip(c["wall_pore_m"], mean, t) / slip(c["wall_pore_m"], ATM, c["slip_reference_k"])
        ks = c["cake_product_kg_m"] / c["cake_packing_kg_m3"]
        ks *= slip(c["cake_pore_m"], mean, t) / slip(c["cake_pore_m"], ATM, c["slip_reference_k"])
        after_ash = a**2 - ash_area
        darcy = mu * (
            c["wall_m"] / kw
            + a / (2 * c["ash_k_m2"]) * 0.5 * np.log(a**2 / after_ash)
            + a / (2 * ks) * 0.5 * np.log(after_ash / area1(x))
        )
        inertia = c["forchheimer_per_m"] * density((p1 + p2) / 2) * c["wall_m"]
        drop = p1 - p2
        return 2 * drop / (darcy + np.sqrt(darcy**2 + 4 * inertia * np.abs(drop)))

    # Behind the filtering part the outlet channel is a plain duct along the plug.
    p_end = p_out
    if plug > 0:
        g = flow / area2
        if compressible:
            from scipy.optimize import brentq

            def left(p):
                return (p**2 - p_out**2) / 2 - b * g**2 * rt * np.log(p / p_out) - FRICTION * mu * g * rt * plug / area2

            p_end = brentq(left, p_out, 3 * p_out, xtol=1e-9, rtol=1e-15)
        else:
            p_end = p_out + FRICTION * mu * g * rt / p_out * plug / area2

    # Scales keep the unknowns near one.
    p_scale, m_scale = 1e3, flow
    i1_scale, i2_scale = p_scale * a**2, p_scale * area2

    def unpack(x, y):
        m1 = y[0] * m_scale
        m2 = flow - m1
        i1, i2 = p_out * area1(x) + y[1] * i1_scale, p_out * area2 + y[2] * i2_scale
        return m1, m2, pressure(i1, m1, area1(x)), pressure(i2, m2, area2)

    def solve_all():
        def rhs(s, y):
            rows = []
            for k in range(pieces):
                x = at[k] + s * (at[k + 1] - at[k])
                m1, m2, p1, p2 = unpack(x, y[3 * k : 3 * k + 3])
                u1, u2 = m1 / (density(p1) * area1(x)), m2 / (density(p2) * area2)
                g = 4 * a * density((p1 + p2) / 2) * wall_velocity(x, p1, p2)
                rows += [
                    -g / m_scale,
                    (-FRICTION * mu * u1 + (p1 - p_out) * narrowing[k]) / i1_scale,
                    -FRICTION * mu * u2 / i2_scale,
                ]
            return np.vstack(rows) * (at[1] - at[0])

        def ends(y0, y1):
            impulse = p_end * area2 + b * flow**2 / ((p_end if compressible else p_out) / rt * area2)
            joints = y1[:-3] - y0[3:]
            return np.concatenate([[y0[0] - 1, y1[-3], y1[-1] - (impulse - p_out * area2) / i2_scale], joints])

        s = np.linspace(0, 1, 401)
        guess = np.vstack(
            [v for k in range(pieces) for v in (1 - (k + s) / pieces, np.full_like(s, 2.0), np.zeros_like(s))]
        )
        sol = solve_bvp(rhs, ends, s, guess, tol=1e-10, max_nodes=200000)
        if not sol.success:
            raise RuntimeError(f"{c['id']}: {sol.message}")
        velocities, front = [], None
        for k in range(pieces):
            x = at[k] + sol.x * (at[k + 1] - at[k])
            m1, m2, p1, p2 = unpack(x, sol.y[3 * k : 3 * k + 3])
            velocities.append(wall_velocity(x, p1, p2))
            front = p1[0] if front is None else front
        return front - p_out, np.concatenate(velocities)

    drop, velocity = solve_all()
    return drop, velocity.min(), velocity.max()


def main():
    target = pathlib.Path(__file__).resolve().parent.parent / "data" / "two_channel_bvp.csv"
    if len(sys.argv) > 1:
        target = pathlib.Path(sys.argv[1])
    with open(target, "w", newline="") as f:
        f.write(f"# two_channel_bvp.py; SciPy {scipy.__version__} solve_bvp tol 1e-10; NumPy {np.__version__}\n")
        f.write("# drop_pa = p1(0) - p2(L) without end losses; wall velocities on the clean wall face\n")
        out = csv.writer(f, lineterminator="\n")
        out.writerow(FIELDS + ["drop_pa", "wall_velocity_min_m_s", "wall_velocity_max_m_s"])
        for name, changes in CASES.items():
            c = dict(BASE, id=name, **changes)
            drop, low, high = solve(c)
            out.writerow([c[k] for k in FIELDS] + [f"{drop:.9g}", f"{low:.9g}", f"{high:.9g}"])
            print(f"{name}: {drop:.6f} Pa")


if __name__ == "__main__":
    main()
