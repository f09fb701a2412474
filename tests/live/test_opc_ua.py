"""A line's OPC UA server followed over loopback, stopped and started again, gives the rows that a file would."""

import asyncio
import socket
import tomllib
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import ClassVar

import asyncua
import polars as pl
import pytest
from asyncua.crypto import cert_gen
from asyncua.server.user_managers import User, UserManager, UserRole
from cryptography.x509.oid import ExtendedKeyUsageOID

from pipeline.errors import ReelproofError, SheetError, StoreError
from pipeline.live.live_sheet import LiveSheet, read_live_sheet, run_sheet_lines
from pipeline.live.opc_ua import SECRET_VARIABLE, LiveSource, secret_of
from pipeline.live.value_file import ValueFiles
from pipeline.logs.run_logs import LoadedRun, read_logs
from tests.logs.sheets import WIDE, line_sheet, run_sheet
from tests.said import worded

NODES = {"counter": "counter_m", "speed": "line_speed_m_s", "w1": "wall_1_mm", "w2": "wall_2_mm"}
UNITS = {"counter": "m", "speed": "m/s", "w1": "mm", "w2": "mm"}


def free_port() -> int:
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return int(one.getsockname()[1])


def sheet_for(port: int, **changes: object) -> LiveSheet:
    nodes = {channel: {"node": f"ns=2;s=L1.{name}", "unit": UNITS[name]} for name, channel in NODES.items()}
    return LiveSheet.model_validate(
        {
            "endpoint": f"opc.tcp://127.0.0.1:{port}/line",
            "nodes": nodes,
            "sampling_ms": 20,
            "publishing_ms": 50,
            "slot_s": 0.0,
            **changes,
        }
    )


class Line:
    """A server whose nodes are written at known instants."""

    def __init__(self, port: int) -> None:
        self.port = port
        self.written: list[tuple[datetime, tuple[float, ...]]] = []
        self._made = 0

    async def make(self, **server: object) -> None:
        self.server = asyncua.Server(**server)
        await self.server.init()
        self.server.set_endpoint(f"opc.tcp://127.0.0.1:{self.port}/line")
        self.server.set_security_policy([asyncua.ua.SecurityPolicyType.NoSecurity])
        await self.server.register_namespace("urn:line")
        folder = await self.server.nodes.objects.add_folder(2, "L1")
        self.nodes = [
            await folder.add_variable(
                asyncua.ua.NodeId(f"L1.{name}", 2), name, 0.0, asyncua.ua.VariantType.Double
            )
            for name in NODES
        ]

    async def run(self, instants: int, ahead_s: float = 0.0) -> None:
        for _ in range(instants):
            time = datetime.now(UTC) + timedelta(seconds=ahead_s)
            # The second wall sensor is stuck: only the times of its values go on.
            values = (0.8 * self._made, 8.0, 0.44 + 0.001 * (self._made % 5), 0.45)
            self._made += 1
            for node, value in zip(self.nodes, values, strict=True):
                variant = asyncua.ua.Variant(value, asyncua.ua.VariantType.Double)
                await node.write_value(
                    asyncua.ua.DataValue(variant, SourceTimestamp=time.replace(tzinfo=None))
                )
            self.written.append((time, values))
            await asyncio.sleep(0.02)


async def until(condition, seconds: float = 20.0) -> None:
    async with asyncio.timeout(seconds):
        while not condition():
            await asyncio.sleep(0.02)


def read_back(sheet: LiveSheet, files: ValueFiles) -> LoadedRun:
    log = tomllib.loads(run_sheet_lines(sheet, "*"))["run"]["logs"][0] | {"files": tuple(files.names)}
    return read_logs(run_sheet(log), line_sheet(), files.folder, "UTC")


def from_file(folder: Path, written: list[tuple[datetime, tuple[float, ...]]]) -> LoadedRun:
    """The same instants as a wide log would give them."""
    rows = [f"{time.isoformat()},{','.join(map(repr, values))}\n" for time, values in written]
    (folder / "gauge.csv").write_text("time,counter,speed,w1,w2\n" + "".join(rows))
    return read_logs(run_sheet(WIDE), line_sheet(), folder, "UTC")


@dataclass
class Played:
    """What was written on a line, and what was kept of it."""

    folder: Path
    sheet: LiveSheet
    line: Line
    restarted: LiveSource
    ahead: LiveSource
    refused: ReelproofError


