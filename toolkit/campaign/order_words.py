"""What limits on the run order do and do not do, told from what plan.json holds (rank 9)."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from toolkit.brief.model import Brief

KEY = "order_set"


def lines(brief: Brief, plan: Mapping[str, Any]) -> tuple[str, ...]:
    """The orders that were drawn from, what the exact test can still show, and what is not protected against.

    Parameters
    ----------
    brief : Brief
    plan : mapping
        What plan.json holds.

    Returns
    -------
    tuple of str
        Empty where the brief limits nothing.
    """
    held = plan.get(KEY)
    if not held:
        return ()
    told = [f"{held['sentence']}."]
    for row in held["exact"]:
        if row["smallest_p"] is None:
            told.append(f"{row['comparison']}: {row['why']}.")
            continue
        floor = f"no p below {row['smallest_p']:.2g} can come out"
        short = f": above alpha = {brief.alpha:g}, so that it can show nothing" * (row["smallest_p"] > brief.alpha)
        orders = f"{row['orders']:,} order{'' if row['orders'] == 1 else 's'}"
        told.append(f"{row['comparison']}: the exact test goes through {orders}, {floor}{short}.")
    bends = ", or bends there" if held["most_quadratic"] is not None else ""
    return (
        *told,
        f"The limits keep estimates free of drift that is straight over the campaign or alike in every build{bends}. "
        f"They do not help against a step, a bad day, or anything that comes with a level itself. The narrower they "
        f"are, the fewer orders are left to draw from, and the less the exact test can show.",
    )
