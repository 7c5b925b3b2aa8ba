"""One filled job card of the invented scenario, as the other tests of this folder vary it."""

from __future__ import annotations

import math

import pytest

from rotorwright.report import (
    AircraftFacts,
    Evidence,
    Fault,
    FileFact,
    Gate,
    ImageFacts,
    JournalLine,
    Outcome,
    Plot,
    Proof,
    ReportData,
    SettingsCount,
    SheetGroup,
    SheetLine,
    StageCard,
    StageState,
    Trace,
    Verdict,
)

DIGEST = "9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08"


def _stages() -> tuple[StageCard, ...]:
    return (
        StageCard(
            name="receive",
            state=StageState.DONE,
            entries=(
                Evidence(label="settings read, twice and equal", value=428, verdict=Verdict.PASSED),
                Evidence(label="time to read them", value=5.43218, unit="s"),
                Evidence(
                    label="as-found file read back from disk", value="as-found-9f86d081.json", verdict=Verdict.PASSED
                ),
            ),
        ),
        StageCard(
            name="plan",
            state=StageState.DONE,
            words="The image was judged against the board, and every setting has a decision.",
            entries=(
                Evidence(label="image for this board", value="9 of 9 tests", verdict=Verdict.PASSED),
                Evidence(label="held settings decided", value=7),
            ),
        ),
        StageCard(
            name="write",
            state=StageState.DONE,
            entries=(
                Evidence(label="image read back", value=451_208, unit="bytes", verdict=Verdict.PASSED),
                Evidence(label="sectors erased and written", value=8),
                Evidence(label="time over the limit of the line", value=1.0834),
            ),
        ),
        StageCard(
            name="restore",
            state=StageState.DONE,
            entries=(
                Evidence(label="display characters changed", value=41),
                Evidence(label="battery while they were written", value=15.62, unit="V", verdict=Verdict.PASSED),
                Evidence(label="settings written", value=73),
            ),
        ),
        StageCard(
            name="prove",
            state=StageState.DONE,
            entries=(Evidence(label="bench checks", value="4 of 4", verdict=Verdict.PASSED),),
        ),
        StageCard(name="sign", state=StageState.DONE, entries=(Evidence(label="signed by", value="the demo"),)),
    )


def _groups() -> tuple[SheetGroup, ...]:
    held = SheetLine(
        names="gyro_soft_hz",
        before="140 Hz",
        after="120 Hz",
        reason="You changed it from 100 Hz, and the new release changed its default from 100 Hz to 120 Hz.",
        decision="take the new default (by the demo)",
    )
    convert = SheetLine(
        names="arm_delay_ms",
        new_names="arm_delay_s",
        before="250 ms",
        after="0.25 s",
        reason="The unit changed from milliseconds to seconds.",
    )
    adopt = tuple(
        SheetLine(names=f"osd_cell_{index}", before=str(index), after=str(index), reason="Never customised.")
        for index in range(30)
    )
    return (
        SheetGroup(
            kind="held", title="Held for a person", explanation="These needed a decision of a person.", lines=(held,)
        ),
        SheetGroup(
            kind="convert", title="Converted", explanation="Same meaning in another unit; exact.", lines=(convert,)
        ),
        SheetGroup(
            kind="adopt", title="New default stands", explanation="Never customised on this aircraft.", lines=adopt
        ),
    )


def _tilt(title: str, sign: int) -> Plot:
    times = [0.04 * index for index in range(31)]
    course = tuple((t, sign * 30 * (1 - math.exp(-4 * t))) for t in times)
    other = tuple((t, 1.5 * math.sin(7 * t)) for t in times)
    wanted = ((0.0, sign * 15.0), (times[-1], sign * 15.0))
    return Plot(
        title=title,
        x_label="time since asked",
        x_unit="s",
        y_label="angle",
        y_unit="deg",
        traces=(
            Trace(label="pitch", points=course),
            Trace(label="roll", points=other),
            Trace(label="at least", points=wanted, is_expected=True),
        ),
    )


def _proofs() -> tuple[Proof, ...]:
    attitude = Proof(
        name="The aircraft understands how it is held",
        verdict=Verdict.PASSED,
        words="Tipped four ways by hand; each was reported on the right axis and in the right sense.",
        entries=(
            Evidence(label="nose down", value=-29.4, unit="deg", verdict=Verdict.PASSED),
            Evidence(label="nose up", value=28.73, unit="deg", verdict=Verdict.PASSED),
        ),
        plots=(_tilt("nose down", -1), _tilt("nose up", 1)),
    )
    return (
        Proof(name="The release answers", verdict=Verdict.PASSED, words="Thornbill 6.0.0 on Corvane C405"),
        Proof(name="Display characters", verdict=Verdict.UNSURE, words="Nothing was compared."),
        attitude,
    )


@pytest.fixture
def card() -> ReportData:
    """A signed job card with something of everything."""
    return ReportData(
        title="Sandmartin 5: Thornbill 5.2 to 6.0",
        aircraft=AircraftFacts(
            unique_id="3b0041000851383138323536",
            airframe="Sandmartin 5",
            family="Thornbill",
            release_before="5.2.0",
            release_after="6.0.0",
            board_before="Corvane One",
            board_after="Corvane C405",
            microcontroller="STM32F405xG",
        ),
        outcome=Outcome.SIGNED,
        started_at="2026-03-14T09:26:53.589+00:00",
        finished_at="2026-03-14T09:27:41.002+00:00",
        stages=_stages(),
        settings=SettingsCount(found=428, decided=428, held=7, written=73, verified=460),
        groups=_groups(),
        image=ImageFacts(
            name="thornbill-6.0.0-c405.hex",
            sha256=DIGEST,
            size_bytes=451_208,
            sectors_written=8,
            sectors_in_image=8,
            verified=True,
        ),
        gates=(
            Gate(
                name="snapshot on disk",
                verdict=Verdict.PASSED,
                words="428 settings read twice, on disk, digest equal",
                held_by="measured",
            ),
            Gate(name="propellers off", verdict=Verdict.PASSED, words="confirmed before the write", held_by="the demo"),
        ),
        proofs=_proofs(),
        faults=(
            Fault(
                name="power cut, torn in flash operation 200",
                words="Sector 5 was half written; it was compared, erased and written again.",
                at="2026-03-14T09:27:10Z",
            ),
        ),
        files=(
            FileFact(name="as-found-9f86d081.json", sha256=DIGEST, size_bytes=31_244, words="settings as found"),
            FileFact(name="old-image-9f86d081.bin", sha256=DIGEST, size_bytes=430_080, words="image as found"),
        ),
        events=(
            JournalLine(sequence=1, at="2026-03-14T09:26:53Z", kind="started", words="Job card opened"),
            JournalLine(sequence=2, at="2026-03-14T09:26:54Z", kind="aircraft-received", words="Aircraft identified"),
        ),
        remarks=("Receiver antenna was loose; fixed.",),
        made_by="Rotorwright 0.1.0",
    )
