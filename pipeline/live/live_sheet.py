"""What to take from a line's OPC UA server: its address, and which node holds which channel."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated, Literal
from urllib.parse import urlparse

from pydantic import Field, model_validator

from pipeline.columns import CHANNEL_BY_NAME
from pipeline.errors import Complaint, SheetError
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


class Security(Sheet):
    """How the connection is secured, as the plant's server asks for it (IEC 62541-7, security policies).

    Args:
        policy: security policy.
        mode: sign messages, or sign and encrypt them.
        certificate: file with this client's certificate, relative to the sheet.
        private_key: file with its private key, relative to the sheet.
        server_certificate: file with the server's certificate, the only one trusted: without it anybody who answers
            at the address would get the password and be believed.
        application_uri: this client's URI, as its certificate names it.
    """

    policy: Literal["Basic256Sha256", "Aes128Sha256RsaOaep", "Aes256Sha256RsaPss"]
    mode: Literal["Sign", "SignAndEncrypt"] = "SignAndEncrypt"
    certificate: str
    private_key: str
    server_certificate: str
    application_uri: str | None = None


class LiveSheet(Sheet):
    """A line's OPC UA server and the nodes to follow.

    Args:
        endpoint: address of the server, ``opc.tcp://host:port/path``.
        sampling_ms: how often the server looks at a node [ms].
        publishing_ms: how often it sends what it saw [ms].
        slot_s: values whose times fall into the same slot of this many seconds form one reading.
        clock_tolerance_s: how far the server's clock may be from this machine's before it is told [s].
        folder: where the values are kept, relative to the sheet.
        security: how the connection is secured; it is open where this is left out.
        user: name to sign in with, where the server asks for one; its password is read from the environment and goes
            only over an encrypted connection.
        nodes: our channel name -> node.
    """

    endpoint: str
    sampling_ms: Annotated[float, Field(gt=0)] = 100.0
    publishing_ms: Annotated[float, Field(gt=0)] = 500.0
    slot_s: Annotated[float, Field(ge=0)] = 0.1
    clock_tolerance_s: Annotated[float, Field(gt=0)] = 2.0
    folder: Annotated[str, Field(min_length=1)] = "live"
    security: Security | None = None
    user: str | None = None
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
        if self.user is not None and (self.security is None or self.security.mode != "SignAndEncrypt"):
            raise ValueError(
                "'user' needs [live.security] with mode \"SignAndEncrypt\", or its password would go in clear"
            )
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
    sheet = read_sheet(path, _LiveFile).live
    if sheet.security is None:
        return sheet
    files = {
        name: str(path.parent / value)
        for name in ("certificate", "private_key", "server_certificate")
        if (value := getattr(sheet.security, name)) is not None
    }
    missing = [
        Complaint(
            f"{path}: live.security.{name}",
            f"there is no file {file}",
            "Put it there, or correct its name; who runs the server can say which certificate it trusts",
        )
        for name, file in files.items()
        if not Path(file).is_file()
    ]
    if missing:
        raise SheetError(missing)
    return sheet.model_copy(update={"security": sheet.security.model_copy(update=files)})


def run_sheet_lines(sheet: LiveSheet, files: str) -> str:
    """The lines of a run sheet by which what was kept of the server is loaded.

    Args:
        sheet: the live sheet.
        files: the kept files, or a pattern that finds them, relative to the run sheet.
    """
    names = f'tag = "{TAG}", value = "{VALUE}", quality = "{QUALITY}", good = ["{GOOD}"]'
    lines = [
        "[[run.logs]]",
        'kind = "readings"',
        f"files = [{_quoted(files)}]",
        f'time = {{ column = "{TIME}", format = "ISO 8601", zone = "UTC" }}',
        f"long = {{ {names}, slot_s = {sheet.slot_s} }}",
        "",
        "[run.logs.channels]",
        *(
            f"{channel} = {{ column = {_quoted(one.node)}, unit = {_quoted(one.unit)} }}"
            for channel, one in sheet.nodes.items()
        ),
    ]
    return "\n".join(lines) + "\n"


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)
