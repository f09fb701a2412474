"""Following the nodes of an OPC UA server (IEC 62541) and keeping every value on disk.

The server is asked to report changes of the nodes' values (IEC 62541-4, monitored items and subscriptions). A lost
server is tried again until it is back; what it sends then begins with the present value of every node, which is not
kept twice if it did not change. Values carry the instant of their source; how far that clock is from this machine's is
watched and told, and never corrected.
"""

from __future__ import annotations

import asyncio
import contextlib
import importlib
import logging
import os
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime
from statistics import median
from typing import Any

from pipeline.errors import Complaint, ReelproofError, StoreError
from pipeline.live.live_sheet import GOOD, LiveSheet
from pipeline.live.value_file import Value, ValueFiles

# The server keeps this many values of a node between two reports, so that a short stall loses none.
QUEUE = 1000
FLUSH_S = 0.5
# Values kept in memory while they cannot be put on disk: about eight hours of twelve nodes at 10 Hz.
MOST_WAITING = 3_500_000
FIRST_PAUSE_S, LONGEST_PAUSE_S = 0.5, 30.0
# The environment variable with the password of the live sheet's user; a sheet is no place for it.
SECRET_VARIABLE = "REELPROOF_LIVE_PASSWORD"  # noqa: S105 - the name of a variable
# What a server answers whom it does not let in (IEC 62541-4, common and service result codes).
_REFUSALS = {
    "BadUserAccessDenied",
    "BadIdentityTokenInvalid",
    "BadIdentityTokenRejected",
    "BadUserSignatureInvalid",
    "BadSecurityChecksFailed",
    "BadSecurityPolicyRejected",
    "BadSecurityModeRejected",
    "BadCertificateInvalid",
    "BadCertificateUntrusted",
    "BadCertificateTimeInvalid",
    "BadCertificateUriInvalid",
    "BadCertificateUseNotAllowed",
}
# StatusCode, info type "data value" with the overflow bit (IEC 62541-4, table of StatusCode bits).
_OVERFLOW = 0x480


@dataclass(slots=True)
class LiveState:
    """What became of following a server, so far.

    Args:
        values: values put on disk.
        connections: times the server was reached.
        losses: times it was lost.
        overflows: reports that say the server dropped values before them.
        skew_s: how far the source's clock is ahead of this machine's, at least [s]; None if not known.
        notes: sentences for the reader of the run.
    """

    values: int = 0
    connections: int = 0
    losses: int = 0
    overflows: int = 0
    skew_s: float | None = None
    notes: list[str] = field(default_factory=list)


