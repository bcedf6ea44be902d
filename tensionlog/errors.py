"""Every error that tensionlog raises on purpose.

* TensionlogError
    * UsageError         what was asked for cannot be done as asked (exit code 2)
    * SettingsError      the bench's set-up file is missing a value or holds a wrong one
    * LinkError          a port cannot be opened, or the byte stream was lost
    * RecordingError     a file is not a recording, or cannot be read or written
    * PlanError          the ticket of a job contradicts itself
    * CalibrationError   the numbers cannot give a trustworthy scale
    * ClampError         a test of a clamp, a turn or a string's stiffness cannot be measured
    * StoreError         the database is not one of ours, or is newer than this version
        * DamagedStoreError  it is ours, and its content cannot be read: rebuild it

The text of each is one line for the person at the bench: what happened, with the
values, and what to do. Anything else that escapes is a bug, and keeps its traceback.
"""


class TensionlogError(Exception):
    """Base of every error raised on purpose."""


class UsageError(TensionlogError, ValueError):
    """What was asked for cannot be done as asked."""


class SettingsError(TensionlogError, ValueError):
    """The bench's set-up file is missing a value or holds a wrong one."""


class LinkError(TensionlogError, OSError):
    """A port cannot be opened, or the byte stream was lost."""


class RecordingError(TensionlogError, OSError):
    """A file is not a recording, or cannot be read or written."""


class PlanError(TensionlogError, ValueError):
    """The ticket of a job contradicts itself."""


class CalibrationError(TensionlogError, ValueError):
    """The numbers cannot give a trustworthy scale."""


class ClampError(TensionlogError, ValueError):
    """A test of a clamp, a turn or a string's stiffness cannot be measured."""


class StoreError(TensionlogError, RuntimeError):
    """The database is not one of ours, or is newer than this version."""


class DamagedStoreError(StoreError):
    """The database is ours, and its content cannot be read: a rebuild mends it."""
