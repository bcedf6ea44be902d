"""Numbers in notes, as people and other programs type them: used only if they are numbers.

The note itself stays in the recording and in the database as it was written.
"""

from math import isfinite

from tensionlog.model.recording import Note

NUMBERS = {
    "load": ("mass_kg", "force_N"),
    "dial": ("set_N",),
    "hold-start": ("target_N", "span_m", "EA_N", "u_EA_pct"),
    "turn-start": ("head_N", "wrap_deg"),
    "turn-end": ("head_N", "wrap_deg"),
    "stiff-start": ("span_m", "target_N"),
    "step": ("moved_mm",),
}
"""Name of a note to what must be a number in it."""

LARGEST = 1e9
"""No mass, force or length on a bench is larger, in whatever unit."""


def usable(note: Note) -> tuple[Note, list[str]]:
    """The note without what cannot be used, and a line for each thing left out.

    >>> usable(Note(0.0, "load", {"note": "load", "mass_kg": "ten"}))[1]
    ["the note 'load' says mass_kg = 'ten', which is no number: left out."]
    """
    wrong = [
        key
        for key in NUMBERS.get(note.name, ())
        if key in note.body and not _is_number(note.body[key])
    ]
    if not wrong:
        return note, []
    body = {key: value for key, value in note.body.items() if key not in wrong}
    said = [
        f"the note {note.name!r} says {key} = {note.body[key]!r}, which is no number: left out."
        for key in wrong
        if note.body[key] is not None
    ]
    return note._replace(body=body), said


def _is_number(value: object) -> bool:
    is_real = isinstance(value, int | float) and not isinstance(value, bool)
    return is_real and isfinite(value) and abs(value) <= LARGEST  # type: ignore[arg-type]