async def play(folder: Path) -> Played:
    """A server followed while it is stopped and started, followed with its clock ahead, and asked for a wrong node."""
    port = free_port()
    sheet = sheet_for(port)
    restarted = LiveSource(sheet, ValueFiles(folder / "restarted"))
    ahead = LiveSource(sheet, ValueFiles(folder / "ahead"))
    wrong = {channel: one.model_dump() for channel, one in sheet.nodes.items()}
    wrong["wall_2_mm"]["node"] = "ns=2;s=L1.w9"
    line, stop = Line(port), asyncio.Event()
    await line.make()
    await line.server.start()
    following = asyncio.create_task(restarted.follow(stop))
    await until(lambda: restarted.state.connections == 1)
    await line.run(30)
    await until(lambda: restarted.state.values >= 4 * 30)
    await line.server.stop()
    await until(lambda: restarted.state.losses == 1)
    await line.server.start()
    await until(lambda: restarted.state.connections == 2)
    await line.run(30)
    await until(lambda: restarted.state.values >= 4 * 60)
    stop.set()
    await following
    stop = asyncio.Event()
    following = asyncio.create_task(ahead.follow(stop))
    await until(lambda: ahead.state.connections == 1)
    await line.run(20, ahead_s=90.0)
    await until(lambda: ahead.state.values >= 4 * 20)
    stop.set()
    await following
    with pytest.raises(ReelproofError) as caught:
        await LiveSource(sheet_for(port, nodes=wrong), ValueFiles(folder / "wrong")).follow(asyncio.Event())
    await line.server.stop()
    return Played(folder, sheet, line, restarted, ahead, caught.value)


@pytest.fixture(scope="module")
def played(tmp_path_factory) -> Played:
    return asyncio.run(play(tmp_path_factory.mktemp("live")))


def test_a_server_stopped_and_started_again_gives_the_rows_of_a_file(played: Played) -> None:
    state = played.restarted.state
    written = played.line.written[:60]
    live = read_back(played.sheet, played.restarted._files)
    file = from_file(played.folder, written)
    # What a server shows before the line wrote anything is no reading of the line.
    columns = ["time_utc", *NODES.values()]
    kept = live.readings.filter(pl.col("time_utc") >= written[0][0])
    assert kept.select(columns).equals(file.readings.select(columns))
    assert live.set_aside.height == 0
    assert state.overflows == 0
    assert [note.split(" at ")[0] for note in state.notes] == [
        f"{played.sheet.endpoint}: lost",
        f"{played.sheet.endpoint}: reached again",
    ]
    assert state.skew_s == pytest.approx(0.0, abs=1.5)


def test_a_server_whose_clock_is_ahead_is_told_and_kept_as_it_is(played: Played) -> None:
    (note,) = played.ahead.state.notes
    assert note.startswith(f"{played.sheet.endpoint}: its clock is about ")
    assert note.endswith(" s ahead of this machine's; times are kept as the server gives them.")
    assert played.ahead.state.skew_s == pytest.approx(90.0, abs=2.0)
    live = read_back(played.sheet, played.ahead._files)
    assert set(live.readings["time_utc"]) >= {time for time, _ in played.line.written[60:]}


def test_an_unknown_node_is_refused_by_name(played: Played) -> None:
    assert str(played.refused) == (
        f"{played.sheet.endpoint}: node 'ns=2;s=L1.w9': the server refuses it (BadNodeIdUnknown). Correct the node "
        "id in the live sheet, or ask for the right to read it."
    )


URI = "urn:reelproof:test"
SECRET = "the plant's secret"


async def certificate(folder: Path, name: str, use: object) -> tuple[str, str]:
    key, made = folder / f"{name}.pem", folder / f"{name}, line 1.der"
    await cert_gen.setup_self_signed_certificate(key, made, URI, "localhost", [use], {"commonName": name})
    return str(made), str(key)


class OneUser(UserManager):
    """A server that knows one user."""

    asked: ClassVar[list[object]] = []

    def get_user(self, iserver, username=None, password=None, certificate=None):
        self.asked.append(username)
        return User(role=UserRole.User) if (username, password) == ("reelproof", SECRET) else None


