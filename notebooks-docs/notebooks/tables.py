"""The tables of a run by name, and numbers as the notebooks print them.

The folder of the run is BACKWATT_OUT, else `demo-out/out` beside the repository's README.
"""

import os
from pathlib import Path

import polars as pl

OUT = Path(os.environ.get("BACKWATT_OUT", Path(__file__).parents[2] / "demo-out" / "out"))


def table(name: str) -> pl.DataFrame:
    """A table of the data dictionary, its vehicles and months put together in the order of their names."""
    one = OUT / f"{name}.parquet"
    parts = [one] if one.is_file() else sorted((OUT / name).rglob("*.parquet"))
    if not parts:
        raise FileNotFoundError(f"no table {name} in {OUT}: run `backwatt demo demo-out --small`, or set BACKWATT_OUT")
    return pl.concat([pl.read_parquet(part, hive_partitioning=False) for part in parts])


def shown(value: float | None, digits: int = 2) -> str:
    return "–" if value is None else f"{value:.{digits}f}"


def between(row: dict, stem: str, unit: str, digits: int = 2, scale: float = 1.0) -> str:
    """`value (90 % interval p05 to p95)` of the columns stem_unit, stem_p05_unit and stem_p95_unit."""
    at = [row[f"{stem}_{unit}"], row[f"{stem}_p05_{unit}"], row[f"{stem}_p95_{unit}"]]
    value, low, high = (shown(None if v is None else v * scale, digits) for v in at)
    return f"{value} (90 % interval {low} to {high})"
