"""Design values of many data sets by the handbook's procedure in numpy and scipy, on one thread.

Reads the data sets that the benchmark wrote, times the computation alone (each set with its best round, as on
the other side), writes method, B and A. What depends on the sizes alone is remembered after its first use, on
both sides. Where scipy.stats has a slower way than a few lines of numpy (anderson_ksamp with its p value,
weibull_min.fit by a simplex), the numpy lines stand here. A second figure is that of scipy.stats' own functions
for the same tests and fits, as they come, on the first data sets.
"""
import json
import sys
import warnings
from functools import lru_cache
from math import exp, log, sqrt
from time import perf_counter

import numpy as np
from scipy import special, stats

folder = sys.argv[1]
task = json.load(open(f"{folder}/task.json"))


@lru_cache(None)
def factor(n, p):
    return stats.nct.ppf(0.95, n - 1, stats.norm.ppf(p) * sqrt(n)) / sqrt(n)


@lru_cache(None)
def farthest(n):
    t = stats.t.ppf(1 - 0.05 / (2 * n), n - 2)
    return (n - 1) / sqrt(n) * sqrt(t * t / (n - 2 + t * t))


@lru_cache(None)
def f_quantile(one, two):
    return stats.f.ppf(0.95, one, two)


@lru_cache(None)
def rank(n, p):
    """The largest r with P(Bin(n, 1 - p) >= r) of 0.95 or more."""
    at = np.arange(0, n)
    return int((stats.binom.sf(at, n, 1 - p) >= 0.95).sum())


@lru_cache(None)
def k_sample_critical(sizes):
    n, k = sum(sizes), len(sizes)
    inverse = sum(1 / size for size in sizes)
    ones = 1 / np.arange(1, n)
    h = ones.sum()
    i = np.arange(1, n - 1)
    g = ((h - np.cumsum(ones)[:-1]) / (n - i)).sum()
    a = (4 * g - 6) * (k - 1) + (10 - 6 * g) * inverse
    b = (2 * g - 4) * k**2 + 8 * h * k + (2 * g - 14 * h - 4) * inverse - 8 * h + 4 * g - 6
    c = (6 * h + 2 * g - 2) * k**2 + (4 * h - 4 * g + 6) * k + (2 * h - 6) * inverse + 4 * h
    d = (2 * h + 6) * k**2 - 4 * h * k
    sigma = sqrt((a * n**3 + b * n**2 + c * n + d) / ((n - 1) * (n - 2) * (n - 3))) / (k - 1)
    return 1 + sigma * (1.960 + 1.149 / sqrt(k - 1) - 0.391 / (k - 1))


def outliers(x):
    left, found = x, []
    while len(left) >= 3:
        away = abs(left - left.mean())
        at = away.argmax()
        residual = away[at] / left.std(ddof=1)
        found.append(residual)
        if residual <= farthest(len(left)):
            break
        left = np.delete(left, at)
    return found


def k_sample(groups, ordered):
    n, k = len(ordered), len(groups)
    z, ties = np.unique(ordered, return_counts=True)
    big = np.cumsum(ties) - ties / 2
    divisor = big * (n - big) - n * ties / 4
    total = 0.0
    for own in groups:
        own = np.sort(own)
        f = (own.searchsorted(z, "left") + own.searchsorted(z, "right")) / 2
        total += (ties * (n * f - len(own) * big) ** 2 / divisor).sum() / len(own)
    return (n - 1) / (n**2 * (k - 1)) * total


def weibull(logs):
    y = logs - logs[-1]
    mean = y.mean()
    b = np.pi / (sqrt(6) * y.std(ddof=1))
    for _ in range(100):
        w = np.exp(b * y)
        wy = w * y
        s0, s1, s2 = w.sum(), wy.sum(), (wy * y).sum()
        step = (s1 / s0 - 1 / b - mean) / (s2 / s0 - (s1 / s0) ** 2 + 1 / b**2)
        b -= step
        if abs(step) <= 1e-13 * b:
            break
    return b, np.exp(logs[-1]) * np.exp(b * y).mean() ** (1 / b)


def distance(log_cdf, log_sf, weights):
    n = len(log_cdf)
    return (weights * (log_cdf + log_sf[::-1])).sum() - n


@lru_cache(None)
def weights_of(n):
    return (1 - 2 * np.arange(1, n + 1)) / n


def level(ad, n, shift, slope, grow, correction):
    star = correction * ad
    return 1 / (1 + exp(shift + slope * log(star) + grow * star))


