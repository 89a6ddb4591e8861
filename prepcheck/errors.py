"""Everything that can go wrong, in one tree. Imports nothing of ours.

::

    PrepcheckError
    |-- WrongUse                exit 2, HTTP 400   the call itself is off
    |   |-- NameClash           exit 2, HTTP 409   two inputs would write the same output file
    |   |-- ChooseOutline       exit 2, HTTP 409   a photo with several outlines; a person must say which is the spot
    |   |-- BadOutlines         exit 2, HTTP 400   an outline file that cannot be used
    |   |-- CannotWrite         exit 2, HTTP 400   an output place that cannot be written
    |   |-- UnknownRecord       exit 2, HTTP 404   no such job, spot, person or inspection
    |   |-- BadSettings         exit 2, HTTP 400   a settings file or value that cannot be used
    |   |-- BadSteps            exit 2, HTTP 400   a plan of steps that cannot be used
    |   `-- NotAllowed          exit 2, HTTP 403   this person may not do this
    |       |-- WrongPin        exit 2, HTTP 401   not the PIN of this person
    |       `-- PinLocked       exit 2, HTTP 429   too many wrong PINs in a row
    |-- Held                    exit 1, HTTP 409   something speaks against it that a person has to settle first
    |-- BrokenInput             exit 3, HTTP 422   a photo that cannot be read as it was made
    |   |-- Unreadable          exit 3, HTTP 422   not there, no permission, not a file
    |   |   `-- AFolder         exit 2, HTTP 400   a folder where a file belongs
    |   |-- NotAPhoto           exit 3, HTTP 415   the bytes are no picture format that we read
    |   |-- DamagedPhoto        exit 3, HTTP 422   cut short or structurally damaged
    |   |-- TooLarge            exit 3, HTTP 413   more bytes or pixels than the limits allow
    |   |-- StillChanging       exit 3, HTTP 422   written to while it was read
    |   |-- LostWorker          exit 3, HTTP 422   the process that looked at it ended, again and again
    |   |-- MissingDecoder      exit 3, HTTP 415   readable only with an optional part that is not installed
    |   `-- BrokenBag           exit 3, HTTP 422   sealed evidence that cannot be read at all
    |-- ModelFault              exit 3, HTTP 500   missing, changed or unusable model file
    |-- ClusterFault            exit 3, HTTP 503   other machines that cannot be reached or may not be worked with
    `-- StoreFault              exit 3, HTTP 503   the record store cannot take or give the record
        |-- StoreBusy           exit 3, HTTP 503   locked by another process
        |-- StoreFull           exit 3, HTTP 507   no room left
        `-- StoreNewer          exit 3, HTTP 503   written by a newer version of prepcheck

A photo that is readable but unfit (blurred, too dark ...) is no error: it is an inspection with standing ``retake``.
"""

from __future__ import annotations


class PrepcheckError(Exception):
    """Root of the tree: one line that says what happened, to what, and what to do.

    Parameters
    ----------
    what : str
        What happened, without a full stop.
    do : str
        What the person can do about it, without a full stop.
    subject : str, optional
        To what it happened (a file name, a job number). Unprintable characters are shown escaped.
    command : str, optional
        The option or command that does it on the command line; the page, which has none, leaves it out.

    Attributes
    ----------
    code : str
        Stable name of the kind of error, as printed in records.
    exit_code, http_status : int
        One each for every class.
    """

    code = "error"
    exit_code = 3
    http_status = 500

    def __init__(self, what: str, do: str, subject: str | None = None, *, command: str = "") -> None:
        self.what = what
        self.do = do
        self.command = command
        self.subject = None if subject is None else printable(subject)
        super().__init__(self.message)

    @property
    def message(self) -> str:
        """The whole line: subject, what happened, what to do, with which option or command."""
        return self._line(f"{self.do} ({self.command})" if self.command else self.do)

    @property
    def plain(self) -> str:
        """The line for who works without a command line."""
        return self._line(self.do)

    def _line(self, do: str) -> str:
        start = f"{self.subject}: " if self.subject else ""
        return printable(f"{start}{self.what}. {do}.")


