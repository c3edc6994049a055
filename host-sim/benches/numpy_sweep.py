"""The same touches as the bench `sweep_speed`, vectorised in NumPy and SciPy, one thread.

Run by that bench; prints touches a second for each part. Needs numpy and scipy.

samples  analytic light (Gaussian beam, erfc) and white noise at 200 kS/s, 12 bit,
         clipped area between 10 and 90 %: crossing time of every touch
edges    band-limited noise (4th-order Butterworth at 100 kHz, 32 steps a cycle) on
         the slope of the beam, a comparator with linear interpolation, balance point

Simpler than what the Rust side does: no rest level is followed, no guards, no holds,
no doubts, no flags, no early onset, no memory from touch to touch.
"""

import os
import sys
import time

os.environ["OMP_NUM_THREADS"] = "1"
import numpy as np
from scipy import signal, special

FEED = 5e-3  # m/s, 300 mm/min
SPAN = 150e-6
WIDTH = SPAN / 2.326
SIGMA = 10 ** (-60 / 20)


def samples(touches, rng):
    rate = 200e3
    half = 1.118 * SPAN / FEED
    n = int(2 * half * rate)
    t = (np.arange(n) - n / 2) / rate
    white = SIGMA * np.sqrt(0.5 * rate / (1.026 * 100e3))
    gain = 4095 / 1.25
    shift = rng.random((touches, 1)) / rate
    light = 0.5 * special.erfc(np.sqrt(2) * FEED * (t[None, :] + shift) / WIDTH)
    counts = np.rint((light + white * rng.standard_normal((touches, n))) * gain)
    np.clip(counts, 0, 4095, out=counts)
    low, high = 0.1 * gain, 0.9 * gain
    area = np.clip(counts, low, high).sum(axis=1)
    onset = (area - n * low) / (high - low) / rate - n / 2 / rate
    error = (onset + shift[:, 0] - 0.5 / rate) * FEED * 1e9
    return error


def edges(touches, rng):
    corner, steps = 100e3, 32
    dt = 1 / (corner * steps)
    sos = signal.butter(4, 2 / steps, output="sos")
    slope = np.sqrt(2 / np.pi) / WIDTH * FEED
    reach = 6.5 * SIGMA / slope
    n = int(2 * reach / dt)
    warm = 8 * steps
    white = rng.standard_normal((touches, n + warm))
    noise = signal.sosfilt(sos, white, axis=1)[:, warm:]
    noise *= SIGMA / noise.std()
    t = (np.arange(n) - n / 2) * dt
    shift = rng.random((touches, 1)) * dt
    light = 0.5 * special.erfc(np.sqrt(2) * FEED * (t[None, :] + shift) / WIDTH) - 0.5
    x = light + noise
    blocked = x < 0
    change = blocked[:, 1:] != blocked[:, :-1]
    k, at = np.nonzero(change)
    before, after = x[k, at], x[k, at + 1]
    when = t[at] + dt * before / (before - after) + shift[k, 0]
    # Edges away count +1, edges back -1: their sum is the balance point.
    sign = np.where(blocked[k, at + 1], 1.0, -1.0)
    balance = np.bincount(k, weights=sign * when, minlength=touches)
    return balance * FEED * 1e9


def measure(part, touches, batch):
    rng = np.random.default_rng(1)
    part(batch, rng)
    begin = time.perf_counter()
    errors = np.concatenate([part(batch, rng) for _ in range(touches // batch)])
    seconds = time.perf_counter() - begin
    return len(errors) / seconds, errors.std()


if __name__ == "__main__":
    for name, part, touches, batch in [("samples", samples, 2000, 100), ("edges", edges, 20000, 500)]:
        rate, sd = measure(part, touches, batch)
        print(f"{name} {rate:.1f} {sd:.3f}")
        sys.stdout.flush()
