"""What can go wrong in the hangar, apart from the modules that raise it, so that a caller needs no database library."""

from __future__ import annotations

from rotorwright.errors import Blame, StorageError, WorkflowError


class HangarError(StorageError):
    """The store of aircraft and changeovers cannot be used."""

    id = "storage.hangar"


class HangarNotOpenedError(HangarError):
    """The database of the hangar cannot be opened, read or written now."""

    id = "storage.hangar-not-opened"
    retry_helps = True


class HangarDamagedError(HangarError):
    """The database of the hangar is not readable as one."""

    id = "storage.hangar-damaged"


class NewerHangarError(HangarError):
    """The hangar was written by a newer Rotorwright."""

    id = "storage.hangar-newer"
    blame = Blame.PERSON


class DatabaseUrlError(HangarError):
    """The database URL names no database that can be used here."""

    id = "storage.database-url"
    blame = Blame.INPUT


class UnknownChangeoverError(HangarError):
    """There is no changeover of this name in the hangar."""

    id = "storage.unknown-changeover"
    blame = Blame.INPUT


class JournalError(StorageError):
    """The journal of a changeover cannot be read or added to."""

    id = "storage.journal"


class JournalDamagedError(JournalError):
    """An event of a journal is not as it was written: changed, missing, doubled or moved."""

    id = "storage.journal-damaged"


class EventFactsError(JournalError):
    """The facts of an event have no exact place in canonical JSON. A defect of the program that made them."""

    id = "storage.event-facts"
    blame = Blame.OURS


class ConcurrentChangeoverError(JournalError):
    """Somebody else added to this journal since it was read."""

    id = "storage.two-writers"
    blame = Blame.PERSON


class ChangeoverBusyError(WorkflowError):
    """Another process is working on this changeover."""

    id = "workflow.changeover-busy"
    retry_helps = True


class DiskError(StorageError):
    """The disk or folder where something goes does not take it."""

    id = "storage.disk"
    retry_helps = True


class DiskFullError(DiskError):
    """No room is left."""

    id = "storage.disk-full"


class NoPermissionError(DiskError):
    """This user may not write or read there."""

    id = "storage.no-permission"


class ReadOnlyPlaceError(DiskError):
    """The place is read-only."""

    id = "storage.read-only"


class KeptFileError(StorageError):
    """A file cannot be kept under this name, or is not there as it was kept."""

    id = "storage.file"


class NameTakenError(KeptFileError):
    """A file of this name with other content is there already; nothing is ever overwritten."""

    id = "storage.name-taken"


class ReadBackDiffersError(KeptFileError):
    """What was read back from the disk is not what was written."""

    id = "storage.read-back-differs"


class MissingFileError(KeptFileError):
    """A file that the hangar kept is no longer there."""

    id = "storage.file-missing"


class DamagedFileError(KeptFileError):
    """A file that the hangar kept no longer has the content it was kept with."""

    id = "storage.file-damaged"


class KeptNameError(KeptFileError):
    """The name is none that a kept file may have. A defect of the program that made it."""

    id = "storage.file-name"
    blame = Blame.OURS


class DefaultsError(StorageError):
    """Captured defaults cannot be added to the library, or not be found in it."""

    id = "storage.defaults"


class DefaultsNotUsableError(DefaultsError):
    """What was given cannot be the defaults of a release on a board."""

    id = "storage.defaults-not-usable"
    blame = Blame.INPUT


class UnknownDefaultsError(DefaultsError):
    """The library has no entry of this number."""

    id = "storage.unknown-defaults"
    blame = Blame.INPUT


class DamagedDefaultsError(DefaultsError):
    """An entry of the library cannot be read as it was captured."""

    id = "storage.defaults-damaged"


class BookError(StorageError):
    """A release book, or a part of it, cannot be used."""

    id = "storage.book"
    blame = Blame.INPUT


class BookNotFoundError(BookError):
    """There is no release book at this place."""

    id = "storage.book-not-found"


class BookUnsafeError(BookError):
    """A book has a part that reaches out of it, or more or larger parts than a book ever needs."""

    id = "storage.book-unsafe"


class BookFormError(BookError):
    """A part of a book does not have the form described in docs/reference/release-book.md."""

    id = "storage.book-form"


class NewerBookError(BookError):
    """The book is written in a newer form than this Rotorwright knows."""

    id = "storage.book-newer"
