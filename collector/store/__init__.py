"""History in SQLite: what was heard, what it meant, and where the engine stood.

One file a plant, `<data>/<plant.name>/history.sqlite`, beside a copy of the plant file in force:
the folder holds everything. `History` reads, `Writer` reads and writes.
"""

from collector.store.errors import HistoryDamaged, HistoryError
from collector.store.history import History
from collector.store.response import Carried, Due, Entry, Response
from collector.store.shapes import Bands, Batch, Resumption, Sample, Series, SetAside
from collector.store.writing import Writer

__all__ = [
    "Bands",
    "Batch",
    "Carried",
    "Due",
    "Entry",
    "History",
    "HistoryDamaged",
    "HistoryError",
    "Response",
    "Resumption",
    "Sample",
    "Series",
    "SetAside",
    "Writer",
]
