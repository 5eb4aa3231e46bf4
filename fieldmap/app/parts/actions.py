"""The list of what to do, for the pages that begin with it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fieldmap.app.session.messages import plain

if TYPE_CHECKING:
    from fieldmap.pipeline import Result


def actions_text(result: Result) -> str:
    """The list in Markdown: when in bold, then what, why, and what would change it."""
    return "\n".join(
        f"- **{plain(one.when)}** {plain(' '.join(filter(None, (one.what, one.why, one.change))))}"
        for one in result.action_texts
    )
