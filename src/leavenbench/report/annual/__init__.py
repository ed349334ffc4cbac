"""The year on paper: the annual report, and a page for each depositor."""

from .depositor import culture_pages, write_pages
from .reckoned import Reckoned, read_year, reckon
from .year_folder import report_files, told_of, write_report

__all__ = [
    "Reckoned",
    "culture_pages",
    "read_year",
    "reckon",
    "report_files",
    "told_of",
    "write_pages",
    "write_report",
]
