"""Thin tubes in torsion by calculix, quadratic shells. Units here: N, mm, MPa.

Closed: each end bears the torque as an even flow round the outside; how the inside shares it is left to
the elements, which have settled it by the middle, where the twist per length is read. Open: the ends are
turned against each other, and the strain energy gives the stiffness. Nothing holds the warping.
"""
import json
import os
import subprocess
import sys
import tempfile

import numpy as np

FRAME, SHEET = (52000.0, 0.3, 1.5), (2860.0, 0.3, 5.0)
CELL = [[0, 0], [80, 0], [80, 40], [0, 40]]
PAIR = [[0, 0], [60, 0], [120, 0], [120, 50], [60, 50], [0, 50]]
TUBES = {
    "all of one laminate": (CELL, [(0, 1, FRAME), (1, 2, FRAME), (2, 3, FRAME), (3, 0, FRAME)], 4),
    "a pane for one wall": (CELL, [(0, 1, FRAME), (1, 2, FRAME), (2, 3, SHEET), (3, 0, FRAME)], 4),
    "two cells, one glazed": (
        PAIR, [(0, 1, FRAME), (1, 2, FRAME), (2, 3, FRAME), (3, 4, SHEET), (4, 5, FRAME), (5, 0, FRAME),
               (1, 4, FRAME)], 6),
}
# A tube with nothing outside its walls to bear a flow.
OPEN = {"the pane lost": (CELL, [(0, 1, FRAME), (1, 2, FRAME), (3, 0, FRAME)], 0)}
SIZE, TORQUE, ANGLE = 10.0, 1e5, 1e-3


def run(lines):
    """The words of each line that calculix printed."""
    with tempfile.TemporaryDirectory() as folder:
        with open(os.path.join(folder, "tube.inp"), "w") as file:
            file.write("\n".join(lines))
        ran = subprocess.run(["ccx", "tube"], cwd=folder, capture_output=True, text=True,
                             env={**os.environ, "OMP_NUM_THREADS": "1"})
        assert ran.returncode == 0 and "*ERROR" not in ran.stdout, ran.stdout
        with open(os.path.join(folder, "tube.dat")) as file:
            return [line.split() for line in file]


def twist(corners, walls, outer):
    at = np.array(corners, float)
    mesh_length = 5 * max(np.ptp(at[:, 0]), np.ptp(at[:, 1]))
    rows = 2 * int(round(mesh_length / (2 * SIZE)))
    names, places, sets, loads = {}, [], [], {}

    def node(key, row, place):
        if (key, row) not in names:
            names[key, row] = len(places) + 1
            places.append([row * mesh_length / (2 * rows), *place])
        return names[key, row]

    area = sum(at[a, 0] * at[b, 1] - at[a, 1] * at[b, 0] for a, b, _ in walls[:outer]) / 2
    flow = TORQUE / (2 * area) if outer else 0.0
    number = 0
    for w, (a, b, _) in enumerate(walls):
        span = at[b] - at[a]
        count = int(round(np.linalg.norm(span) / SIZE))

        def key(k):
            return ("corner", a) if k == 0 else ("corner", b) if k == 2 * count else (w, k)

        def of(k, row):
            return node(key(k), row, at[a] + span * k / (2 * count))

        elements = []
        for k in range(0, 2 * count, 2):
            for row in range(0, 2 * rows, 2):
                number += 1
                ring = [(0, 0), (2, 0), (2, 2), (0, 2), (1, 0), (2, 1), (1, 2), (0, 1)]
                elements.append([number] + [of(k + i, row + j) for i, j in ring])
            if w < outer:
                for row, sense in ((0, -1), (2 * rows, 1)):
                    for i, share in ((0, 1 / 6), (1, 4 / 6), (2, 1 / 6)):
                        force = loads.setdefault(of(k + i, row), np.zeros(2))
                        force += sense * flow * share * span / count
        sets.append(elements)

    lines = ["*NODE, NSET=ALL"] + [f"{i + 1},{x:.9g},{y:.9g},{z:.9g}" for i, (x, y, z) in enumerate(places)]
    for w, elements in enumerate(sets):
        lines += [f"*ELEMENT, TYPE=S8R, ELSET=W{w}"] + [",".join(map(str, e)) for e in elements]
        e, nu, t = walls[w][2]
        lines += [f"*MATERIAL, NAME=M{w}", "*ELASTIC", f"{e},{nu}",
                  f"*SHELL SECTION, ELSET=W{w}, MATERIAL=M{w}", f"{t}"]
    middle = rows if rows % 2 == 0 else rows + 1
    one, other, far = names[("corner", 0), middle], names[("corner", 1), middle], names[("corner", 0), 0]
    if not outer:
        ends = []
        for (_, row), n in names.items():
            if row in (0, 2 * rows):
                turned = row / (2 * rows) * ANGLE
                _, y, z = places[n - 1]
                ends += [f"{n},2,2,{-turned * z:.9g}", f"{n},3,3,{turned * y:.9g}"]
        every = ",".join(f"W{w}" for w in range(len(walls)))
        lines += ["*ELSET, ELSET=EVERY", every, "*STEP", "*STATIC", "*BOUNDARY", f"{names[('corner', 0), rows]},1,1"]
        lines += ends + ["*EL PRINT, ELSET=EVERY, TOTALS=ONLY", "ELSE", "*END STEP", ""]
        energy = [float(words[0]) for words in run(lines) if len(words) == 1]
        return TORQUE / (2 * energy[-1] * mesh_length / ANGLE**2)
    # Six supports that hold a rigid body and nothing else.
    lines += ["*STEP", "*STATIC", "*BOUNDARY", f"{one},1,3", f"{far},2,3", f"{other},3,3", "*CLOAD"]
    for n, force in loads.items():
        lines += [f"{n},{i + 2},{force[i]:.9g}" for i in (0, 1) if abs(force[i]) > 1e-12]
    lines += ["*NODE PRINT, NSET=ALL", "U", "*END STEP", ""]
    moved = {int(r[0]): np.array(r[2:], float) for r in run(lines) if len(r) == 4 and r[0].isdigit()}

    def turn(row):
        # Least squares of the corners, so that a change of shape does not count.
        ends = [names[("corner", c), row] for c in range(len(corners))]
        r = at - at.mean(axis=0)
        u = np.array([moved[n] for n in ends])
        u = u - u.mean(axis=0)
        return float((r[:, 0] * u[:, 1] - r[:, 1] * u[:, 0]).sum() / (r * r).sum())

    reach = 2 * (rows // 5)
    length = 2 * reach * mesh_length / (2 * rows)
    return (turn(middle + reach) - turn(middle - reach)) / length


cases = []
for name, (corners, walls, outer) in (TUBES | OPEN).items():
    rate = twist(corners, walls, outer)
    cases.append({
        "name": name, "nodes": [[y / 1e3, z / 1e3] for y, z in corners],
        "walls": [{"from": a, "to": b, "e": e * 1e6, "nu": nu, "t": t / 1e3} for a, b, (e, nu, t) in walls],
        "gj": TORQUE / rate * 1e-6})
json.dump(cases, sys.stdout)
