"""Plates and sandwiches by other ways than Bondline's.

Thin plates: finite elements of cubic Hermite products (Bogner, Fox and Schmit), assembled as Kronecker
products, solved by scipy.sparse; moments extrapolated from two meshes. Plates with shear: the
differential equations collocated in Chebyshev points, solved by numpy. Sandwiches: quadrature over the
thickness, unit-load integrals, and wrinkling by the minimum of the energy of face and core.
"""
import json
import sys
from math import cos, pi, radians, sin

import numpy as np
from scipy.integrate import quad
from scipy.optimize import minimize
from scipy.sparse import coo_matrix, kron
from scipy.sparse.linalg import LinearOperator, eigsh, splu

rng = np.random.default_rng(20240611)


def random_bending(angles):
    """D of a symmetric laminate of one random carbon ply at the angles of its half."""
    e1, e2, g, nu = rng.uniform(100e9, 180e9), rng.uniform(7e9, 11e9), rng.uniform(4e9, 6e9), 0.3
    t = rng.uniform(0.1e-3, 0.3e-3)
    k = 1 / (1 - nu * nu * e2 / e1)
    q = np.array([[k * e1, k * nu * e2, 0], [k * nu * e2, k * e2, 0], [0, 0, g]])
    stack = list(angles) + list(angles)[::-1]
    d = np.zeros((3, 3))
    for i, angle in enumerate(stack):
        c, s = cos(radians(angle)), sin(radians(angle))
        # Strains of the ply from those of the plate.
        r = np.array([[c * c, s * s, c * s], [s * s, c * c, -c * s], [-2 * c * s, 2 * c * s, c * c - s * s]])
        z0, z1 = (i - len(angles)) * t, (i + 1 - len(angles)) * t
        d += r.T @ q @ r * (z1**3 - z0**3) / 3
    return (d + d.T) / 2


def any_angles(anisotropic):
    """Half a stack: cross-ply, or four directions in any order, each up to 20 degrees off."""
    if not anisotropic:
        return rng.choice([0, 90], 4)
    return rng.permutation([0, 45, -45, 90]) + rng.uniform(-20, 20, 4)


# --- thin plates ---------------------------------------------------------------------------------------

def hermite(length, n, clamped):
    """1D matrices of cubic Hermite elements by derivative orders, load, kept unknowns."""
    h = length / n
    points, weights = np.polynomial.legendre.leggauss(5)
    s = (points + 1) / 2
    values = {
        0: [1 - 3 * s**2 + 2 * s**3, h * (s - 2 * s**2 + s**3), 3 * s**2 - 2 * s**3, h * (s**3 - s**2)],
        1: [(-6 * s + 6 * s**2) / h, 1 - 4 * s + 3 * s**2, (6 * s - 6 * s**2) / h, 3 * s**2 - 2 * s],
        2: [(-6 + 12 * s) / h**2, (-4 + 6 * s) / h, (6 - 12 * s) / h**2, (6 * s - 2) / h],
    }
    size = 2 * (n + 1)
    keep = [i for i in range(size) if i not in ((0, 1, size - 2, size - 1) if clamped else (0, size - 2))]
    out = {}
    for p in range(3):
        for q in range(3):
            local = np.einsum("ag,bg,g->ab", np.array(values[p]), np.array(values[q]), weights * h / 2)
            rows, columns, data = [], [], []
            for e in range(n):
                for a in range(4):
                    for b in range(4):
                        rows.append(2 * e + a)
                        columns.append(2 * e + b)
                        data.append(local[a, b])
            out[p, q] = coo_matrix((data, (rows, columns)), shape=(size, size)).tocsr()[keep][:, keep]
    load = np.zeros(size)
    for e in range(n):
        load[2 * e : 2 * e + 4] += np.array(values[0]) @ (weights * h / 2)
    return out, load[keep], keep, size


def thin(sides, d, clamped, load, n):
    x, load_x, keep_x, size_x = hermite(sides[0], n, clamped)
    y, load_y, keep_y, size_y = hermite(sides[1], n, clamped)
    k = (d[0, 0] * kron(x[2, 2], y[0, 0]) + d[1, 1] * kron(x[0, 0], y[2, 2])
         + d[0, 1] * (kron(x[2, 0], y[0, 2]) + kron(x[0, 2], y[2, 0])) + 4 * d[2, 2] * kron(x[1, 1], y[1, 1])
         + 2 * d[0, 2] * (kron(x[2, 1], y[0, 1]) + kron(x[1, 2], y[1, 0]))
         + 2 * d[1, 2] * (kron(x[0, 1], y[2, 1]) + kron(x[1, 0], y[1, 2]))).tocsc()
    g = -(load[0] * kron(x[1, 1], y[0, 0]) + load[1] * kron(x[0, 0], y[1, 1])
          + load[2] * (kron(x[1, 0], y[0, 1]) + kron(x[0, 1], y[1, 0]))).tocsc()
    factors = splu(k)
    w = np.zeros((size_x, size_y))
    w[np.ix_(keep_x, keep_y)] = factors.solve(np.outer(load_x, load_y).ravel()).reshape(len(keep_x), -1)

    def second(row, h, i):
        """Second derivative of a Hermite row at node i, the mean of both sides."""
        f, s = row[0::2], row[1::2]
        sides = []
        if i < len(f) - 1:
            sides.append(6 * (f[i + 1] - f[i]) / h**2 - (4 * s[i] + 2 * s[i + 1]) / h)
        if i > 0:
            sides.append(6 * (f[i - 1] - f[i]) / h**2 + (4 * s[i] + 2 * s[i - 1]) / h)
        return np.mean(sides)

    def moments(i, j):
        xx = second(w[:, 2 * j], sides[0] / n, i)
        yy = second(w[2 * i, :], sides[1] / n, j)
        return d @ np.array([-xx, -yy, -2 * w[2 * i + 1, 2 * j + 1]])

    half = n // 2
    inverse = LinearOperator(k.shape, factors.solve)
    reciprocal = eigsh(g, k=1, M=k, Minv=inverse, which="LA", return_eigenvectors=False, tol=1e-9)[0]
    return np.concatenate([[w[2 * half, 2 * half]], moments(half, half), [moments(0, half)[0], moments(half, 0)[1], reciprocal]])


