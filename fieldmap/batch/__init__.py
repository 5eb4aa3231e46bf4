"""Many fields: a list of plans, run side by side, and what they come to together."""

from fieldmap.batch.fields import fields_text, orders_by_kind
from fieldmap.batch.plan_list import list_plans
from fieldmap.batch.run import (
    BatchResult,
    FieldOutcome,
    local_workers,
    refuse_foreign,
    run_batch,
    workers_of,
    workers_wanted,
)

__all__ = [
    "BatchResult",
    "FieldOutcome",
    "fields_text",
    "list_plans",
    "local_workers",
    "orders_by_kind",
    "refuse_foreign",
    "run_batch",
    "workers_of",
    "workers_wanted",
]
