"""Fits curves by SciPy's curve_fit, with and without derivatives.

Reads rows curve,model,t,y from standard input; writes rows
curve,way,seconds,rss,p...,se... . seconds is the least of some repetitions.
"""
import csv, sys, time
import numpy as np
from scipy.optimize import curve_fit

E = np.e


def gompertz(t, y0, ymax, mu, lag):
    a = ymax - y0
    return y0 + a * np.exp(-np.exp(mu * E / a * (lag - t) + 1))


def gompertz_jac(t, y0, ymax, mu, lag):
    a = ymax - y0
    d = lag - t
    s = np.exp(mu * E / a * d + 1)
    g = np.exp(-s)
    h = g * s
    by_a = g + h * (mu * E / a) * d
    return np.column_stack((1 - by_a, by_a, -h * E * d, -h * mu * E))


def baranyi(t, y0, ymax, mu, lag):
    c, q, e = np.exp(y0 - ymax), np.exp(-mu * lag), np.exp(-mu * t)
    u = q + (1 - q) * e
    return y0 + np.log(u / ((1 - c) * e + c * u))


def baranyi_jac(t, y0, ymax, mu, lag):
    c, q, e = np.exp(y0 - ymax), np.exp(-mu * lag), np.exp(-mu * t)
    u = q + (1 - q) * e
    w = (1 - c) * e + c * u
    by_q = (1 - e) * (1 / u - c / w)
    by_e = (1 - q) / u - (1 - c * q) / w
    d = (u - e) * c / w
    return np.column_stack((1 - d, d, -by_e * t * e - by_q * lag * q, -by_q * mu * q))


MODELS = {"gompertz": (gompertz, gompertz_jac), "baranyi": (baranyi, baranyi_jac)}
START = [float(v) for v in sys.argv[2:]]

curves = {}
for name, model, t, y in csv.reader(sys.stdin):
    curves.setdefault((name, model), []).append((float(t), float(y)))
out = csv.writer(sys.stdout)
for (name, model), rows in curves.items():
    t, y = np.array(rows).T
    f, jac = MODELS[model]
    for way, j in (("derivatives", jac), ("differences", None)):
        least = np.inf
        for _ in range(int(sys.argv[1])):
            began = time.perf_counter()
            p, cov = curve_fit(f, t, y, p0=START, jac=j)
            least = min(least, time.perf_counter() - began)
        rss = float(np.sum((y - f(t, *p)) ** 2))
        out.writerow([name, way, least, repr(rss)] + [repr(float(v)) for v in p] + [repr(float(v)) for v in np.sqrt(np.diag(cov))])
