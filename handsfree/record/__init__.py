"""Events to disk and back: the journal, the visit's folder, the record of a visit."""

from handsfree.record.folder import VisitFolder
from handsfree.record.journal import Altered, Intact, Journal, JournalReading, Torn, read_journal

__all__ = ["Altered", "Intact", "Journal", "JournalReading", "Torn", "VisitFolder", "read_journal"]
