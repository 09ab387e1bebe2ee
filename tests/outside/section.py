"""Random thin-walled sections by finite elements in the warping of their nodes.

Not by cells: the unknowns are the displacements along the member, one a node; a wall is a shear spring
that its ends' warping and the twist strain. Torsion is the minimum of energy at a unit rate of twist;
transverse shear is the same springs loaded by the growth of the bending stress (linear shapes give the
nodes' exact values); the shear centre follows from the torsional warping by reciprocity, and again from
the flows. Bending by Gauss points, principal axes by numpy's eigenvalues.
"""
import json
import sys

import numpy as np

rng = np.random.default_rng(20260411)
GAUSS = [(0.5 - np.sqrt(15) / 10, 5 / 18), (0.5, 8 / 18), (0.5 + np.sqrt(15) / 10, 5 / 18)]


def plate(a, b):
    e, g, t = rng.uniform(2e9, 80e9), rng.uniform(1e9, 30e9), rng.uniform(0.5e-3, 6e-3)
    bend, twist = (e * t**3 / 12, g * t**3 / 12) if rng.random() < 0.8 else (0.0, 0.0)
    return {"from": a, "to": b, "axial": e * t, "bend": bend, "shear": g * t, "twist": twist, "thickness": t}


def bond(a, b):
    return {"from": a, "to": b, "width": rng.uniform(5e-3, 30e-3), "bond": rng.uniform(0.2e-3, 6e-3),
            "g": 10 ** rng.uniform(5.5, 9.3)}


def section(cells):
    """A ladder of so many cells with crooked corners, flanges out of it, and walls cut by bonds."""
    nodes, walls = [], []
    for i in range(cells + 1):
        for z in (0.0, 0.08):
            nodes.append([0.12 * i + rng.uniform(-0.03, 0.03), z + rng.uniform(-0.025, 0.025)])
    pairs = [(0, 1)] if cells else [(0, 1), (1, 2)]
    if not cells:
        nodes.append([0.1, 0.1 + rng.uniform(0, 0.05)])
    for i in range(cells):
        lower, upper = 2 * i, 2 * i + 1
        pairs += [(lower, lower + 2), (upper, upper + 2), (lower + 2, upper + 2)]
    for a, b in pairs:
        if rng.random() < 0.35 and cells:
            # The bond bridges a gap, or has both nodes at one place.
            gap = rng.uniform(-0.004, 0.004, 2) if rng.random() < 0.5 else np.zeros(2)
            nodes.append((np.array(nodes[b]) + gap).tolist())
            walls += [plate(a, len(nodes) - 1), bond(len(nodes) - 1, b)]
        else:
            walls.append(plate(a, b) if rng.random() < 0.5 else plate(b, a))
    for _ in range(rng.integers(0, 4)):
        root = int(rng.integers(0, len(nodes)))
        nodes.append((np.array(nodes[root]) + rng.uniform(-0.06, 0.06, 2)).tolist())
        walls.append(plate(root, len(nodes) - 1))
    return nodes, walls


