"""The band table and four alarms of a log, as an analyst writes it with Polars and NumPy: a peer to measure against.

Decides: a band is an arc of `LEAST_S` and more, with outages up to `JOINED_S` joined; an alarm is a mean over `WINDOW_S`
outside its limits for `ON_DELAY_S`. Only the columns it needs are read, on all cores, and nothing goes row by row.
Assumes: the project's own names of columns, rows in order, evenly spaced.
Never: judges anything else: no channel that fails, no hole in the data, no proof. It is a part of what the program does.

    band_table.py LOG --current LOW HIGH --voltage LOW HIGH      prints JSON; LOG is CSV or Parquet
"""

import argparse
import json

import numpy as np
import polars as pl

MEANS = ["current_a", "voltage_v", "gas_lpm", "wire_mm_per_min", "coolant_lpm"]
COLUMNS = ["time_s", *MEANS, "spindle_deg"]
# An arc burns: A, V. As in the program: `current_off`, the lowest voltage of an arc, `open_circuit`.
LEAST_A, LEAST_V, MOST_V = 20.0, 8.0, 38.0
LEAST_S, JOINED_S = 5.0, 2.0
WINDOW_S, ON_DELAY_S = 1.0, 0.5


def read(path):
    if path.endswith(".parquet"):
        return pl.read_parquet(path, columns=COLUMNS)
    types = dict.fromkeys(COLUMNS, pl.Float64)
    return pl.scan_csv(path, schema_overrides=types).select(COLUMNS).collect()


def runs(flags):
    """First and one past the last index of each run of true."""
    edges = np.flatnonzero(np.diff(flags, prepend=False, append=False))
    return edges[::2], edges[1::2]


def bands(time_s, burns):
    starts, ends = runs(burns)
    if not len(starts):
        return []
    apart = time_s[starts[1:]] - time_s[ends[:-1] - 1] > JOINED_S
    starts, ends = starts[np.append(True, apart)], ends[np.append(apart, True)]
    long = time_s[ends - 1] - time_s[starts] >= LEAST_S
    return list(zip(starts[long], ends[long]))


def row(rows, time_s, burns, start, end):
    lit = burns[start:end]
    period_s = (time_s[end - 1] - time_s[start]) / max(end - start - 1, 1)
    told = {"start_s": time_s[start], "end_s": time_s[end - 1], "arc_time_s": lit.sum() * period_s}
    for name in MEANS:
        values = rows[name][start:end] if lit.all() else rows[name][start:end][lit]
        told[name] = {"mean": values.mean(), "min": values.min(), "max": values.max()}
    angle = rows["spindle_deg"][start:end]
    steps = np.diff(angle)
    # The short way round from row to row.
    steps -= 360.0 * np.round(steps / 360.0)
    told["turns"] = abs(steps.sum()) / 360.0
    return told


def alarms(time_s, values, name, limits, start, end):
    window = max(int(round(WINDOW_S * (end - start - 1) / (time_s[end - 1] - time_s[start]))), 1)
    if end - start < window:
        return
    sums = np.cumsum(np.abs(values[start:end]))
    sums[window:] -= sums[:-window].copy()
    means = sums[window - 1 :] / window
    at = time_s[start + window - 1 : end]
    for side, is_outside in (("low", means < limits[0]), ("high", means > limits[1])):
        for first, last in zip(*runs(is_outside)):
            if at[last - 1] - at[first] >= ON_DELAY_S:
                yield {"rule": f"{name}-{side}", "onset_s": at[first], "raised_s": at[first] + ON_DELAY_S}


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("log")
    parser.add_argument("--current", nargs=2, type=float, required=True)
    parser.add_argument("--voltage", nargs=2, type=float, required=True)
    given = parser.parse_args()
    frame = read(given.log)
    rows = {name: frame[name].to_numpy() for name in COLUMNS}
    time_s, amps, volts = rows["time_s"], np.abs(rows["current_a"]), np.abs(rows["voltage_v"])
    burns = (amps >= LEAST_A) & (volts >= LEAST_V) & (volts < MOST_V)
    found = bands(time_s, burns)
    judged = (("current", "current_a", given.current), ("voltage", "voltage_v", given.voltage))
    raised = [
        {"band": number, **alarm}
        for number, (start, end) in enumerate(found, 1)
        for name, column, limits in judged
        for alarm in alarms(time_s, rows[column], name, limits, start, end)
    ]
    table = [row(rows, time_s, burns, start, end) for start, end in found]
    print(json.dumps({"rows": len(time_s), "bands": table, "alarms": raised}))


if __name__ == "__main__":
    main()