class LiveSource:
    """A server being followed.

    Args:
        sheet: the server and its nodes.
        files: where the values go.
        clock: the present instant; for tests.
        on_values: told how many more values were put on disk.
        on_note: told each sentence for the reader of the run as it comes.
    """

    def __init__(
        self,
        sheet: LiveSheet,
        files: ValueFiles,
        clock: Callable[[], datetime] = lambda: datetime.now(UTC),
        on_values: Callable[[int], None] | None = None,
        on_note: Callable[[str], None] | None = None,
    ) -> None:
        self.state = LiveState()
        self._sheet = sheet
        self._files = files
        self._clock = clock
        self._on_values = on_values
        self._on_note = on_note
        self._waiting: deque[Value] = deque()
        self._last: dict[str, tuple[datetime, str, str]] = {}
        self._ages_s: deque[float] = deque(maxlen=500)
        self._told_skew = self._told_full = self._told_away = False

    async def follow(self, stop: asyncio.Event) -> LiveState:
        """Follow the server until `stop` is set, whatever happens to it.

        Raises:
            StoreError: values cannot be put on disk.
            ReelproofError: the server answers, but does not know a node.
        """
        logging.getLogger("asyncua").setLevel(logging.CRITICAL)
        pause = FIRST_PAUSE_S
        try:
            while not stop.is_set():
                reached = self.state.connections
                try:
                    await self._follow_once(stop)
                except (OSError, TimeoutError) as fault:
                    self._lost(fault, reached)
                self._flush()
                if stop.is_set():
                    break
                pause = FIRST_PAUSE_S if self.state.connections > reached else min(2 * pause, LONGEST_PAUSE_S)
                await _wait(stop, pause)
        finally:
            self._flush(last=True)
            self._files.close()
        return self.state

    async def _follow_once(self, stop: asyncio.Event) -> None:
        """Connect, subscribe, and keep values until the server is lost or `stop` is set."""
        asyncua = library()
        client = asyncua.Client(self._sheet.endpoint, timeout=4)
        try:
            await self._sign_in(client, asyncua)
            await client.connect()
            await self._subscribe(client, asyncua.ua)
            self._reached()
            while not await _wait(stop, FLUSH_S):
                await client.check_connection()
                self._flush()
        except asyncua.ua.UaError as fault:
            self._stop_if_refused(fault)
            raise ConnectionError(str(fault) or type(fault).__name__) from fault
        finally:
            await _quietly(client.disconnect())

    async def _sign_in(self, client: Any, asyncua: Any) -> None:
        """Security and user, as the plant's sheet sets them."""
        security = self._sheet.security
        if security is not None:
            if security.application_uri is not None:
                client.application_uri = security.application_uri
            policies = importlib.import_module("asyncua.crypto.security_policies")
            try:
                await client.set_security(
                    getattr(policies, f"SecurityPolicy{security.policy}"),
                    security.certificate,
                    security.private_key,
                    server_certificate=security.server_certificate,
                    mode=getattr(asyncua.ua.MessageSecurityMode, security.mode),
                )
            except ValueError as fault:
                raise ReelproofError(
                    Complaint(
                        "live.security",
                        f"the certificate or its key cannot be read: {fault}",
                        "Give a certificate and its private key as DER or PEM files",
                    )
                ) from None
        if self._sheet.user is not None:
            client.set_user(self._sheet.user)
            client.set_password(secret_of(self._sheet.user))

    def _stop_if_refused(self, fault: Exception) -> None:
        """Do not try for ever, and perhaps lock an account, where the server says no to who asks.

        Raises:
            ReelproofError: it was never reached, and refuses the sign-in or the security.
        """
        reason = type(fault).__name__
        if self.state.connections or not (reason in _REFUSALS or "endpoint" in str(fault).lower()):
            return
        raise ReelproofError(
            Complaint(
                self._sheet.endpoint,
                f"the server refuses the connection ({str(fault) if reason == 'UaError' else reason})",
                "Check 'user' and [live.security] of the live sheet and the password in "
                f"{SECRET_VARIABLE}; who runs the server can say what it asks for, and let it trust this certificate",
            )
        ) from None

    def _note(self, sentence: str) -> None:
        self.state.notes.append(sentence)
        if self._on_note is not None:
            self._on_note(sentence)

    async def _subscribe(self, client: Any, ua: Any) -> None:
        """Ask for every sample of every node: also for one of the same value, or a stuck sensor would be silence."""
        named = {client.get_node(one.node): one.node for one in self._sheet.nodes.values()}
        handler = _Handler(self, {node.nodeid: name for node, name in named.items()})
        subscription = await client.create_subscription(
            self._sheet.publishing_ms, handler, queue_maxsize=100_000
        )
        every_sample = ua.DataChangeFilter(Trigger=ua.DataChangeTrigger.StatusValueTimestamp)
        results = await subscription._subscribe(
            list(named), mfilter=every_sample, queuesize=QUEUE, sampling_interval=self._sheet.sampling_ms
        )
        bad = [
            (name, result.name)
            for name, result in zip(named.values(), results, strict=True)
            if isinstance(result, ua.StatusCode)
        ]
        if bad:
            raise ReelproofError(
                Complaint(
                    f"{self._sheet.endpoint}: node '{name}'",
                    f"the server refuses it ({reason})",
                    "Correct the node id in the live sheet, or ask for the right to read it",
                )
                for name, reason in bad
            )

    def take(self, node: str, data_value: Any) -> None:
        """A value as the server reports it; kept unless it is the very one kept before."""
        now = self._clock()
        code = int(data_value.StatusCode.value) if data_value.StatusCode is not None else 0
        quality = GOOD if code >> 30 == 0 else str(data_value.StatusCode.name)
        if code & _OVERFLOW == _OVERFLOW:
            if self.state.overflows == 0:
                self._note(
                    f"{self._sheet.endpoint}: it says that it dropped values of {node} because more came than it could "
                    "hold; ask for fewer with sampling_ms."
                )
            self.state.overflows += 1
        stamp = data_value.SourceTimestamp or data_value.ServerTimestamp
        time = now if stamp is None else (stamp if stamp.tzinfo else stamp.replace(tzinfo=UTC))
        raw = None if data_value.Value is None else data_value.Value.Value
        value = "" if raw is None else str(int(raw) if isinstance(raw, bool) else raw)
        if self._last.get(node) == (time, value, quality):
            return
        self._last[node] = (time, value, quality)
        if stamp is not None:
            self._ages_s.append((now - time).total_seconds())
        self._waiting.append((node, time, value, quality))

    def _flush(self, *, last: bool = False) -> None:
        """Put what waits on disk; what cannot be put there waits for the next time, as long as there is one."""
        waiting = list(self._waiting)
        try:
            count = self._files.write(waiting, self._clock())
        except StoreError as fault:
            if last or len(waiting) > MOST_WAITING:
                raise
            if not self._told_full:
                self._note(str(fault))
            self._told_full = True
            return
        self._told_full = False
        for _ in waiting:
            self._waiting.popleft()
        self.state.values += count
        if count and self._on_values is not None:
            self._on_values(count)
        self._watch_clock()

    def _watch_clock(self) -> None:
        """How far the source's clock is off: a value cannot arrive before it was made, nor long after."""
        if len(self._ages_s) < 20:
            return
        age = median(self._ages_s)
        usual = self._sheet.publishing_ms / 2000.0
        self.state.skew_s = usual - age
        if abs(self.state.skew_s) > self._sheet.clock_tolerance_s and not self._told_skew:
            self._told_skew = True
            way = "ahead of" if self.state.skew_s > 0 else "behind"
            self._note(
                f"{self._sheet.endpoint}: its clock is about {abs(self.state.skew_s):.1f} s {way} this machine's; "
                "times are kept as the server gives them."
            )

    def _reached(self) -> None:
        self.state.connections += 1
        if self.state.losses:
            self._note(
                f"{self._sheet.endpoint}: reached again at {self._clock():%Y-%m-%d %H:%M:%S} UTC; values between "
                "the loss and this instant are not known unless the server kept them."
            )

    def _lost(self, fault: BaseException, reached: int) -> None:
        if self.state.connections > reached:
            self.state.losses += 1
            self._note(
                f"{self._sheet.endpoint}: lost at {self._clock():%Y-%m-%d %H:%M:%S} UTC ({type(fault).__name__})."
            )
        elif not self.state.connections and not self._told_away:
            self._told_away = True
            self._note(
                f"{self._sheet.endpoint}: not reached yet ({str(fault) or type(fault).__name__}); it is tried again "
                "until it answers."
            )


