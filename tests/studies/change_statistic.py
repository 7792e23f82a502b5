"""Batch form of the level-change statistic, written separately from the package (dynamic programming, no ruptures)."""

import numpy as np

MOST = 8


def segment_costs(b):
    """Sums of squares about the mean of b[:, i:j], shape (count, B + 1, B + 1); infinite where j <= i."""
    count, n = b.shape
    s1 = np.concatenate([np.zeros((count, 1)), np.cumsum(b, axis=1)], axis=1)
    s2 = np.concatenate([np.zeros((count, 1)), np.cumsum(b * b, axis=1)], axis=1)
    size = np.arange(n + 1)[None, :] - np.arange(n + 1)[:, None]
    with np.errstate(divide="ignore", invalid="ignore"):
        cost = s2[:, None, :] - s2[:, :, None] - (s1[:, None, :] - s1[:, :, None]) ** 2 / size
    cost[:, size <= 0] = np.inf
    return cost, size


def best_cuts(b, shortest=2, most=MOST):
    """For 1..most cuts: residual sums of squares (count, most) and cuts (count, most, most)."""
    b = b - b.mean(axis=1, keepdims=True)
    cost, size = segment_costs(b)
    cost[:, size < shortest] = np.inf
    count, n = b.shape
    value = cost[:, 0, :].copy()
    back = []
    rss = np.empty((count, most))
    cuts = np.zeros((count, most, most), dtype=int)
    for k in range(most):
        total = value[:, :, None] + cost
        arg = np.nanargmin(total, axis=1)
        value = np.take_along_axis(total, arg[:, None, :], axis=1)[:, 0, :]
        back.append(arg)
        rss[:, k] = value[:, n]
        at = np.full(count, n)
        for j in range(k, -1, -1):
            at = back[j][np.arange(count), at]
            cuts[:, k, j] = at
    return rss, cuts


def statistics(b, shortest=2, most=MOST):
    """T_K for K = 1..most: root mean gain per change over the long-run scale of what is left."""
    count, n = b.shape
    b = b - b.mean(axis=1, keepdims=True)
    cuts = best_cuts(b, shortest, most)[1]
    total = (b * b).sum(axis=1)
    out = np.empty((count, most))
    index = np.arange(n)
    for k in range(1, most + 1):
        label = (index[None, :, None] >= cuts[:, k - 1, None, :k]).sum(axis=2)
        means = np.zeros((count, k + 1))
        for j in range(k + 1):
            inside = label == j
            means[:, j] = (b * inside).sum(axis=1) / np.maximum(inside.sum(axis=1), 1)
        rest = b - np.take_along_axis(means, label, axis=1)
        power = (rest**2).sum(axis=1)
        rho = np.clip((rest[:, 1:] * rest[:, :-1]).sum(axis=1) / power, 0.0, 0.95)
        scale = np.sqrt(power / (n - k - 1) * (1 + rho) / (1 - rho))
        out[:, k - 1] = np.sqrt((total - power) / k) / scale
    return out, cuts
