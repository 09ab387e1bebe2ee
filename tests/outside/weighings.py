"""Learning of contributors by another way than Bondline's: whitened least squares with the priors as rows (numpy)."""
import json
import sys

import numpy as np

rng = np.random.default_rng(20261127)
cases = []
for at in range(40):
    readings, contributors = int(rng.integers(1, 12)), int(rng.integers(1, 9))
    masses = rng.uniform(0.0, 4.0, (readings, contributors)) * (rng.random((readings, contributors)) > 0.3)
    priors = rng.uniform(0.01, 0.4, contributors)
    half = rng.normal(0.0, 0.05, (readings, readings))
    noise = half @ half.T + np.diag(rng.uniform(0.01, 0.1, readings) ** 2)
    residuals = masses @ rng.normal(0.0, priors) + rng.multivariate_normal(np.zeros(readings), noise)
    # Rows of the readings, made independent of each other and of deviation 1; below them, each share is 0 within
    # its prior deviation. The plain least squares of all rows is the estimate.
    white = np.linalg.inv(np.linalg.cholesky(noise))
    rows = np.vstack([white @ masses, np.diag(1.0 / priors)])
    right = np.concatenate([white @ residuals, np.zeros(contributors)])
    shares, *_ = np.linalg.lstsq(rows, right, rcond=None)
    # The covariance from the singular values of the same rows.
    _, values, basis = np.linalg.svd(rows, full_matrices=False)
    covariance = (basis.T / values**2) @ basis
    fleet = rng.uniform(0.0, 30.0, contributors)
    cases.append(dict(masses=masses.tolist(), priors=priors.tolist(), noise=noise.tolist(), residuals=residuals.tolist(),
                      shares=shares.tolist(), covariance=covariance.tolist(), fleet=fleet.tolist(),
                      effect=float(fleet @ shares), deviation=float(np.sqrt(fleet @ covariance @ fleet))))

# With one prior and one noise for all it is ridge regression, penalty the ratio of their squares.
ridge = []
for _ in range(10):
    masses = rng.uniform(0.0, 4.0, (8, 4))
    prior, noise = float(rng.uniform(0.05, 0.3)), float(rng.uniform(0.02, 0.2))
    residuals = rng.normal(0.0, 0.3, 8)
    penalty = (noise / prior) ** 2
    shares = np.linalg.solve(masses.T @ masses + penalty * np.eye(4), masses.T @ residuals)
    ridge.append(dict(masses=masses.tolist(), prior=prior, noise=noise, residuals=residuals.tolist(), shares=shares.tolist()))

json.dump(dict(cases=cases, ridge=ridge), sys.stdout)