def solve(nodes, walls):
    at = np.array(nodes)
    first = np.array([at[w["from"]] for w in walls])
    last = np.array([at[w["to"]] for w in walls])
    length = np.linalg.norm(last - first, axis=1)
    axial = np.array([w.get("axial", 0.0) for w in walls])
    spring = np.array([w["shear"] / s if "shear" in w else w["g"] * w["width"] / w["bond"]
                       for w, s in zip(walls, length)])
    ea = (axial * length).sum()
    centroid = (axial * length) @ ((first + last) / 2) / ea
    second = np.zeros((2, 2))  # of y and z: [[E y2, E y z], [E y z, E z2]]
    for w, a, b, s in zip(walls, first, last, length):
        for place, weight in GAUSS:
            r = a + place * (b - a) - centroid
            second += w.get("axial", 0.0) * s * weight * np.outer(r, r)
    whole = second.copy()
    for w, a, b, s in zip(walls, first, last, length):
        if "bend" in w:
            normal = np.array([-(b - a)[1], (b - a)[0]]) / s
            whole += w["bend"] * s * np.outer(normal, normal)

    # Springs between nodes: mean flow = k (u_to - u_from + theta' psi), psi twice the swept area.
    psi = first[:, 0] * last[:, 1] - first[:, 1] * last[:, 0]
    jump = np.zeros((len(walls), len(nodes)))
    for i, w in enumerate(walls):
        jump[i, w["to"]] += 1
        jump[i, w["from"]] -= 1
    stiffness = jump.T @ (spring[:, None] * jump)

    def warp(load):  # the node 0 is held; the load is in balance
        u = np.zeros(len(nodes))
        u[1:] = np.linalg.solve(stiffness[1:, 1:], load[1:])
        return u

    twisting = warp(-jump.T @ (spring * psi))
    unit = spring * (jump @ twisting + psi)
    cells = float(unit @ psi)
    own = sum(4 * w.get("twist", 0.0) * s for w, s in zip(walls, length))

    def sheared(v):
        slope = np.linalg.solve(second, v)
        ends = [axial * ((p - centroid) @ slope) for p in (first, last)]
        parts = [length * (ends[0] / 3 + ends[1] / 6), length * (ends[0] / 6 + ends[1] / 3)]
        load = np.zeros(len(nodes))
        for i, w in enumerate(walls):
            load[w["from"]] += parts[0][i]
            load[w["to"]] += parts[1][i]
        u = warp(load)
        mean = spring * (jump @ u)
        return mean, mean + parts[0], mean - parts[1], ends, float(load @ twisting)

    torques = []
    for v in np.eye(2):
        mean, _, _, _, reciprocal = sheared(v)
        assert abs(mean @ psi + reciprocal) < 1e-7 * (abs(mean @ psi) + 0.1), (mean @ psi, reciprocal)
        torques.append(-reciprocal)
    centre = [torques[1], -torques[0]]

    n, my, mz = rng.uniform(-1e4, 1e4), rng.uniform(-500, 500), rng.uniform(-500, 500)
    v, torque, point = rng.uniform(-5e3, 5e3, 2), rng.uniform(-300, 300), rng.uniform(-0.2, 0.2, 2)
    about = torque + (point[0] - centre[0]) * v[1] - (point[1] - centre[1]) * v[0]
    closed = cells > 1e-6 * own and cells > 1e-9
    _, head, tail, ends, _ = sheared(v)
    torsion = unit * about / cells if closed else 0 * unit
    slope = np.linalg.solve(whole, np.array([-mz, my]))
    states = []
    for i, w in enumerate(walls):
        x = np.linspace(0, 1, 20001)
        q = head[i] + torsion[i] - length[i] * (ends[0][i] * x + (ends[1][i] - ends[0][i]) * x**2 / 2)
        state = {"flow": [head[i] + torsion[i], tail[i] + torsion[i]], "peak": float(q[np.argmax(abs(q))])}
        if "axial" in w:
            state["strain"] = [n / ea + float((p[i] - centroid) @ slope) for p in (first, last)]
            normal = np.array([-(last - first)[i][1], (last - first)[i][0]]) / length[i]
            far = [n / ea + float((p[i] + side * w["thickness"] / 2 * normal - centroid) @ slope)
                   for p in (first, last) for side in (-1, 1)]
            state["surface"] = max(far, key=abs)
        states.append(state)
    values, axes = np.linalg.eigh(whole)
    # The stiffest bending is about the axis across the direction in which E r2 is greatest.
    return {
        "nodes": nodes, "walls": walls, "ea": ea, "centroid": centroid.tolist(), "ei_y": whole[1, 1],
        "ei_z": whole[0, 0], "ei_yz": whole[0, 1], "principal": values.tolist(),
        "stiff_axis": axes[:, 0].tolist(), "closed": bool(closed), "cells": cells, "own": own,
        "centre": centre, "load": [n, my, mz, *v, torque], "point": point.tolist(), "about": about,
        "rate": about / (own + (cells if closed else 0.0)), "states": states,
    }


cases = []
for count in [0] * 6 + [1] * 10 + [2] * 10 + [3] * 10:
    cases.append(solve(*section(count)))
json.dump(cases, sys.stdout)