async def play_guarded(folder: Path, monkeypatch: pytest.MonkeyPatch) -> tuple[LiveSource, list[str]]:
    """A server that asks for Basic256Sha256, user and password: followed, and asked by two who may not."""
    port = free_port()
    line, stop = Line(port), asyncio.Event()
    await line.make(user_manager=OneUser())
    await line.server.set_application_uri(URI)
    own, key = await certificate(folder, "server", ExtendedKeyUsageOID.SERVER_AUTH)
    await line.server.load_certificate(own)
    await line.server.load_private_key(key)
    line.server.set_security_policy([asyncua.ua.SecurityPolicyType.Basic256Sha256_SignAndEncrypt])
    await line.server.start()
    mine, my_key = await certificate(folder, "client", ExtendedKeyUsageOID.CLIENT_AUTH)
    security = {
        "policy": "Basic256Sha256",
        "certificate": mine,
        "private_key": my_key,
        "server_certificate": own,
        "application_uri": URI,
    }
    good = {"security": security, "user": "reelproof"}
    monkeypatch.setenv(SECRET_VARIABLE, SECRET)
    source = LiveSource(sheet_for(port, **good), ValueFiles(folder / "kept"))
    following = asyncio.create_task(source.follow(stop))
    await until(lambda: source.state.connections == 1)
    await line.run(3)
    await until(lambda: source.state.values >= 4 * 3)
    stop.set()
    await following
    told = []
    for changes in (good | {"user": "somebody"}, {}):
        with pytest.raises(ReelproofError) as caught:
            await LiveSource(sheet_for(port, **changes), ValueFiles(folder / "no")).follow(asyncio.Event())
        told.append(str(caught.value))
    # Somebody else at the address: the one certificate trusted is another, and nothing is said to whoever answers.
    other, _ = await certificate(folder, "other", ExtendedKeyUsageOID.SERVER_AUTH)
    asked_before, stop = len(OneUser.asked), asyncio.Event()
    wrong = LiveSource(
        sheet_for(port, **good | {"security": security | {"server_certificate": other}}),
        ValueFiles(folder / "wrong"),
    )
    following = asyncio.create_task(wrong.follow(stop))
    await asyncio.sleep(3.0)
    stop.set()
    with suppress(ReelproofError):
        await following
    assert wrong.state.connections == wrong.state.values == 0
    assert len(OneUser.asked) == asked_before
    await line.server.stop()
    return source, told


