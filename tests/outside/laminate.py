"""Laminates by numpy and scipy, in another way than Bondline's.

Ply stiffness: compliance in ply axes inverted by numpy, as a fourth-order tensor turned with a rotation
matrix by einsum. Laminate: Gauss-Legendre integration of the turned tensor through the thickness,
numpy.linalg.inv of the 6x6. Stresses: tensor turned back. Reserve factors: the failure index as its
definition has it, searched along the load with brentq.
"""
import json
import sys
import numpy as np
from scipy.optimize import brentq

rng = np.random.default_rng(20240613)
POINTS, WEIGHTS = np.polynomial.legendre.leggauss(3)
PAIRS = [(0, 0), (1, 1), (0, 1)]


def tensor(lamina):
    """Plane-stress stiffness C[i][j][k][l] in ply axes."""
    s = np.array([
        [1 / lamina["e1"], -lamina["nu12"] / lamina["e1"], 0],
        [-lamina["nu12"] / lamina["e1"], 1 / lamina["e2"], 0],
        [0, 0, 1 / lamina["g12"]],
    ])
    q = np.linalg.inv(s)
    c = np.zeros((2, 2, 2, 2))
    for row, (i, j) in enumerate(PAIRS):
        for column, (k, l) in enumerate(PAIRS):
            for a, b in {(i, j), (j, i)}:
                for d, e in {(k, l), (l, k)}:
                    c[a, b, d, e] = q[row, column]
    return c


def rotation(angle):
    """Columns are the ply's axes in the laminate's."""
    return np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])


def turned(c, r):
    return np.einsum("ia,jb,kc,ld,abcd->ijkl", r, r, r, r, c)


def matrix(c):
    return np.array([[c[i, j, k, l] for k, l in PAIRS] for i, j in PAIRS])


def strain_tensor(v):
    return np.array([[v[0], v[2] / 2], [v[2] / 2, v[1]]])


def stress_vector(t):
    return np.array([t[0, 0], t[1, 1], t[0, 1]])


def index(criterion, lamina, strength, stress):
    """The largest failure index of a stress in ply axes, as the criterion is written."""
    s1, s2, t = stress
    xt, xc, yt, yc, s = (strength[key] for key in ("xt", "xc", "yt", "yc", "s"))
    x, y = (xt if s1 >= 0 else xc), (yt if s2 >= 0 else yc)
    if criterion == "maximum stress":
        return max(abs(s1) / x, abs(s2) / y, abs(t) / s)
    if criterion == "maximum strain":
        e1 = s1 / lamina["e1"] - lamina["nu12"] * s2 / lamina["e1"]
        e2 = s2 / lamina["e2"] - lamina["nu12"] * s1 / lamina["e1"]
        g = t / lamina["g12"]
        limits = (xt if e1 >= 0 else xc) / lamina["e1"], (yt if e2 >= 0 else yc) / lamina["e2"], s / lamina["g12"]
        return max(abs(e) / limit for e, limit in zip((e1, e2, g), limits))
    if criterion.startswith("Tsai-Hill"):
        if criterion == "Tsai-Hill with tensile strengths":
            x, y = xt, yt
        return s1**2 / x**2 - s1 * s2 / x**2 + s2**2 / y**2 + t**2 / s**2
    if criterion == "Tsai-Wu":
        f11, f22 = 1 / (xt * xc), 1 / (yt * yc)
        return (s1 * (1 / xt - 1 / xc) + s2 * (1 / yt - 1 / yc) + f11 * s1**2 + f22 * s2**2
                + t**2 / s**2 + 2 * strength["interaction"] * np.sqrt(f11 * f22) * s1 * s2)
    shear = t**2 / s**2
    fibre = (s1 / xt)**2 + shear if s1 > 0 else abs(s1) / xc
    if s2 >= 0:
        return max(fibre, (s2 / yt)**2 + shear)
    s23 = strength["s23"] or yc / 2
    return max(fibre, (s2 / (2 * s23))**2 + ((yc / (2 * s23))**2 - 1) * s2 / yc + shear)


def factor(judge, scaled, constant):
    """The first factor at which the index passes 1: signs may turn on the way, so in pieces."""
    if judge(constant) >= 1:
        return 0.0
    with np.errstate(divide="ignore", invalid="ignore"):
        turns = [-c / m for m, c in zip(scaled[:2], constant[:2]) if m != 0]
    # Maximum strain turns elsewhere; it is convex, so that a search over one piece finds it.
    begin = 0.0
    high = 1e-6
    while judge(constant + high * scaled) < 1:
        high *= 1.25
        if high > 1e12:
            return None
    edges = sorted({turn for turn in turns if 0 < turn < high} | {high})
    for end in edges:
        # Just inside of a turn, where Hashin's fibre mode jumps.
        low, up = begin * (1 + 1e-13), end * (1 - 1e-13)
        at = lambda r: judge(constant + r * scaled) - 1
        if at(low) >= 0:
            return low
        if at(up) >= 0:
            return brentq(at, low, up, xtol=1e-14 * up, rtol=1e-14, maxiter=500)
        begin = end
    return high


CRITERIA = ["maximum stress", "maximum strain", "Tsai-Hill", "Tsai-Hill with tensile strengths", "Tsai-Wu", "Hashin"]


