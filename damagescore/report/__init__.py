"""Reports: PDF with the photos and their findings, JSON, CSV, raster overlay."""

from damagescore.report.overlay import overlay, overlay_png
from damagescore.report.writer import ReportFiles, report_pdf, write_report

__all__ = ["ReportFiles", "overlay", "overlay_png", "report_pdf", "write_report"]
