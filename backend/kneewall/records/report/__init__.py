"""A visit's report on paper. Public: `report_of`, `Report`, `as_pdf`."""

from kneewall.records.report.content import report_of
from kneewall.records.report.parts import Report
from kneewall.records.report.pdf import as_pdf

__all__ = ["Report", "as_pdf", "report_of"]
