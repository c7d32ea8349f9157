"""Partitions and grid cells by general libraries, to hold the suite's adjusted Rand index and the program's cells against.

Writes fixtures/reference/partitions.json and fixtures/reference/grid_cells.csv. Run
`python3 scripts/reference_partitions.py` with

    scikit-learn 1.9.1 (adjusted_rand_score), h3 4.x (the binding of the standard's own C library)

The first partitions are the examples of the documentation of adjusted_rand_score.
"""

import csv
import json
import random
from pathlib import Path

import h3
from sklearn.metrics import adjusted_rand_score

FOLDER = Path(__file__).resolve().parent.parent / "fixtures" / "reference"
SEED = 1985


def partitions():
    yield [0, 0, 1, 1], [0, 0, 1, 1]
    yield [0, 0, 1, 1], [1, 1, 0, 0]
    yield [0, 0, 1, 2], [0, 0, 1, 1]
    yield [0, 0, 1, 1], [0, 0, 1, 2]
    yield [0, 0, 0, 0], [0, 1, 2, 3]
    yield [0, 0, 1, 1], [0, 1, 0, 1]
    rng = random.Random(SEED)
    for size in (5, 12, 40, 200):
        for groups in (2, 5, 9):
            truth = [rng.randrange(groups) for _ in range(size)]
            found = [label if rng.random() < 0.8 else rng.randrange(groups) for label in truth]
            yield truth, found


def main():
    rows = [
        {"one": one, "other": other, "adjusted_rand_index": float(adjusted_rand_score(one, other))}
        for one, other in partitions()
    ]
    text = ",\n".join(json.dumps(row) for row in rows)
    (FOLDER / "partitions.json").write_text(f"[\n{text}\n]\n")
    rng = random.Random(SEED)
    with (FOLDER / "grid_cells.csv").open("w", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(["lat_deg", "lon_deg", "resolution", "cell", "lat_centre_deg", "lon_centre_deg"])
        for _ in range(60):
            lat, lon = round(rng.uniform(-85, 85), 6), round(rng.uniform(-180, 180), 6)
            resolution = rng.choice([8, 9, 10, 11, 12])
            cell = h3.latlng_to_cell(lat, lon, resolution)
            centre = h3.cell_to_latlng(cell)
            writer.writerow([lat, lon, resolution, cell, f"{centre[0]:.9f}", f"{centre[1]:.9f}"])
    print(f"h3 {h3.__version__}, C library {h3.versions()['c']}")


if __name__ == "__main__":
    main()
