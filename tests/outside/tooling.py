"""Heat, moisture and tools by other ways than Bondline's: root finding, a discretised plate, plain geometry."""
import json
import sys
from fractions import Fraction

import numpy as np
from scipy.linalg import eigh_tridiagonal
from scipy.optimize import brentq

S = 5.670374419e-8
rng = np.random.default_rng(20260601)
u = lambda low, high: float(rng.uniform(low, high))
out = {}

# The balance by brentq, on the temperature; the colour limit by brentq on the absorptance, with the temperature
# of every trial by brentq again.
def surface(a, e, g, air, sky, h):
    return brentq(lambda t: h * (t - air) + e * S * (t**4 - sky**4) - a * g, 100.0, 3000.0, xtol=1e-12, rtol=1e-14)

days = []
for _ in range(30):
    e, g, air, wind = u(0.6, 0.95), u(700, 1200), u(300, 325), u(0, 5)
    sky, calm = air - u(0, 25), 5.7 + 3.8 * wind
    load = calm + 3.8
    a = u(0.1, 0.95)
    tg, test, core = u(353, 393), u(325, 360), u(325, 360)
    allowed = [(tg - 28, calm), (test, load), (core, calm)]
    def spare(a):
        return min(top - surface(a, e, g, air, sky, h) for top, h in allowed)
    if spare(0.0) < 0:
        darkest = "none"
    elif spare(1.0) >= 0:
        darkest = "any"
    else:
        darkest = brentq(spare, 0.0, 1.0, xtol=1e-12)
    days.append(dict(emittance=e, irradiance=g, air=air, sky=sky, wind=wind, absorptance=a, tg=tg, test=test, core=core,
                     ramp=surface(a, e, g, air, sky, calm), structural=surface(a, e, g, air, sky, load), darkest=darkest))
out["days"] = days

# Fick: the plate cut into cells, second differences, exact in time by its eigenvectors; a sealed face is a face
# without flux, not a plate of twice the thickness.
def plate(sealed, cells=800):
    n = cells - 1 + (1 if sealed else 0)
    diagonal, beside = np.full(n, -2.0), np.ones(n - 1)
    weight = np.ones(n)
    if sealed:
        # The last node is the sealed face: half a cell, its equation made symmetric.
        beside[-1] = np.sqrt(2.0)
        weight[-1] = np.sqrt(0.5)
    values, vectors = eigh_tridiagonal(diagonal * cells**2, beside * cells**2)
    dry = -weight
    at = vectors.T @ dry
    def uptake(x):
        missing = vectors @ (np.exp(values * x) * at)
        return 1.0 + float(weight @ missing) / cells
    return uptake

open_plate, sealed_plate = plate(False), plate(True)
moisture = []
for i in range(40):
    faces = "both" if i % 2 == 0 else "one"
    d, h, fraction = 10 ** u(-14, -12), u(0.5e-3, 12e-3), u(0.2, 0.995)
    uptake = open_plate if faces == "both" else sealed_plate
    x = brentq(lambda x: uptake(x) - fraction, 1e-4, 10.0, xtol=1e-13)
    moisture.append(dict(faces=faces, diffusivity=d, thickness=h, fraction=fraction, time=x * h * h / d))
out["moisture"] = moisture

# A corner drawn: inner and outer arc and the thickness each strained; the new angle is what closes between them.
def turned(swept, along, through, inner=5.0, thick=3.0):
    inner_arc = inner * swept * (1 + along)
    outer_arc = (inner + thick) * swept * (1 + along)
    return (outer_arc - inner_arc) / (thick * (1 + through)) - swept

corners = []
for _ in range(25):
    swept, ai, at, by = u(0.3, 2.8), u(-1e-6, 20e-6), u(20e-6, 80e-6), u(-200, -20)
    pi, pt = u(-2e-3, 0), u(-1e-2, 0)
    corners.append(dict(swept=swept, along=ai, through=at, by=by, shrink_along=pi, shrink_through=pt,
                        thermal=turned(swept, ai * by, at * by), shrinkage=turned(swept, pi, pt)))
out["corners"] = corners

# A tool whose length at the cure is the part's there, found by brentq; the mismatch is the difference there.
lengths = []
for _ in range(25):
    tool, part, room, length = u(1e-6, 60e-6), u(-0.5e-6, 16e-6), u(288, 300), u(0.1, 12)
    cure = room + u(20, 180)
    hot = lambda cold, alpha: cold + cold * alpha * (cure - room)
    made = brentq(lambda cold: hot(cold, tool) - hot(length, part), 0.5 * length, 2 * length, xtol=1e-15, rtol=1e-14)
    lengths.append(dict(tool=tool, part=part, room=room, cure=cure, length=length, factor=made / length,
                        mismatch=hot(length, tool) - hot(length, part)))
out["lengths"] = lengths

# Moulds: added one by one, in fractions without rounding, until they make the parts.
moulds = []
for i in range(40):
    parts, cycle, hours, percent = int(rng.integers(1, 60)), int(rng.integers(1, 90)), int(rng.integers(8, 168)), int(rng.integers(30, 101))
    if i % 4 == 0:
        # Quotients that are whole numbers.
        hours, percent, parts = cycle * 2, 100, 2 * parts
    count = 1
    while Fraction(count * hours * percent, 100 * cycle) < parts:
        count += 1
    moulds.append(dict(parts=parts, cycle=cycle, hours=hours, efficiency=percent / 100, count=count))
out["moulds"] = moulds

json.dump(out, sys.stdout)
