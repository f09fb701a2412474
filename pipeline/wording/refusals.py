"""Why there is no result, and what would give one."""

from __future__ import annotations

from collections.abc import Mapping

from pipeline.reasons import Reason

REFUSALS: Mapping[str, tuple[str, ...]] = {
    Reason.LINE_NOT_REVIEWED: ("This line was not reviewed yet: assess its runs.",),
}