def printable(text: str) -> str:
    """Return `text` on one line, with control and undecodable characters shown as escapes."""
    return "".join(c if c.isprintable() else c.encode("unicode_escape", "surrogatepass").decode() for c in text)


class WrongUse(PrepcheckError):
    """The call itself is off: options that do not fit together, a value out of range."""

    code = "wrong_use"
    exit_code = 2
    http_status = 400


class NameClash(WrongUse):
    """Two inputs would write the same output file."""

    code = "name_clash"
    http_status = 409


class ChooseOutline(WrongUse):
    """A photo shows several outlines, and a person must say which of them is the job's spot."""

    code = "choose_outline"
    http_status = 409


class BadOutlines(WrongUse):
    """A file of drawn or refused outlines that cannot be used."""

    code = "bad_outlines"


class CannotWrite(WrongUse):
    """An output file or folder that cannot be written."""

    code = "cannot_write"


class UnknownRecord(WrongUse):
    """No such job, spot, person or inspection in this store."""

    code = "unknown_record"
    http_status = 404


class BadSettings(WrongUse):
    """A settings file or value that cannot be used."""

    code = "bad_settings"


class BadSteps(WrongUse):
    """A plan of steps that cannot be used."""

    code = "bad_steps"


class NotAllowed(WrongUse):
    """This person may not do this."""

    code = "not_allowed"
    http_status = 403


class WrongPin(NotAllowed):
    """Not the PIN of this person."""

    code = "wrong_pin"
    http_status = 401


class PinLocked(NotAllowed):
    """Too many wrong PINs in a row: the person has to wait."""

    code = "pin_locked"
    http_status = 429


class Held(PrepcheckError):
    """Something speaks against it that a person has to settle first, or has to answer for with a reason."""

    code = "held"
    exit_code = 1
    http_status = 409


class BrokenInput(PrepcheckError):
    """A photo that cannot be read as it was made."""

    code = "broken_input"
    http_status = 422


class Unreadable(BrokenInput):
    """Not there, no permission, a pipe, a loop of links."""

    code = "unreadable"


class AFolder(Unreadable):
    """A folder where a file belongs: the call is off, the folder may be sound."""

    code = "a_folder"
    exit_code = 2
    http_status = 400


class NotAPhoto(BrokenInput):
    """The bytes are no picture format that prepcheck reads."""

    code = "not_a_photo"
    http_status = 415


class DamagedPhoto(BrokenInput):
    """Cut short or structurally damaged: a part of the picture is not what the camera stored."""

    code = "damaged_photo"


class TooLarge(BrokenInput):
    """More bytes or pixels than the limits allow."""

    code = "too_large"
    http_status = 413


class StillChanging(BrokenInput):
    """Written to while it was read, such as a photo that is still being copied."""

    code = "still_changing"


class LostWorker(BrokenInput):
    """The process that looked at this photo ended without an answer, again and again."""

    code = "lost_worker"


class MissingDecoder(BrokenInput):
    """Readable only with an optional part that is not installed."""

    code = "missing_decoder"
    http_status = 415


class BrokenBag(BrokenInput):
    """Sealed evidence that cannot be read at all; faults inside one that can are findings, not errors."""

    code = "broken_bag"


class ModelFault(PrepcheckError):
    """A model file that is missing, changed or unusable."""

    code = "model_fault"


class ClusterFault(PrepcheckError):
    """Scheduler or workers on other machines that cannot be reached, are lost, or are not of this version."""

    code = "cluster_fault"
    http_status = 503


class StoreFault(PrepcheckError):
    """The record store cannot take or give the record."""

    code = "store_fault"
    http_status = 503


class StoreBusy(StoreFault):
    """Another process holds the store."""

    code = "store_busy"


class StoreFull(StoreFault):
    """No room left where the store lies."""

    code = "store_full"
    http_status = 507


class StoreNewer(StoreFault):
    """The store was written by a newer version of prepcheck."""

    code = "store_newer"
