"""Executes the notebooks of a folder; compares the text they print with what they store, or stores it with --write."""

import argparse
import difflib
import sys
from pathlib import Path

import nbformat
from nbclient import NotebookClient
from nbclient.exceptions import CellExecutionError

SECONDS_A_CELL = 60


def text_of(cell) -> str:
    """What a cell prints and returns as text; pictures depend on fonts and are not compared."""
    texts = []
    for output in cell.get("outputs", []):
        if output.output_type == "stream":
            texts.append(output.text)
        elif "text/plain" in output.get("data", {}) and "image/png" not in output.data:
            texts.append(output.data["text/plain"])
    return "".join(texts)


def execute(path: Path):
    notebook = nbformat.read(path, as_version=4)
    for cell in notebook.cells:
        if cell.cell_type == "code":
            cell.outputs, cell.execution_count = [], None
    where = {"metadata": {"path": str(path.parent)}}
    client = NotebookClient(notebook, timeout=SECONDS_A_CELL, resources=where)
    client.extra_arguments = ["--log-level=40"]
    client.execute()
    for cell in notebook.cells:
        # Times of execution would differ from run to run.
        cell.metadata.pop("execution", None)
    notebook.metadata.get("language_info", {}).clear()
    return notebook


def differences(path: Path, fresh) -> list[str]:
    stored = nbformat.read(path, as_version=4)
    lines = []
    for number, (before, after) in enumerate(zip(stored.cells, fresh.cells, strict=True)):
        old, new = text_of(before), text_of(after)
        if old != new:
            lines.append(f"{path}, cell {number}:")
            lines += difflib.unified_diff(old.splitlines(), new.splitlines(), "stored", "executed", lineterm="", n=1)
    return lines


def main() -> int:
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("folder", type=Path)
    arguments.add_argument("--write", action="store_true", help="store what is printed now")
    asked = arguments.parse_args()
    paths = sorted(asked.folder.glob("*.ipynb"))
    if not paths:
        sys.exit(f"no notebooks in {asked.folder}")
    failed = 0
    for path in paths:
        try:
            fresh = execute(path)
        except CellExecutionError as fault:
            print(f"{path} stopped:\n{fault}", file=sys.stderr)
            failed += 1
            continue
        if asked.write:
            nbformat.write(fresh, path)
        printed = sum(bool(text_of(cell)) for cell in fresh.cells)
        found = [] if asked.write else differences(path, fresh)
        if printed == 0:
            found.append(f"{path} prints nothing: there is nothing to compare")
        print("\n".join(found) or f"{path.name}: {printed} cells print as stored" + (", renewed" if asked.write else ""))
        failed += bool(found)
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
