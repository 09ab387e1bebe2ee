"""Shear lag as a boundary value problem, by scipy.integrate.solve_bvp: displacements and forces of both
adherends as unknowns, scaled by the bond's half length; nothing of the closed form is used."""
import json
import sys

import numpy as np
from scipy.integrate import solve_bvp

rng = np.random.default_rng(1938)


def draw(most):
    while True:
        s1, s2 = 10 ** rng.uniform(6.7, 8.3, 2)
        g, t, length = 10 ** rng.uniform(5.5, 9.2), rng.uniform(0.1e-3, 6e-3), 10 ** rng.uniform(-2, 0.3)
        if (0.1 < length / 2 * np.sqrt(g / t * (1 / s1 + 1 / s2)) < most):
            return s1, s2, g, t, length


def run(s1, s2, g, t, c, strain, load, conditions, start):
    # x in half lengths, displacements in c, forces in s1.
    k = g / t * c * c / s1
    ratio = s1 / s2

    def rates(_, y):
        u1, u2, n1, n2 = y
        tau = k * (u1 - u2)
        return np.vstack([n1 + strain, n2 * ratio, tau, -tau])

    # Points crowd at the ends, where the shear is.
    even = np.linspace(0, 1, 801)
    mesh = np.sin(even * np.pi / 2) if start == 0 else -np.cos(even * np.pi)
    got = solve_bvp(rates, conditions, mesh, np.zeros((4, mesh.size)), tol=1e-7, max_nodes=100000)
    assert got.success, got.message
    return lambda x: got.sol(x), lambda x: s1 / c * k * (got.sol(x)[0] - got.sol(x)[1])


out = {"mismatch": [], "lap": []}
for _ in range(24):
    s1, s2, g, t, length = draw(25)
    strain, c = rng.uniform(-6e-3, 6e-3), length / 2
    # One half: nothing moves in the middle, nothing pulls at the end.
    scale = abs(strain)
    sol, tau = run(s1, s2, g, t, c, strain / scale, 0, lambda a, b: np.array([a[0], a[1], b[2], b[3]]), 0)
    places = [0.0, 0.3, 0.7, 0.95, 1.0]
    out["mismatch"].append({
        "s": [s1, s2], "g": g, "t": t, "length": length, "strain": strain,
        "middle": float(sol(0.0)[2]) * s1 * scale,
        "places": [x * c for x in places], "tau": [float(tau(x)) * scale for x in places]})
for _ in range(24):
    s1, s2, g, t, length = draw(15)
    c, load = length / 2, rng.uniform(1e3, 5e5)
    scale = load / s1
    sol, tau = run(s1, s2, g, t, c, 0.0, load,
                   lambda a, b: np.array([a[0], a[2] - 1, a[3], b[2]]), -1)
    # tau of the mismatch is on the first adherend by the second against its slip; a lap's is counted
    # as what the first hands to the second.
    places = [-1.0, -0.9, -0.4, 0.0, 0.5, 1.0]
    out["lap"].append({
        "s": [s1, s2], "g": g, "t": t, "length": length, "load": load,
        "places": [x * c for x in places], "tau": [-float(tau(x)) * scale for x in places]})
json.dump(out, sys.stdout)
