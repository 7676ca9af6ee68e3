"""Read an RS-274/NGC program back from its text and check it against a machine.

    words          a line's characters → words                 (NISTIR 6556, sec. 3.3)
    block          a line's words → one code per modal group   (Table 4)
    machine_state  blocks in order of execution → moves        (Table 8)
    program        a text → moves, with a short way for the common line
    geometry       moves → lengths, boxes, what lies outside
    clock          moves → seconds, by way of
    bends          moves that bend without a stop → seconds
    check          all of it → a Report

Nothing here knows how programs are written.
"""

from evenburn.adapters.formats.ngc_reader.check import read_program, verify_file
from evenburn.adapters.formats.ngc_reader.findings import Finding, Level, Limits, Report

__all__ = ["Finding", "Level", "Limits", "Report", "read_program", "verify_file"]
