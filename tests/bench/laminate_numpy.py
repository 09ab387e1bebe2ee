"""A, B, D and first-ply failure (Tsai-Wu) of a batch of laminates in vectorised numpy, on one thread.

Reads the batch that the benchmark wrote, times the computation alone (each slice with its best round, for
the whole batch at once and for the best of several sizes of slice, since one that fits the cache is faster),
writes the reserve factors.
"""
import json
import sys
from time import perf_counter

import numpy as np

folder = sys.argv[1]
batch = json.load(open(f"{folder}/batch.json"))
count, plies = batch["count"], batch["plies"]
kinds = np.fromfile(f"{folder}/kinds.bin", dtype=np.uint16).reshape(count, plies).astype(np.intp)
loads = np.fromfile(f"{folder}/loads.bin").reshape(count, 6)


def prepare():
    """Tables by kind of layer, as the caller of the Rust form has them ready."""
    m, s = batch["lamina"], batch["strength"]
    share = 1 - m["nu12"] ** 2 * m["e2"] / m["e1"]
    q = np.array([
        [m["e1"], m["nu12"] * m["e2"], 0], [m["nu12"] * m["e2"], m["e2"], 0], [0, 0, m["g12"] * share],
    ]) / share
    angle = np.array(batch["angles"])
    c, n = np.cos(angle), np.sin(angle)
    turn = np.array([
        [c * c, n * n, c * n], [n * n, c * c, -c * n], [-2 * c * n, 2 * c * n, c * c - n * n],
    ]).transpose(2, 0, 1)
    stress = q @ turn
    qbar = turn.transpose(0, 2, 1) @ stress
    f = (
        1 / s["xt"] - 1 / s["xc"], 1 / s["yt"] - 1 / s["yc"], 1 / (s["xt"] * s["xc"]), 1 / (s["yt"] * s["yc"]),
        1 / s["s"] ** 2,
    )
    f12 = batch["interaction"] * np.sqrt(f[2] * f[3])
    return qbar.reshape(-1, 9), stress.reshape(-1, 9), np.array(batch["thicknesses"]), (*f, f12)


QBAR, STRESS, THICKNESS, (F1, F2, F11, F22, F66, F12) = prepare()


def evaluate(kinds, loads):
    t = np.take(THICKNESS, kinds)
    top = np.cumsum(t, axis=1)
    top -= top[:, -1:] / 2
    middle = top - t / 2
    first = t * middle
    # The three weights of every ply at once, so that A, B and D are one product.
    weights = np.stack([t, first, first * middle + t**3 / 12], axis=1)
    a, b, d = (weights @ np.take(QBAR, kinds, axis=0)).reshape(-1, 3, 3, 3).transpose(1, 0, 2, 3)
    whole = np.empty((len(kinds), 6, 6))
    whole[:, :3, :3], whole[:, :3, 3:], whole[:, 3:, :3], whole[:, 3:, 3:] = a, b, b, d
    e = np.linalg.solve(whole, loads[:, :, None])[:, :, 0]
    z = np.stack([top - t, top], axis=1)
    strain, curvature = e[:, :3], e[:, 3:]
    # Stress is linear in z: two products a ply give both of its faces.
    p = np.take(STRESS, kinds, axis=0).reshape(len(kinds), -1, 3)
    still = (p @ strain[:, :, None]).reshape(len(kinds), -1, 3).transpose(2, 0, 1)[:, :, None]
    bent = (p @ curvature[:, :, None]).reshape(len(kinds), -1, 3).transpose(2, 0, 1)[:, :, None]
    return tuple(still[i] + z * bent[i] for i in range(3))


def reserves(kinds, loads):
    s1, s2, s12 = evaluate(kinds, loads)
    quadratic = F11 * s1 * s1 + F22 * s2 * s2 + F66 * s12 * s12 + 2 * F12 * s1 * s2
    linear = F1 * s1 + F2 * s2
    # 1/R is a root too; the largest of it needs one division for a laminate.
    inverse = (linear + np.sqrt(linear * linear + 4 * quadratic)) / 2
    return 1 / inverse.max(axis=(1, 2))


def timed():
    best, whole = None, None
    for chunk in (500, 1000, 2000, 5000, count):
        slices = range(0, count, chunk)
        took, parts = {at: np.inf for at in slices}, {}
        for _ in range(batch["rounds"]):
            for at in slices:
                begin = perf_counter()
                parts[at] = reserves(kinds[at:at + chunk], loads[at:at + chunk])
                took[at] = min(took[at], perf_counter() - begin)
        # Each slice with its best round, as on the other side.
        total = sum(took.values())
        if best is None or total < best[0]:
            best = (total, chunk)
        whole = total
    np.concatenate([parts[at] for at in slices]).tofile(f"{folder}/factors.bin")
    return whole, *best


whole, seconds, chunk = timed()
print(json.dumps({"whole": whole, "seconds": seconds, "chunk": chunk, "numpy": np.__version__}))