def thin_case(index):
    anisotropic, clamped = index % 2 == 1, (index // 2) % 2 == 1
    d = random_bending(any_angles(anisotropic))
    sides = [rng.uniform(0.2, 0.8), rng.uniform(0.2, 0.8)]
    load = [[-1.0, 0.0, 0.0], [0.0, 0.0, 1.0], [-1.0, -0.6, 0.0], [-1.0, 0.4, 0.8], [0.0, -1.0, -0.7], [-0.5, -1.0, 0.5]][index % 6]
    coarse, fine = thin(sides, d, clamped, load, 16), thin(sides, d, clamped, load, 32)
    # Deflection and factor fall with h^4, moments with h^2.
    share = np.array([15, 3, 3, 3, 3, 3, 15])
    limit = fine + (fine - coarse) / share
    return {"sides": sides, "bending": d.tolist(), "shear": None, "clamped": clamped, "load": load,
            "deflection": limit[0], "centre": limit[1:4].tolist(),
            "edges": limit[4:6].tolist() if clamped else [0.0, 0.0], "factor": 1 / limit[6]}


# --- plates with shear -----------------------------------------------------------------------------------

def chebyshev(n, length):
    """Points from 0 to length and the matrix that differentiates in them."""
    k = np.arange(n + 1)
    x = -np.cos(pi * k / n)
    c = np.where((k == 0) | (k == n), 2.0, 1.0) * (-1.0) ** k
    apart = x[:, None] - x[None, :]
    d = np.outer(c, 1 / c) / (apart + np.eye(n + 1))
    d -= np.diag(d.sum(axis=1))
    return (x + 1) * length / 2, d * 2 / length


def sheared(sides, d, shear, clamped, load, n):
    _, dx = chebyshev(n, sides[0])
    _, dy = chebyshev(n, sides[1])
    one = np.eye(n + 1)
    dx, dy = np.kron(dx, one), np.kron(one, dy)
    size = (n + 1) ** 2
    zero, same = np.zeros((size, size)), np.eye(size)
    # Rows over the unknowns w, rotation x, rotation y.
    kappa = [np.hstack([zero, dx, zero]), np.hstack([zero, zero, dy]), np.hstack([zero, dy, dx])]
    m = [sum(d[i, j] * kappa[j] for j in range(3)) for i in range(3)]
    qx = shear[0] * np.hstack([dx, same, zero])
    qy = shear[1] * np.hstack([dy, zero, same])
    rows = [-(dx @ qx + dy @ qy), -(dx @ m[0] + dy @ m[2] - qx), -(dx @ m[2] + dy @ m[1] - qy)]
    i, j = (index.ravel() for index in np.meshgrid(range(n + 1), range(n + 1), indexing="ij"))
    at_x, at_y = (i == 0) | (i == n), (j == 0) | (j == n)
    edge = at_x | at_y
    unit = [np.hstack([same, zero, zero]), np.hstack([zero, same, zero]), np.hstack([zero, zero, same])]
    rows[0][edge] = unit[0][edge]
    if clamped:
        rows[1][edge], rows[2][edge] = unit[1][edge], unit[2][edge]
    else:
        # The bending moment across an edge is 0, the rotation along it is held.
        rows[1][at_x] = m[0][at_x]
        rows[1][at_y] = unit[1][at_y]
        rows[2][at_y] = m[1][at_y]
        rows[2][at_x] = unit[2][at_x]
    inside = np.flatnonzero(~edge)
    right = np.zeros((3 * size, 1 + len(inside)))
    right[inside, 0] = 1.0
    right[inside, np.arange(1, 1 + len(inside))] = 1.0
    solved = np.linalg.solve(np.vstack(rows), right)
    u = solved[:, 0]
    stiff = load[0] * dx @ dx + load[1] * dy @ dy + 2 * load[2] * dx @ dy
    flexible = solved[inside, 1:] @ stiff[np.ix_(inside, inside)]
    # K w + factor * (-stiff) w = 0.
    values = np.linalg.eigvals(flexible)
    real = -values[np.abs(values.imag) < 1e-6 * np.abs(values).max()].real
    half = n // 2
    at = lambda a, b: a * (n + 1) + b
    middle = at(half, half)
    return {"deflection": u[middle], "centre": [float(row[middle] @ u) for row in m],
            "edges": [float(m[0][at(0, half)] @ u), float(m[1][at(half, 0)] @ u)] if clamped else [0.0, 0.0],
            "forces": [float(qx[at(0, half)] @ u), float(qy[at(half, 0)] @ u)],
            "factor": -1 / real.min()}


def sheared_case(index):
    anisotropic, clamped = index % 2 == 1, (index // 2) % 2 == 1
    d = random_bending(any_angles(anisotropic)) * 200
    sides = [rng.uniform(0.3, 0.7), rng.uniform(0.3, 0.7)]
    scale = np.trace(d) / min(sides) ** 2
    shear = (scale * rng.uniform(10, 100, 2)).tolist()
    load = [[-1.0, 0.0, 0.0], [0.0, 0.0, 1.0], [-1.0, -0.6, 0.0], [-1.0, 0.2, 0.6], [0.0, -1.0, -0.7]][index % 5]
    return {"sides": sides, "bending": d.tolist(), "shear": shear, "clamped": clamped, "load": load,
            **sheared(sides, d, shear, clamped, load, 18)}


# --- sandwiches ------------------------------------------------------------------------------------------

def sandwich_case():
    e, t = rng.uniform(10e9, 150e9, 2), rng.uniform(0.2e-3, 2e-3, 2)
    tc, ec, through, g = rng.uniform(4e-3, 40e-3), rng.uniform(0, 200e6), rng.uniform(50e6, 500e6), rng.uniform(10e6, 200e6)
    layers = [(e[0], 0.0, t[0]), (ec, t[0], t[0] + tc), (e[1], t[0] + tc, t[0] + tc + t[1])]
    over = lambda f: sum(m * quad(f, low, high)[0] for m, low, high in layers)
    stiffness = over(lambda z: 1.0)
    axis = over(lambda z: z) / stiffness
    bending = over(lambda z: (z - axis) ** 2)
    shear = g * ((t[0] + t[1]) / 2 + tc) ** 2 / tc
    # The greatest first moment of E within the core, over a fine search.
    below = lambda to: sum(m * quad(lambda z: axis - z, low, min(high, to))[0] for m, low, high in layers if to > low)
    flow = max(below(z) for z in np.append(np.linspace(t[0], t[0] + tc, 101), np.clip(axis, t[0], t[0] + tc)))
    span, force = rng.uniform(0.2, 1.5), rng.uniform(10, 500)
    # Moment, transverse force and their unit-load partners along the span.
    beams = {
        "three_point": (lambda x: force * min(x, span - x) / 2, lambda x: force / 2 if x < span / 2 else -force / 2),
        "uniform": (lambda x: force * x * (span - x) / (2 * span), lambda x: force * (0.5 - x / span)),
    }
    half = lambda f: quad(f, 0, span / 2)[0] + quad(f, span / 2, span)[0]
    deflections = {}
    for name, (moment, transverse) in beams.items():
        deflections[name] = [half(lambda x: moment(x) * min(x, span - x) / 2 / bending),
                             half(lambda x: transverse(x) * (0.5 if x < span / 2 else -0.5) / shear)]
    deflections["cantilever"] = [quad(lambda x: force * x * x / bending, 0, span)[0], force * span / shear]
    # Wrinkling: the face a sine of half-wave l, the core's displacement falling linearly over depth b.
    tf, ef = t[0], e[0]
    energy = lambda v: (ef * tf**2 / 12 * (pi / np.exp(v[0])) ** 2
                        + through * (np.exp(v[0]) / pi) ** 2 / (np.exp(v[1]) * tf) + g * np.exp(v[1]) / (3 * tf))
    solid = minimize(energy, [np.log(10 * tf), np.log(10 * tf)], method="Nelder-Mead",
                     options={"xatol": 1e-9, "fatol": 1e-3, "maxiter": 4000}).fun
    no_shear = lambda v: ef * tf**2 / 12 * (pi / np.exp(v[0])) ** 2 + 2 * through / (tc * tf) * (np.exp(v[0]) / pi) ** 2
    comb = minimize(no_shear, [np.log(10 * tf)], method="Nelder-Mead", options={"xatol": 1e-9, "fatol": 1e-3}).fun
    return {"e": e.tolist(), "t": t.tolist(), "tc": tc, "ec": ec, "through": through, "g": g, "axis": axis, "bending": bending,
            "flow": flow / bending, "span": span, "force": force, "deflections": deflections, "solid": solid, "honeycomb": comb}


json.dump({"thin": [thin_case(i) for i in range(24)], "sheared": [sheared_case(i) for i in range(20)],
           "sandwich": [sandwich_case() for _ in range(20)]}, sys.stdout)
