"""What can be wrong with a recorded flight, apart from the modules that raise it."""

from __future__ import annotations

from rotorwright.errors import Blame, StorageError


class RecordingError(StorageError):
    """A recorded flight cannot be used."""

    id = "storage.recording"
    blame = Blame.INPUT


class RecordingUnreadableError(RecordingError):
    """The file of a recording is not there, is a folder, or may not be read."""

    id = "storage.recording-unreadable"


class RecordingEmptyError(RecordingError):
    """There is nothing in the file of a recording, or only the names of its columns."""

    id = "storage.recording-empty"


class RecordingTooShortError(RecordingError):
    """A recording has too few rows for anything to be worked out from it."""

    id = "storage.recording-too-short"


class RecordingFormError(RecordingError):
    """The file of a recording is no table: no text, no column names, or rows of different length."""

    id = "storage.recording-form"


class RecordingTextError(RecordingError):
    """There is text where a recording should have a number."""

    id = "storage.recording-text"


class DecimalCommaError(RecordingError):
    """The numbers of a recording are written with a decimal comma."""

    id = "storage.recording-decimal-comma"


class ColumnNamesTwiceError(RecordingError):
    """Two columns of a recording have the same name."""

    id = "storage.recording-names-twice"


class RecordingTooLargeError(RecordingError):
    """A recording does not fit into the memory that is free."""

    id = "storage.recording-too-large"


class RecordingsExtraMissingError(RecordingError):
    """The optional library that reads Parquet is not installed."""

    id = "storage.recordings-extra-missing"
    blame = Blame.SURROUNDINGS


class ColumnMapError(RecordingError):
    """A column map cannot be used: its form, a unit or a quantity that nobody knows, a column that is not there."""

    id = "storage.column-map"


class ColumnsUnclearError(RecordingError):
    """Two columns of a recording fit one quantity equally well, so neither is taken."""

    id = "storage.columns-unclear"


class ColumnsMissingError(RecordingError):
    """No column of a recording can be taken for the time, or for the rates."""

    id = "storage.columns-missing"


class RecordingUnitError(RecordingError):
    """The values of a column cannot be in the unit that was stated, or nobody can tell in which unit they are."""

    id = "storage.recording-unit"


class RecordingTimeError(RecordingError):
    """The column of the times does not count up."""

    id = "storage.recording-time"
