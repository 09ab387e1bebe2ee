"""One-sided tolerance factors of normal samples by scipy's noncentral t."""
import json
from math import sqrt
from scipy.stats import nct, norm

cases = []
for n in (2, 3, 5, 8, 12, 18, 30, 55, 100, 300):
    for content in (0.90, 0.99):
        factor = nct.ppf(0.95, n - 1, norm.ppf(content) * sqrt(n)) / sqrt(n)
        cases.append({"n": n, "content": content, "factor": factor})
json.dump(cases, __import__("sys").stdout)
