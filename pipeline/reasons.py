"""Why there is no result: a code a reason; its arguments and words stand in `pipeline.wording.refusals`."""

from __future__ import annotations

from pipeline.messages import Code


class Reason(Code):
    """Why a question is not answered, or what would answer it."""

    LINE_NOT_REVIEWED = "line not reviewed"
