"""Wall thickness by gauge number: Birmingham (Stubs iron wire) gauge, the one for tube.

Source: Machinery's Handbook (Oberg et al., 2012). The three decimals of an inch are the definition. Bare "16
gauge" is refused: by system it means 0.065, 0.064, 0.0625, 0.0598 or 0.0508 in.
"""

from __future__ import annotations

import re
from typing import Final

from planner.inputs.quantities import MM_PER_INCH
from planner.tolerances import KEPT_DECIMALS

BWG_INCHES: Final = {
    22: 0.028, 21: 0.032, 20: 0.035, 19: 0.042, 18: 0.049, 17: 0.058, 16: 0.065, 15: 0.072,
    14: 0.083, 13: 0.095, 12: 0.109, 11: 0.120, 10: 0.134, 9: 0.148, 8: 0.165, 7: 0.180,
}  # fmt: skip
"""Wall by gauge number [in]."""


def wall_of_gauge(gauge: str) -> float | None:
    """Return the wall [mm] of a gauge such as "16 BWG"; None for anything else, "16.5 BWG" and "16 ga" among
    it.
    """
    match = re.fullmatch(r"\s*([0-9]{1,2})\s*bwg\s*", gauge, flags=re.IGNORECASE | re.ASCII)
    inches = BWG_INCHES.get(int(match[1])) if match else None
    return None if inches is None else round(inches * MM_PER_INCH, KEPT_DECIMALS)
