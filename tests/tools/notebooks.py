"""Runs notebooks top to bottom in the kernel they name, and holds the fresh outputs against the stored ones.

A notebook passes when it is stored executed, runs without an error, and gives the same kinds of output again. Where the
fresh text differs (other words, or numbers by more than one in the last decimal) a note says that the file is stale.
With --store the fresh outputs are written into the file instead.
"""

import argparse
import fcntl
import os
import pathlib
import re
import signal
import sys
import time

import nbformat
from nbclient import NotebookClient
from nbclient.exceptions import CellExecutionError, CellTimeoutError, DeadKernelError

# The first cell builds polars on a bare machine: half an hour on two busy cores.
CELL_TIMEOUT_S = 3600
NUMBER = re.compile(r"\d+(?:\.(\d+))?")


def code_cells(notebook):
    return [cell for cell in notebook.cells if cell.cell_type == "code" and cell.source.strip()]


def loads_a_crate(cell):
    """What such a cell prints is cargo's progress: it differs from run to run."""
    return cell.source.lstrip().startswith(":dep")


def kept(output):
    """The part of an output that a reader sees and that must come out the same again."""
    if output.output_type == "stream":
        return output.name, output.text
    if output.output_type == "error":
        return "error", f"{output.ename}: {output.evalue}"
    # The plain form says what the HTML form says, without the coordinates of pictures.
    return "+".join(sorted(output.data)), output.data.get("text/plain", "")


def same(stored, fresh):
    """True when two texts have the same words, and numbers that differ by one in the last decimal at most."""
    if NUMBER.sub("#", stored) != NUMBER.sub("#", fresh):
        return False
    for a, b in zip(NUMBER.finditer(stored), NUMBER.finditer(fresh)):
        # Without decimals it is a count, a date or a name: no rounding there.
        decimals = len(a[1]) if a[1] and b[1] else None
        if a[0] != b[0] and (decimals is None or abs(float(a[0]) - float(b[0])) > 1.01 * 10**-decimals):
            return False
    return True


def first_difference(stored, fresh):
    stored, fresh = stored.splitlines(), fresh.splitlines()
    for line, (a, b) in enumerate(zip(stored, fresh), start=1):
        if not same(a, b):
            return f"line {line}\n    stored: {a[:160]}\n    fresh:  {b[:160]}"
    return f"{len(stored)} lines stored, {len(fresh)} fresh"


def complaints(stored, fresh):
    """What is wrong with a stored notebook, by its fresh run."""
    for number, (old, new) in enumerate(zip(code_cells(stored), code_cells(fresh)), start=1):
        if old.execution_count != number:
            yield f"cell {number} is not stored as executed in order (its count is {old.execution_count})"
        if loads_a_crate(old):
            continue
        was, now = [kept(o) for o in old.outputs], [kept(o) for o in new.outputs]
        if [kind for kind, _ in was] != [kind for kind, _ in now]:
            yield f"cell {number} gives {[k for k, _ in now]}, stored are {[k for k, _ in was]}"


def stale(stored, fresh):
    """Where the text of a stored notebook is no longer what its cells say."""
    for number, (old, new) in enumerate(zip(code_cells(stored), code_cells(fresh)), start=1):
        for (kind, before), (_, after) in zip(map(kept, old.outputs), map(kept, new.outputs)):
            if not loads_a_crate(old) and not same(before, after):
                yield f"cell {number}, {kind}: {first_difference(before, after)}"


def clean(notebook):
    """Leaves out what changes from run to run and says nothing about the season."""
    for number, cell in enumerate(code_cells(notebook), start=1):
        cell.execution_count = number
        cell.metadata.pop("execution", None)
        if loads_a_crate(cell):
            cell.outputs = []
    notebook.metadata = {
        "kernelspec": {"display_name": "Rust", "language": "rust", "name": "rust"},
        "language_info": {"name": "Rust", "file_extension": ".rs", "mimetype": "text/rust"},
    }


def execute(path):
    """A fresh run of the notebook; raises what nbclient raises."""
    notebook = nbformat.read(path, as_version=4)
    for cell in code_cells(notebook):
        cell.outputs, cell.execution_count = [], None
    client = NotebookClient(
        notebook,
        timeout=CELL_TIMEOUT_S,
        kernel_name="rust",
        coalesce_streams=True,
        resources={"metadata": {"path": str(path.parent)}},
    )
    client.execute()
    return notebook


def run(path, store):
    """Runs one notebook; returns what is wrong with it."""
    began = time.monotonic()
    try:
        fresh = execute(path)
    except (CellExecutionError, CellTimeoutError, DeadKernelError, RuntimeError) as error:
        return [str(error)]
    seconds = time.monotonic() - began
    if store:
        clean(fresh)
        nbformat.validate(fresh)
        nbformat.write(fresh, path)
        wrong = []
    else:
        stored = nbformat.read(path, as_version=4)
        wrong = list(complaints(stored, fresh))
        for where in stale(stored, fresh):
            print(f"note {path} is stale, store it again: {where}", flush=True)
    if not wrong:
        print(f"ok   {path}: {len(code_cells(fresh))} cells in {seconds:.0f} s", flush=True)
    return wrong


def one_at_a_time():
    """Two kernels in one build folder overwrite each other's cells: the second run waits here for the first."""
    lock = open(pathlib.Path(os.environ["JUPYTER_PATH"]) / "lock", "w", encoding="utf-8")
    fcntl.flock(lock, fcntl.LOCK_EX)
    return lock


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--store", action="store_true", help="write the fresh outputs into the files")
    parser.add_argument("notebooks", nargs="+", type=pathlib.Path)
    arguments = parser.parse_args()
    # A kernel outlives a client that is killed: leave by an exception, so that nbclient shuts it down.
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(143))
    lock = one_at_a_time()
    failed = 0
    for path in arguments.notebooks:
        wrong = run(path.absolute(), arguments.store)
        failed += bool(wrong)
        for what in wrong:
            print(f"FAIL {path}: {what}", flush=True)
    lock.close()
    print(f"notebooks: {len(arguments.notebooks) - failed} passed, {failed} failed")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
