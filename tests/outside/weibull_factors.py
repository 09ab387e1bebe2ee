"""Factors V of Weibull design values for small samples, by simulation.

B = q exp(-V/(beta sqrt n)) has to lie below the true quantile in 95 of 100 samples; sqrt(n) beta (ln q - ln of
the true quantile) has a distribution that depends on n alone, and V is its 95 % point. The table in
`src/engineering/statistics/weibull.rs` is what this printed; run it by hand (some minutes), no test does.
"""
import numpy as np

SAMPLES, PART = 4_000_000, 100_000


def fit(logs):
    """Scale (as a logarithm) and shape of many samples, a row each, by maximum likelihood."""
    logs = logs - logs.max(axis=1, keepdims=True)
    mean = logs.mean(axis=1)
    shape = np.pi / (np.sqrt(6) * logs.std(axis=1, ddof=1))
    low, high = np.zeros(len(logs)), np.full(len(logs), np.inf)
    for _ in range(60):
        power = np.exp(shape[:, None] * logs)
        s0, s1, s2 = power.sum(axis=1), (logs * power).sum(axis=1), (logs**2 * power).sum(axis=1)
        excess = s1 / s0 - 1 / shape - mean
        slope = s2 / s0 - (s1 / s0) ** 2 + 1 / shape**2
        low = np.where(excess < 0, shape, low)
        high = np.where(excess < 0, high, shape)
        step = shape - excess / slope
        middle = np.where(np.isfinite(high), (low + high) / 2, 2 * shape)
        new = np.where((step > low) & (step < high), step, middle)
        done = np.abs(new / shape - 1).max() < 1e-10
        shape = new
        if done:
            break
    return np.log(np.exp(shape[:, None] * logs).mean(axis=1)) / shape, shape


def main():
    random = np.random.default_rng(20241113)
    for n in range(3, 17):
        parts = {0.9: [], 0.99: []}
        for _ in range(SAMPLES // PART):
            logs = np.log(random.standard_exponential((PART, n)))
            scale, shape = fit(logs)
            scale = scale + logs.max(axis=1)
            for p, found in parts.items():
                true = np.log(-np.log(p))
                found.append(np.sqrt(n) * shape * (scale + true / shape - true))
        values = [np.concatenate(parts[p]) for p in (0.9, 0.99)]
        # Standard error of the quantile, from ten parts.
        errors = [np.std([np.quantile(own, 0.95) for own in np.split(all, 10)]) / np.sqrt(10) for all in values]
        print(n, *(f"{np.quantile(own, 0.95):.4f} (+- {error:.4f})" for own, error in zip(values, errors)), flush=True)


if __name__ == "__main__":
    main()