class _Handler:
    """Passes reports of a subscription on."""

    def __init__(self, source: LiveSource, names: dict[Any, str]) -> None:
        self._source = source
        self._names = names

    def datachange_notification(self, node: Any, _: Any, data: Any) -> None:
        """A node has a new value."""
        self._source.take(self._names[node.nodeid], data.monitored_item.Value)


async def _wait(stop: asyncio.Event, seconds: float) -> bool:
    """Wait for `stop` for that long; True if it was set."""
    try:
        await asyncio.wait_for(stop.wait(), seconds)
    except TimeoutError:
        return False
    return True


async def _quietly(ending: Any) -> None:
    """Let a connection end, whatever state it is in."""
    with contextlib.suppress(Exception):
        await asyncio.wait_for(ending, 5.0)


def secret_of(user: str) -> str:
    """The password of the live sheet's user, from the environment.

    Raises:
        ReelproofError: it is not set there.
    """
    try:
        return os.environ[SECRET_VARIABLE]
    except KeyError:
        raise ReelproofError(
            Complaint(
                SECRET_VARIABLE,
                f"this environment variable is not set, and the live sheet signs in as '{user}'",
                "Set it to the password, or to nothing where the server asks for none",
            )
        ) from None


def library() -> Any:
    """The OPC UA library, which is installed only where live lines are followed.

    Raises:
        ReelproofError: it is not installed.
    """
    try:
        return importlib.import_module("asyncua")
    except ImportError:
        raise ReelproofError(
            Complaint(
                "live source",
                "the OPC UA library asyncua is not installed",
                "Install it with: pip install 'reelproof[live]'",
            )
        ) from None
