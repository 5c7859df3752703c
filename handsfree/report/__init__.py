"""A visit's folder in, files to hand over out."""

from handsfree.report.writing import FORMATS, Format, write_report

__all__ = ["FORMATS", "Format", "write_report"]
