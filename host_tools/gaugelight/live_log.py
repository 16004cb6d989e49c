"""What `gaugelight live` records: one row an update, in a CSV file."""

import csv
from datetime import datetime, timezone
from pathlib import Path
from types import TracebackType

from gaugelight.live_picture import State
from gaugelight.problems import Misuse, Wrong


def head_of(state: State) -> str:
    """Two lines: which box and table, and the columns with their units. The same as long as the table is."""
    columns = ["time UTC"]
    for face in state.faces:
        name = face.about.name
        if not face.derived:
            columns.append(f"{name} count")
        columns += [f"{name} {face.about.reading_unit}", f"{name} fault"]
    box = state.hello.box or "without a table"
    return f"# gaugelight live, box {box}, table {state.hello.crc or 'none'}\n{','.join(columns)}\n"


def row_of(state: State, now: datetime) -> list[str]:
    """A reading at fault is empty, and the fault stands beside it."""
    row = [now.isoformat(timespec="milliseconds").replace("+00:00", "Z")]
    for face, said in zip(state.faces, state.said):
        if not face.derived:
            row.append(str(said.count))
        reading = "" if said.reading is None else f"{float(said.reading):.{said.reading_decimals}f}"
        row += [reading, said.fault or ""]
    return row


class LiveLog:
    """An open file; a context manager. Every row is handed to the system at once, so that a kill loses none of them.

    Raises Misuse where it cannot be begun, Wrong where it cannot go on.
    """

    def __init__(self, path: Path, append: bool, state: State) -> None:
        self.path = path
        self.head = head_of(state)
        try:
            # "x": what is there already is never written over, not even by chance
            self.file = path.open("a+" if append else "x+", newline="", encoding="utf-8")
        except FileExistsError:
            raise Misuse(
                f"{path}: is there already; name a new file, or write --append to go on in it"
            ) from None
        except OSError as problem:
            raise Misuse(f"{path}: cannot be written: {problem.strerror}") from None
        self.writer = csv.writer(self.file, lineterminator="\n")
        try:
            self._begin()
        except BaseException:
            self.file.close()
            raise

    def _begin(self) -> None:
        self.file.seek(0)
        try:
            there = self.file.read()
        except (OSError, UnicodeDecodeError):
            there = "?"
        if there and not there.startswith(self.head):
            what = f"was recorded of another table, or is no record; {self.head.splitlines()[0][2:]} needs a new file"
            raise Misuse(f"{self.path}: {what}")
        if not there:
            self._write(self.head)
        elif not there.endswith("\n"):
            self._write("\n")  # a row that was cut off stays what it is

    def __enter__(self) -> "LiveLog":
        return self

    def __exit__(
        self, kind: type[BaseException] | None, value: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.file.close()

    def fits(self, state: State) -> bool:
        """Whether the state is of the table that its columns were made for."""
        return head_of(state) == self.head

    def add(self, state: State) -> None:
        try:
            self.writer.writerow(row_of(state, datetime.now(timezone.utc)))
            self.file.flush()
        except OSError as problem:
            raise Wrong(f"{self.path}: cannot be written: {problem.strerror}") from None

    def _write(self, text: str) -> None:
        try:
            self.file.write(text)
            self.file.flush()
        except OSError as problem:
            raise Misuse(f"{self.path}: cannot be written: {problem.strerror}") from None