def procedure(groups):
    x = np.concatenate(groups)
    n, k = len(x), len(groups)
    out = [outliers(own) for own in groups] + [outliers(x)]
    ordered = np.sort(x)
    differ = k_sample(groups, ordered) > k_sample_critical(tuple(map(len, groups)))
    levene = stats.levene(*groups, center="median").statistic <= f_quantile(k - 1, n - k)
    mean, sd = x.mean(), x.std(ddof=1)
    weights, logs = weights_of(n), np.log(ordered)
    correction = 1 + 4 / n - 25 / n**2
    b, a = weibull(logs)
    power = np.exp(b * (logs - log(a)))
    found = [level(distance(np.log(-np.expm1(-power)), -power, weights), n, -0.10, 1.24, 4.48, 1 + 0.2 / sqrt(n))]
    for y in (ordered, logs):
        z = (y - y.mean()) / y.std(ddof=1)
        ad = distance(special.log_ndtr(z), special.log_ndtr(-z), weights)
        found.append(level(ad, n, -0.48, 0.78, 4.58, correction))
    fitting = [at for at, own in enumerate(found) if own > 0.05]
    values = []
    for p in (0.90, 0.99):
        if differ:
            sizes, means = np.array([len(g) for g in groups]), np.array([g.mean() for g in groups])
            msb = (sizes * (means - mean) ** 2).sum() / (k - 1)
            mse = sum(((g - m) ** 2).sum() for g, m in zip(groups, means)) / (n - k)
            size = (n - (sizes**2).sum() / n) / (k - 1)
            s, u = sqrt(msb / size + (size - 1) / size * mse), max(1, msb / mse)
            w, k0, k1 = sqrt(u / (u + size - 1)), factor(n, p), factor(k, p)
            values.append(mean - (k0 - k1 / sqrt(size) + (k1 - k0) * w) / (1 - 1 / sqrt(size)) * s)
        elif not fitting:
            r = rank(n, p)
            # Data sets that fit nothing and are too small for a rank are not among those written.
            values.append(ordered[r - 1] if r else np.nan)
        elif fitting[0] == 0:
            v = 3.803 + exp(1.79 - 0.516 * log(n) + 5.1 / (n - 1)) if p == 0.90 else \
                6.649 + exp(2.55 - 0.526 * log(n) + 4.76 / n)
            values.append(a * (-log(p)) ** (1 / b) * exp(-v / (b * sqrt(n))))
        elif fitting[0] == 1:
            values.append(mean - factor(n, p) * sd)
        else:
            values.append(exp(logs.mean() - factor(n, p) * logs.std(ddof=1)))
    method = 4 if differ else fitting[0] if fitting else 3
    return [method, *values], (out, levene)


def library(groups):
    """The tests and fits by the functions that scipy.stats has for them."""
    x = np.concatenate(groups)
    found = [outliers(own) for own in groups] + [outliers(x)]
    with warnings.catch_warnings():
        # It caps the p value, and says so.
        warnings.simplefilter("ignore")
        differ = stats.anderson_ksamp(groups, midrank=True).statistic
    levene = stats.levene(*groups, center="median")
    b, _, a = stats.weibull_min.fit(x, floc=0)
    ordered = np.sort(x)
    of = stats.weibull_min(b, scale=a)
    n = len(x)
    fits = [distance(of.logcdf(ordered), of.logsf(ordered), weights_of(n))]
    fits += [stats.anderson(y, "norm").statistic for y in (x, np.log(x))]
    values = [x.mean() - factor(n, p) * x.std(ddof=1) for p in (0.90, 0.99)]
    return found, differ, levene, fits, values


# Sets that the library's own functions are timed on.
FIRST = 20

answer = {}
for name, own in task.items():
    x = np.fromfile(f"{folder}/{name}.bin").reshape(own["sets"], own["batches"], -1)
    best, results = np.full(len(x), np.inf), [None] * len(x)
    for _ in range(own["rounds"]):
        for at, values in enumerate(x):
            groups = list(values)
            begin = perf_counter()
            found, _ = procedure(groups)
            best[at] = min(best[at], perf_counter() - begin)
            results[at] = found
    np.array(results, dtype=float).tofile(f"{folder}/{name}.out")
    answer[name] = float(best.sum())
    taken = 0.0
    for values in x[:FIRST]:
        times = []
        for _ in range(2):
            begin = perf_counter()
            library(list(values))
            times.append(perf_counter() - begin)
        taken += min(times)
    answer[f"{name} library"] = taken / min(FIRST, len(x)) * len(x)
print(json.dumps(answer))
