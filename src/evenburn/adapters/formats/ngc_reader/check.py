"""Read a program and report on it."""

from __future__ import annotations

from pathlib import Path as FilePath

import numpy as np

from evenburn.adapters.formats.ngc_reader.clock import clock
from evenburn.adapters.formats.ngc_reader.findings import Collector, Limits, Report
from evenburn.adapters.formats.ngc_reader.geometry import boxes_of, judge_moves, path_of
from evenburn.adapters.formats.ngc_reader.program import run_program
from evenburn.core.errors import NotFound, StorageError, UnreadableFile

LARGEST_FILE_BYTES = 512 * 2**20


def read_program(text: str, limits: Limits, *, is_exact: bool = False) -> Report:
    """Check a program's text against a machine.

    Never raises, whatever the text: what is wrong with it is in the report.

    Parameters
    ----------
    text : str
        The whole program.
    limits : Limits
        The machine.
    is_exact : bool
        Take every line apart the long way, some ten times slower; the report is the same.

    Returns
    -------
    Report
        Lengths in mm, times in s. `time_s` is rest to rest for each run of moves without a stop, plus dwells.

    Source
    ------
    [kramer2000] for the language, [biagiotti2008] for the time.

    Checked by
    ----------
    tests/published/test_nistir6556.py, tests/unit/adapters/formats/
    """
    findings = Collector()
    machine, lines = run_program(text, limits, findings=findings, is_exact=is_exact)
    moves = machine.moves
    path = path_of(moves)
    if not machine.is_empty:
        judge_moves(path, moves, limits=limits, findings=findings)
    burn_box, travel_box = boxes_of(path, moves)
    timed = clock(path, moves, limits=limits)
    everything = findings.findings()
    return Report(
        findings=everything,
        lines=lines,
        moves=len(moves.kind),
        burn_length_mm=float(path.length_mm[path.power_word > 0].sum()),
        burn_box_mm=burn_box,
        travel_box_mm=travel_box,
        time_s=timed.total_s + machine.dwell_s,
        full_power_s=float(np.dot(path.power_word / limits.power_word_max, timed.burning_s)),
        passed=all(finding.level != "stop" for finding in everything),
    )


def verify_file(path: FilePath, limits: Limits) -> Report:
    """Read a program from disk and check it against a machine.

    Parameters
    ----------
    path : Path
    limits : Limits

    Raises
    ------
    NotFound
        If there is no such file.
    UnreadableFile
        If it is a folder, larger than 512 MiB, or no text in UTF-8.
    StorageError
        If the computer refuses to read it.
    """
    try:
        size = path.stat().st_size
        if path.is_dir():
            raise UnreadableFile(str(path), "is a folder", hint="name the program file inside it")
        if size > LARGEST_FILE_BYTES:
            what = f"holds {size / 2**20:.0f} MiB; allowed are {LARGEST_FILE_BYTES // 2**20} MiB"
            raise UnreadableFile(str(path), what, hint="split the program")
        content = path.read_bytes()
    except FileNotFoundError as err:
        raise NotFound(f"there is no file {path}", hint="check the name and the folder") from err
    except ValueError as err:
        if isinstance(err, UnreadableFile):
            raise
        raise NotFound(f"{str(path)!a} cannot be the name of a file", hint="check the name") from err
    except OSError as err:
        raise StorageError(f"{path}: {err.strerror or err}", hint="check who may read the file") from err
    if b"\0" in content:
        raise UnreadableFile(str(path), "holds bytes that no program has", hint="name an RS-274/NGC text file")
    try:
        text = content.decode("utf-8")
    except UnicodeDecodeError as err:
        line = content.count(b"\n", 0, err.start) + 1
        what = f"byte {err.object[err.start]:#04x} is not UTF-8 text"
        raise UnreadableFile(str(path), what, line=line, hint="save the program as plain ASCII") from err
    return read_program(text, limits)
