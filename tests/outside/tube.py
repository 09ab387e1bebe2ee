"""Thin tubes in torsion by calculix, quadratic shells. Units here: N, mm, MPa.

The ends are turned against each other, kept in shape and free to warp; the strain energy gives the
stiffness. How the walls share the torque is left to the elements.
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
    "all of one laminate": (CELL, [(0, 1, FRAME), (1, 2, FRAME), (2, 3, FRAME), (3, 0, FRAME)]),
    "a pane for one wall": (CELL, [(0, 1, FRAME), (1, 2, FRAME), (2, 3, SHEET), (3, 0, FRAME)]),
    "the pane lost": (CELL, [(0, 1, FRAME), (1, 2, FRAME), (3, 0, FRAME)]),
    "two cells, one glazed": (
        PAIR, [(0, 1, FRAME), (1, 2, FRAME), (2, 3, FRAME), (3, 4, SHEET), (4, 5, FRAME), (5, 0, FRAME),
               (1, 4, FRAME)]),
}
SIZE, ANGLE = 10.0, 1e-3


def stiffness(corners, walls):
    """GJ in N mm2."""
    at = np.array(corners, float)
    length = 5 * max(np.ptp(at[:, 0]), np.ptp(at[:, 1]))
    rows = 2 * int(round(length / (2 * SIZE)))
    names, places = {}, []

    def node(key, row, place):
        if (key, row) not in names:
            names[key, row] = len(places) + 1
            places.append([row * length / (2 * rows), *place])
        return names[key, row]

    parts, number = [], 0
    for w, (a, b, (e, nu, t)) in enumerate(walls):
        count = int(round(np.linalg.norm(at[b] - at[a]) / SIZE))

        def of(k, row):
            key = ("corner", a) if k == 0 else ("corner", b) if k == 2 * count else (w, k)
            return node(key, row, at[a] + (at[b] - at[a]) * k / (2 * count))

        parts.append(f"*ELEMENT, TYPE=S8R, ELSET=W{w}")
        for k in range(0, 2 * count, 2):
            for row in range(0, 2 * rows, 2):
                number += 1
                ring = [(0, 0), (2, 0), (2, 2), (0, 2), (1, 0), (2, 1), (1, 2), (0, 1)]
                parts.append(",".join(map(str, [number] + [of(k + i, row + j) for i, j in ring])))
        parts += [f"*MATERIAL, NAME=M{w}", "*ELASTIC", f"{e},{nu}",
                  f"*SHELL SECTION, ELSET=W{w}, MATERIAL=M{w}", f"{t}"]
    lines = ["*NODE"] + [f"{i + 1},{x:.9g},{y:.9g},{z:.9g}" for i, (x, y, z) in enumerate(places)] + parts
    lines += ["*ELSET, ELSET=EVERY", ",".join(f"W{w}" for w in range(len(walls)))]
    lines += ["*STEP", "*STATIC", "*BOUNDARY", f"{names[('corner', 0), rows]},1,1"]
    for (_, row), n in names.items():
        if row in (0, 2 * rows):
            turned, (_, y, z) = row / (2 * rows) * ANGLE, places[n - 1]
            lines += [f"{n},2,2,{-turned * z:.9g}", f"{n},3,3,{turned * y:.9g}"]
    lines += ["*EL PRINT, ELSET=EVERY, TOTALS=ONLY", "ELSE", "*END STEP", ""]

    with tempfile.TemporaryDirectory() as folder:
        with open(os.path.join(folder, "tube.inp"), "w") as file:
            file.write("\n".join(lines))
        ran = subprocess.run(["ccx", "tube"], cwd=folder, capture_output=True, text=True,
                             env={**os.environ, "OMP_NUM_THREADS": "1"})
        assert ran.returncode == 0 and "*ERROR" not in ran.stdout, ran.stdout
        with open(os.path.join(folder, "tube.dat")) as file:
            (energy,) = [float(line) for line in file if len(line.split()) == 1]
    # Energy = GJ angle2/(2 length).
    return 2 * energy * length / ANGLE**2


cases = []
for name, (corners, walls) in TUBES.items():
    cases.append({
        "name": name, "nodes": [[y / 1e3, z / 1e3] for y, z in corners],
        "walls": [{"from": a, "to": b, "e": e * 1e6, "nu": nu, "t": t / 1e3} for a, b, (e, nu, t) in walls],
        "gj": stiffness(corners, walls) * 1e-6})
json.dump(cases, sys.stdout)
