"""What can stop a changeover, apart from the errors of the rooms below."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rotorwright.errors import Blame, ImageError, LinkError, ProtocolError, WorkflowError

if TYPE_CHECKING:
    from rotorwright.bench.verdicts import CheckResult
    from rotorwright.settings.outcomes import Outcome


class SnapshotReadsDifferError(ProtocolError):
    """Two readings of the settings do not agree, so neither can be trusted as a copy."""

    id = "changeover.readings-differ"
    retry_helps = True


class BoardNotInBookError(WorkflowError):
    """The release book does not know the board that the aircraft reports."""

    id = "changeover.board-not-in-book"


class PartUnknownError(WorkflowError):
    """Nobody says which microcontroller the board has, so nobody knows its flash."""

    id = "changeover.part-unknown"


class ImageBoardMismatchError(ImageError):
    """The image does not belong on this board, or nobody can be sure that it does."""

    id = "changeover.image-does-not-fit"


class ImageDescriptorMissingError(ImageError):
    """The image does not say which release it is."""

    id = "changeover.image-unnamed"


class DecisionMissingError(WorkflowError):
    """A held setting was not decided."""

    id = "changeover.decision-missing"


class PlanNotAcceptedError(WorkflowError):
    """The plan was not accepted."""

    id = "changeover.plan-not-accepted"


class BoardSilentError(LinkError):
    """The board answers neither as application nor as bootloader."""

    id = "changeover.board-silent"
    retry_helps = False

    @classmethod
    def after_button(cls, port: str) -> BoardSilentError:
        """Return the error for a board that stays silent although the button was asked for."""
        return cls(
            f"The bootloader does not answer on {port}.",
            why="The button was not held while power arrived, the cable carries power only, or the line is not the "
            "one that the bootloader listens to.",
            todo="Try another cable; hold the button while power arrives; then go on with `resume`. If nothing comes "
            "at all: rotorwright ports --nothing-came.",
            port=port,
        )


class DrivesSeveralError(LinkError):
    """Several bootloaders show themselves as drives, and nobody says which is the aircraft's."""

    id = "changeover.drives-several"

    @classmethod
    def among(cls, folders: list[str]) -> DrivesSeveralError:
        """Return the error for these drives."""
        return cls(
            f"{len(folders)} drives of bootloaders are here: {', '.join(folders)}.",
            why="A drive does not tell the unique id of its board, so none of them can be told from the others.",
            state="Nothing was written to any of them.",
            todo="Unplug the boards that are not meant, then go on with `resume`.",
            drives=", ".join(folders),
        )


class SectorsDifferError(ImageError):
    """The bootloader's own account of the flash is not that of the microcontroller of the plan."""

    id = "changeover.sectors-differ"

    @classmethod
    def of(cls, number: int, address: int, size_bytes: int, bootloader: str) -> SectorsDifferError:
        """Return the error for one sector of the plan that the bootloader does not have."""
        return cls(
            f"The bootloader has no sector of {size_bytes // 1024} KiB at {address:#010x}; the plan has one, sector "
            f"{number}.",
            why=f"{bootloader} describes its flash otherwise than the table of microcontrollers: another part is on "
            "the board than the plan is for, or its flash is set up otherwise.",
            state="Nothing was erased or written.",
            todo="Read the name off the largest chip of the board, and compare it with the plan.",
            sector=number,
            address=f"{address:#010x}",
        )


class OldImageMissingError(WorkflowError):
    """The way back needs the image of the old release, and nobody kept or gave it."""

    id = "changeover.old-image-missing"

    @classmethod
    def of(cls, release: str, board: str, changeover_id: str) -> OldImageMissingError:
        """Return the error for an aircraft that was found with this release."""
        return cls(
            f"The image of {release} for {board} is needed for the way back, and it is not here.",
            why="This bootloader gives nothing out, so the old image could not be kept before the write.",
            todo=f"Take the image of {release} for {board} from its publisher, then: rotorwright roll-back "
            f"{changeover_id} --image FILE",
            release=release,
            board=board,
        )


class OldImageOtherReleaseError(ImageError):
    """The image given for the way back is not of the release that the aircraft was found with."""

    id = "changeover.old-image-other"


class ImageNotTakenError(ProtocolError):
    """The bootloader is there again instead of the application that was written."""

    id = "changeover.image-not-taken"
    retry_helps = True

    @classmethod
    def by(cls, bootloader: str) -> ImageNotTakenError:
        """Return the error for a bootloader that calls itself so."""
        return cls(
            "The image was written, and the bootloader is there again instead of the application.",
            why=f"{bootloader} did not get the whole image, as when the power goes with the last block, or the image "
            "does not start on this board.",
            todo="Go on with `resume`: it is written once more. If it stays so, use `roll-back`.",
        )


class WrongReleaseError(ProtocolError):
    """After the restart another release answers than the one that was written."""

    id = "changeover.wrong-release-answers"


class SettingsNotAsPlannedError(ProtocolError):
    """After the restart the settings are not those of the plan."""

    id = "changeover.settings-differ"
    retry_helps = True
    left: tuple[Outcome, ...] = ()
    """What became of each, where they were just written."""


class DisplayNotWrittenError(ProtocolError):
    """The display characters read back are not those that were written."""

    id = "changeover.display-differs"
    retry_helps = True


class AttitudeNotUnderstoodError(ProtocolError):
    """The aircraft does not report the attitude in which it is held."""

    id = "changeover.attitude"


class RollBackNotPossibleError(WorkflowError):
    """There is nothing to go back to, or the changeover is over."""

    id = "changeover.no-way-back"


class ChangeoverOverError(WorkflowError):
    """The changeover is already signed or rolled back."""

    id = "changeover.over"
    blame = Blame.PERSON


class NoOpenChangeoverError(WorkflowError):
    """No job card fits what was asked for."""

    id = "changeover.none-open"


class OpenChangeoverError(WorkflowError):
    """The aircraft is in the middle of another changeover, so what it holds now is not what its owner set."""

    id = "changeover.still-open"


class BenchCheckFailedError(WorkflowError):
    """A bench check was measured, and the aircraft is not as it has to be."""

    id = "bench.check-failed"
    blame = Blame.DEVICE
    retry_helps = True
    result: CheckResult
    """How it ended, with its evidence."""

    @property
    def stops_the_bench(self) -> bool:
        """Whether nothing else may be measured either: the battery is not fit to be used."""
        return any(finding.kind.startswith("pack-") for finding in self.result.findings)


class NotReadyToProveError(WorkflowError):
    """A bench check was asked for before the settings are back."""

    id = "bench.not-ready"


class UnknownCheckError(WorkflowError):
    """There is no bench check of this name."""

    id = "bench.unknown-check"
    exit_code = 2
    blame = Blame.PERSON