def test_a_guarded_server_lets_in_who_may_and_refuses_at_once_who_may_not(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    source, told = asyncio.run(play_guarded(tmp_path, monkeypatch))
    assert source.state.losses == 0
    for sentence in told:
        assert sentence.startswith(f"{source._sheet.endpoint}: the server refuses the connection (")
        assert sentence.endswith(
            "Check 'user' and [live.security] of the live sheet and the password in REELPROOF_LIVE_PASSWORD; who runs "
            "the server can say what it asks for, and let it trust this certificate."
        )
    everything = "".join(path.read_text() for path in (tmp_path / "kept").iterdir()) + "".join(told)
    assert SECRET not in everything


def test_a_password_is_asked_for_before_a_server_is(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv(SECRET_VARIABLE, raising=False)
    with pytest.raises(ReelproofError) as caught:
        secret_of("reelproof")
    assert str(caught.value) == (
        "REELPROOF_LIVE_PASSWORD: this environment variable is not set, and the live sheet signs in as 'reelproof'. "
        "Set it to the password, or to nothing where the server asks for none."
    )


def test_a_server_that_is_not_there_is_tried_until_told_to_stop(tmp_path: Path) -> None:
    source = LiveSource(sheet_for(free_port()), ValueFiles(tmp_path))

    async def try_for_a_while() -> None:
        stop = asyncio.Event()
        following = asyncio.create_task(source.follow(stop))
        await asyncio.sleep(1.5)
        stop.set()
        await asyncio.wait_for(following, 10)

    asyncio.run(try_for_a_while())
    assert (source.state.connections, source.state.values, source.state.losses) == (0, 0, 0)
    assert list(tmp_path.iterdir()) == []


NOW = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)


def value(second: float, figure: str = "0.44", quality: str = "Good"):
    return ("ns=2;s=L1.w1", NOW + timedelta(seconds=second), figure, quality)


def test_a_new_file_every_hour_and_at_every_start(tmp_path: Path) -> None:
    files = ValueFiles(tmp_path)
    assert files.write([], NOW) == 0
    for minute in (0, 59, 60, 61):
        assert files.write([value(60 * minute)], NOW + timedelta(minutes=minute)) == 1
    files.close()
    files.write([value(7200)], NOW + timedelta(minutes=62))
    files.close()
    assert files.names == [
        "live-20260302T120000000000Z.csv",
        "live-20260302T130000000000Z.csv",
        "live-20260302T130200000000Z.csv",
    ]
    assert (tmp_path / files.names[0]).read_text() == (
        "node,source_time,value,quality\n"
        "ns=2;s=L1.w1,2026-03-02T12:00:00.000000Z,0.44,Good\n"
        "ns=2;s=L1.w1,2026-03-02T12:59:00.000000Z,0.44,Good\n"
    )


@pytest.mark.parametrize("cut", range(1, 45))
def test_a_line_cut_by_a_crash_is_never_read_as_a_value(cut: int, tmp_path: Path) -> None:
    files = ValueFiles(tmp_path)
    files.write([value(0), value(1, "0.4437")], NOW)
    files.close()
    path = tmp_path / files.names[0]
    path.write_bytes(path.read_bytes()[:-cut])
    nodes = {"wall_1_mm": {"node": "ns=2;s=L1.w1", "unit": "mm"}}
    run = read_back(sheet_for(4840, nodes=nodes), files)
    whole = 2 if cut == 1 else 1
    assert run.readings["wall_1_mm"].to_list() == [0.44, 0.4437][:whole]
    assert run.set_aside.height == 2 - whole


def test_a_bad_quality_is_set_aside(tmp_path: Path) -> None:
    files = ValueFiles(tmp_path)
    files.write([value(0), value(1, "0.1", "BadSensorFailure")], NOW)
    files.close()
    nodes = {"wall_1_mm": {"node": "ns=2;s=L1.w1", "unit": "mm"}}
    run = read_back(sheet_for(4840, nodes=nodes), files)
    assert worded(run.set_aside)["reason"].to_list() == [
        "column 'quality' says 'BadSensorFailure', which is not good"
    ]


def test_values_that_cannot_be_put_on_disk_wait_and_are_written_later(tmp_path: Path, monkeypatch) -> None:
    files = ValueFiles(tmp_path)
    source = LiveSource(sheet_for(4840), files, clock=lambda: NOW)
    source._waiting.extend([value(0), value(1)])

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr("os.fsync", full)
        source._flush()
        source._flush()
        assert source.state.values == 0
        assert source.state.notes == [
            (
                f"{tmp_path}: live values cannot be written: No space left on device. Free some space there, or "
                "check that you may write there; until then they wait in memory."
            )
        ]
        with pytest.raises(StoreError):
            source._flush(last=True)
    source._clock = lambda: NOW + timedelta(seconds=1)
    source._flush()
    files.close()
    assert source.state.values == 2
    nodes = {"wall_1_mm": {"node": "ns=2;s=L1.w1", "unit": "mm"}}
    # What was half put on disk before is there twice, and counts once.
    run = read_back(sheet_for(4840, nodes=nodes), files)
    assert run.readings["wall_1_mm"].to_list() == [0.44, 0.44]


def test_a_live_sheet_is_checked_as_a_whole(tmp_path: Path) -> None:
    path = tmp_path / "live.toml"
    path.write_text(
        '[live]\nendpoint = "opc.tcp://host:4840"\n[live.nodes]\nwall_1_mm = { node = "i=1", unit = "mm" }\n'
    )
    assert read_live_sheet(path).nodes["wall_1_mm"].unit == "mm"
    for text, told in [
        (
            'endpoint = "http://host"\n[live.nodes]\nwall_1_mm = { node = "i=1" }',
            "'http://host' is no address of an OPC",
        ),
        (
            'endpoint = "opc.tcp://h"\n[live.nodes]\nwall = { node = "i=1" }',
            "'wall' is not a channel; it may be",
        ),
        ('endpoint = "opc.tcp://h"\nnodes = {}', "no node is named: give [live.nodes]"),
        (
            'endpoint = "opc.tcp://h"\n[live.nodes]\nwall_1_mm = { node = "i=1" }\nwall_2_mm = { node = "i=1" }',
            "node 'i=1' is named for two channels",
        ),
    ]:
        path.write_text("[live]\n" + text + "\n")
        with pytest.raises(SheetError) as caught:
            read_live_sheet(path)
        assert told in str(caught.value)


def test_without_the_library_the_way_to_get_it_is_told(tmp_path: Path, monkeypatch) -> None:
    def missing(name: str):
        raise ImportError(name)

    monkeypatch.setattr("importlib.import_module", missing)
    source = LiveSource(sheet_for(4840), ValueFiles(tmp_path))
    with pytest.raises(ReelproofError) as caught:
        asyncio.run(source.follow(asyncio.Event()))
    assert str(caught.value) == (
        "live source: the OPC UA library asyncua is not installed. Install it with: pip install 'reelproof[live]'."
    )