def laminate(layers, load, criteria=True):
    h = sum(layer["thickness"] for layer in layers)
    a, b, d = np.zeros((3, 3)), np.zeros((3, 3)), np.zeros((3, 3))
    nt, mt = np.zeros(3), np.zeros(3)
    z = -h / 2
    bounds = []
    for layer in layers:
        t = layer["thickness"]
        r = rotation(layer["angle"])
        c = turned(tensor(layer), r)
        free = r @ np.diag([layer["cte1"], layer["cte2"]]) @ r.T
        q, hot = matrix(c), stress_vector(np.einsum("ijkl,kl->ij", c, free))
        for point, weight in zip(POINTS, WEIGHTS):
            at = z + t * (1 + point) / 2
            w = weight * t / 2
            a += w * q
            b += w * at * q
            d += w * at * at * q
            nt += w * hot
            mt += w * at * hot
        bounds.append((z, z + t, c, r, free))
        z += t
    whole = np.block([[a, b], [b, d]])
    inverse = np.linalg.inv(whole)
    mechanical = inverse @ np.concatenate([load["force"], load["moment"]])
    thermal = inverse @ np.concatenate([nt, mt])
    result = {
        "a": a.tolist(), "b": b.tolist(), "d": d.tolist(), "thickness": h,
        "alpha": inverse[:3, :3].tolist(), "beta": inverse[:3, 3:].tolist(), "delta": inverse[3:, 3:].tolist(),
        "thermal_force": nt.tolist(), "thermal_moment": mt.tolist(),
        "expansion": thermal[:3].tolist(), "curvature": thermal[3:].tolist(),
    }
    change = load["temperature"]
    stresses, least = [], {name: None for name in CRITERIA}
    for layer, (bottom, top, c, r, free) in zip(layers, bounds):
        def ply(e6, z, free):
            strain = strain_tensor(e6[:3] + z * e6[3:]) - free
            return stress_vector(r.T @ np.einsum("ijkl,kl->ij", c, strain) @ r)
        for z in (bottom, (bottom + top) / 2, top):
            scaled, constant = ply(mechanical, z, 0 * free), ply(change * thermal, z, change * free)
            stresses.append((scaled + constant).tolist())
            if layer["strength"] is None or z == (bottom + top) / 2:
                continue
            for name in CRITERIA:
                if not criteria:
                    continue
                found = factor(lambda s: index(name, layer, layer["strength"], s), scaled, constant)
                if found is not None and (least[name] is None or found < least[name]):
                    least[name] = found
    result["stresses"], result["factors"] = stresses, least
    return result


def ply_material():
    e1 = rng.uniform(20e9, 250e9)
    e2 = e1 * rng.uniform(0.03, 1.0)
    own = {
        "e1": e1, "e2": e2, "g12": e1 * rng.uniform(0.02, 0.2),
        "nu12": rng.uniform(0.05, 0.4), "cte1": rng.uniform(-1e-6, 8e-6), "cte2": rng.uniform(5e-6, 40e-6),
    }
    own["strength"] = {
        "xt": rng.uniform(400e6, 2500e6), "xc": rng.uniform(300e6, 1500e6), "yt": rng.uniform(25e6, 80e6),
        "yc": rng.uniform(90e6, 300e6), "s": rng.uniform(40e6, 120e6),
        "s23": rng.choice([None, rng.uniform(40e6, 120e6)]), "interaction": rng.uniform(-0.8, 0.3),
    }
    return own


def stack(kind):
    materials = [ply_material() for _ in range(2)]
    def ply():
        angle = rng.choice([0, 30, 45, -45, 60, 90, rng.uniform(-90, 90)])
        return {**materials[rng.integers(2)], "angle": float(np.deg2rad(angle)), "thickness": rng.uniform(0.05e-3, 0.4e-3)}
    plies = [ply() for _ in range(rng.integers(1, 9))]
    if kind == "symmetric":
        return plies + plies[::-1]
    if kind == "unsymmetric":
        return plies
    soft = {"e1": rng.uniform(0.2e6, 100e6), "nu12": 0.25, "cte1": 20e-6, "cte2": 20e-6, "strength": None, "angle": 0.0}
    core = {**soft, "e2": soft["e1"] * rng.uniform(0.3, 1), "g12": soft["e1"] * 0.4, "thickness": rng.uniform(5e-3, 40e-3)}
    return plies + [core] + [ply() for _ in range(rng.integers(1, 4))]


cases = []
for kind in ("symmetric", "unsymmetric", "cored"):
    for hot in (False, True):
        for _ in range(20):
            layers = stack(kind)
            load = {
                "force": rng.uniform(-1e5, 1e5, 3).tolist(), "moment": rng.uniform(-50, 50, 3).tolist(),
                "temperature": float(rng.uniform(-160, 40)) if hot else 0.0,
            }
            # One interaction for the laminate: the criterion has it, not the ply.
            interaction = layers[0]["strength"]["interaction"]
            for layer in layers:
                if layer["strength"]:
                    layer["strength"] = {**layer["strength"], "interaction": interaction}
            cases.append({"kind": kind, "layers": layers, "load": load, "interaction": interaction, **laminate(layers, load)})
json.dump(cases, sys.stdout)
