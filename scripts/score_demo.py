"""Scores the answers of a made-up pilot against its truth: drivers, and levels replayed.

    scripts/score_demo.py DIR [DIR ...]      each DIR as `backwatt demo DIR --seed N` leaves it

Drivers: the inner model's net energy a mile of every vehicle-day, its logarithm on driver, vehicle, route and day as fixed
columns (ordinary least squares by numpy); the answer is right where its 90 % interval holds that difference from the mean.
Needs python3 with numpy and pyarrow.
"""

import csv
import sys
from pathlib import Path

import numpy
import pyarrow.parquet as parquet

METRES_PER_MILE = 1609.344


def truth(folder):
    with open(folder / "truth" / "vehicle_days.csv", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def columns(rows, key):
    """One column for each level but the first."""
    levels = sorted({row[key] for row in rows})
    return levels, [[float(row[key] == level) for row in rows] for level in levels[1:]]


def true_effects(rows):
    """Each driver's difference from the mean of all, in logarithms of kWh a mile."""
    use = [float(row["energy_discharge_gross_kwh"]) - float(row["energy_recovered_kwh"]) for row in rows]
    miles = [float(row["distance_m"]) / METRES_PER_MILE for row in rows]
    response = numpy.log(numpy.array(use) / numpy.array(miles))
    names, own = columns(rows, "driver")
    others = [column for key in ("vehicle", "route", "date") for column in columns(rows, key)[1]]
    design = numpy.array([[1.0] * len(rows), *own, *others]).T
    found, *_ = numpy.linalg.lstsq(design, response, rcond=None)
    effects = dict(zip(names, [0.0, *found[1 : len(names)]]))
    mean = sum(effects.values()) / len(effects)
    return {name: effect - mean for name, effect in effects.items()}


def drivers(folder):
    effects = true_effects(truth(folder))
    table = parquet.read_table(folder / "out" / "drivers.parquet").to_pylist()
    shown = [row for row in table if row["response"] == "consumption" and row["effect_kwh_mi"] is not None]
    real = [row["group_kwh_mi"] * numpy.expm1(effects[row["driver_id"]]) for row in shown]
    held = sum(row["effect_p05_kwh_mi"] <= true <= row["effect_p95_kwh_mi"] for row, true in zip(shown, real))
    said = [row["effect_kwh_mi"] for row in shown]
    together = numpy.corrcoef(said, real)[0, 1] if len(shown) > 2 else float("nan")
    return f"drivers: {held} of {len(shown)} inside their 90 % intervals, correlation {together:.3f}"


def levels(folder):
    """What the model says of another level must be no less for a stronger one, and what was driven lies between the ends."""
    table = parquet.read_table(folder / "out" / "level_what_if.parquet").to_pylist()
    by_name = {}
    for row in table:
        if row["subject"] == "vehicle" and row["energy_recoverable_set_kwh"] is not None:
            by_name.setdefault(row["name"], []).append(row)
    between = sum(
        min(row["energy_recoverable_p50_kwh"] for row in rows) - 1e-6
        <= rows[0]["energy_recoverable_set_kwh"]
        <= max(row["energy_recoverable_p50_kwh"] for row in rows) + 1e-6
        for rows in by_name.values()
    )
    return f"levels: as set lies between the weakest and the strongest for {between} of {len(by_name)} vehicles"


if __name__ == "__main__":
    if len(sys.argv) < 2:
        sys.exit(__doc__)
    for name in sys.argv[1:]:
        folder = Path(name)
        print(f"{name}\n  {drivers(folder)}\n  {levels(folder)}")
