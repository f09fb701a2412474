"""The watch of an inbox as a deployment of a Prefect server, with an interval; each look is a flow run there."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from prefect import State, flow
from prefect.client.schemas.objects import ConcurrencyLimitConfig, ConcurrencyLimitStrategy
from prefect.settings import PREFECT_API_URL
from prefect.states import Completed, Failed
from prefect.types.entrypoint import EntrypointType

from pipeline.errors import Complaint, SheetError
from pipeline.flows.engine import reached
from pipeline.flows.watch import check_inbox, one_pass


@flow(name="watch inbox", flow_run_name="watch {inbox}", persist_result=False)
def watch_pass(inbox: str, store: str, quiet_s: float = 10.0) -> State[str]:
    """Look at the inbox once and work what is complete; the pass is shown failed where a run could not be done.

    A server passes parameters as JSON, and a serving process takes only built-in types along to the one it starts.

    Args:
        inbox: folder with run folders in it.
        store: the store's folder.
        quiet_s: how long a run's files must have stayed as they are [s].
    """
    one = one_pass(Path(inbox), Path(store), quiet_s)
    told = f"{len(one.done)} reviewed, {len(one.failed)} not done, {len(one.waiting)} not complete yet."
    if one.failed:
        return Failed(
            message=" ".join([told, *(f"{key}: {reason}" for key, reason in sorted(one.failed.items()))])
        )
    return Completed(message=" ".join([told, *one.told]))


def serve_watch(
    inbox: Path, store: Path, on_start: Callable[[], None], every_s: float = 15.0, quiet_s: float = 10.0
) -> None:
    """Serve `watch_pass` as a deployment of the Prefect server that the environment names, until stopped.

    Args:
        inbox: folder with run folders in it.
        store: the store's folder.
        on_start: called when nothing speaks against it.
        every_s: pause between looks [s].
        quiet_s: how long a run's files must have stayed as they are [s].

    Raises:
        SheetError: the inbox is not a folder, or no server is named, for the embedded default keeps no schedule.
        StoreError: the server does not answer.
    """
    check_inbox(inbox)
    if not PREFECT_API_URL.value():
        raise SheetError(
            Complaint(
                "PREFECT_API_URL",
                "no Prefect server is named",
                "Set it to the server's address, as http://HOST:4200/api, or leave --serve out",
            )
        )
    on_start()
    with reached():
        watch_pass.serve(
            name=f"watch {inbox.name}",
            interval=every_s,
            parameters={"inbox": str(inbox.resolve()), "store": str(store.resolve()), "quiet_s": quiet_s},
            # A look that comes while another is at work is dropped, for the next sees the same: else they pile up.
            limit=2,
            global_limit=ConcurrencyLimitConfig(
                limit=1, collision_strategy=ConcurrencyLimitStrategy.CANCEL_NEW
            ),
            print_starting_message=False,
            # By the module's name, which is the same on every machine and from every folder.
            entrypoint_type=EntrypointType.MODULE_PATH,
        )
