"""What to take from a line's OPC UA server: its address, and which node holds which channel."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated
from urllib.parse import urlparse

from pydantic import Field, model_validator

from pipeline.columns import CHANNEL_BY_NAME
from pipeline.sheets.run_sheet import LogFile, LongTable, MappedColumn, TimeColumn
from pipeline.sheets.toml_file import Sheet, read_sheet

TAG, TIME, VALUE, QUALITY = "node", "source_time", "value", "quality"
GOOD = "Good"


class LiveNode(Sheet):
    """A node of the server that holds one of our channels.

    Args:
        node: its node id, for example ``ns=2;s=L1.Wall1``.
        unit: unit the server gives it in; any unit that converts to the channel's.
    """

    node: Annotated[str, Field(min_length=1)]
    unit: str = ""


class LiveSheet(Sheet):
    """A line's OPC UA server and the nodes to follow.

    Args:
        endpoint: address of the server, ``opc.tcp://host:port/path``.
        sampling_ms: how often the server looks at a node [ms].
        publishing_ms: how often it sends what it saw [ms].
        slot_s: values whose times fall into the same slot of this many seconds form one reading.
        clock_tolerance_s: how far the server's clock may be from this machine's before it is told [s].
        nodes: our channel name -> node.
    """

    endpoint: str
    sampling_ms: Annotated[float, Field(gt=0)] = 100.0
    publishing_ms: Annotated[float, Field(gt=0)] = 500.0
    slot_s: Annotated[float, Field(ge=0)] = 0.1
    clock_tolerance_s: Annotated[float, Field(gt=0)] = 2.0
    nodes: dict[str, LiveNode]

    @model_validator(mode="after")
    def _whole(self) -> LiveSheet:
        unknown = sorted(set(self.nodes) - set(CHANNEL_BY_NAME))
        if unknown:
            raise ValueError(f"'{unknown[0]}' is not a channel; it may be {', '.join(CHANNEL_BY_NAME)}")
        if not self.nodes:
            raise ValueError("no node is named: give [live.nodes]")
        address = urlparse(self.endpoint)
        if address.scheme != "opc.tcp" or not address.hostname:
            raise ValueError(f"'{self.endpoint}' is no address of an OPC UA server, like opc.tcp://host:4840")
        ids = [one.node for one in self.nodes.values()]
        twice = sorted({one for one in ids if ids.count(one) > 1})
        if twice:
            raise ValueError(f"node '{twice[0]}' is named for two channels")
        return self


class _LiveFile(Sheet):
    live: LiveSheet


def read_live_sheet(path: Path) -> LiveSheet:
    """The live sheet in the TOML file `path`.

    Raises:
        SheetError: the sheet cannot be read or is not whole.
    """
    return read_sheet(path, _LiveFile).live


def log_of(sheet: LiveSheet, files: tuple[str, ...]) -> LogFile:
    """How `pipeline.logs` reads what was kept of the server: a long table with the sheet's channels and units.

    Args:
        sheet: the live sheet.
        files: the kept files, in order.
    """
    return LogFile(
        kind="readings",
        files=files,
        time=TimeColumn(column=TIME, format="ISO 8601", zone="UTC"),
        channels={
            channel: MappedColumn(column=one.node, unit=one.unit) for channel, one in sheet.nodes.items()
        },
        long=LongTable(tag=TAG, value=VALUE, quality=QUALITY, good=(GOOD,), slot_s=sheet.slot_s),
    )
