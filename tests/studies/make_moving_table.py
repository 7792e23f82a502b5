"""Simulate the law of the statistic in `flicker.stats.moving` for noise of 1/f**1.2; run by hand, prints the table there.

python tests/studies/make_moving_table.py
"""

from __future__ import annotations

import numpy as np

LEVELS, RECORDS, BATCH = 240, 200_000, 5000
SHARES = (0.5, 0.2, 0.1, 0.05, 0.02, 0.01, 0.005, 0.002, 0.001, 0.0005, 0.0002, 0.0001)


def main() -> None:
    """Print share and quantile."""
    rng = np.random.default_rng(7)
    long = 4 * LEVELS
    f = np.arange(1, long // 2 + 1)
    place = (np.arange(LEVELS) + 0.5) / LEVELS
    x = place - place.mean()
    number = np.arange(2, 18)
    waves = np.cos(np.pi * number[:, None] * place)
    waves -= waves.mean(1, keepdims=True)
    found = []
    for _ in range(RECORDS // BATCH):
        z = np.zeros((BATCH, long // 2 + 1), complex)
        z[:, 1:] = f**-0.6 * (rng.normal(size=(BATCH, f.size)) + 1j * rng.normal(size=(BATCH, f.size)))
        y = np.fft.irfft(z, long, axis=1)[:, :LEVELS]
        rise = (y @ x) / (x @ x)
        left = y - y.mean(1, keepdims=True) - rise[:, None] * x
        amplitude = (left @ waves.T) / (waves**2).sum(1)
        found.append(np.abs(rise) / np.sqrt((amplitude**2 * number**1.2).mean(1)))
    law = np.concatenate(found)
    for share in SHARES:
        print(share, round(float(np.quantile(law, 1 - share)), 2))


if __name__ == "__main__":
    main()
