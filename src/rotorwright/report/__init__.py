"""The record for people: one HTML file that stands alone, and one page of plain text."""

from rotorwright.report.data import (
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
from rotorwright.report.html import render_report
from rotorwright.report.text import one_page_summary

__all__ = [
    "AircraftFacts",
    "Evidence",
    "Fault",
    "FileFact",
    "Gate",
    "ImageFacts",
    "JournalLine",
    "Outcome",
    "Plot",
    "Proof",
    "ReportData",
    "SettingsCount",
    "SheetGroup",
    "SheetLine",
    "StageCard",
    "StageState",
    "Trace",
    "Verdict",
    "one_page_summary",
    "render_report",
]
