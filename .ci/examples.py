"""Plan every example and print what came out, a line each with a checksum: equal lines are equal bytes.

Run with two sets of the packages that the program needs, the lines must be the same.
"""

from __future__ import annotations

import hashlib
from pathlib import Path

from planner.inputs.files import load_machine, load_part
from planner.planning import plan
from planner.plans.evidence import Evidence
from planner.proof.document import proof_document, proof_text


def main() -> None:
    """Print a line for each example: its name, its verdict, the checksums of its plan and of its proof."""
    for path in sorted((Path(__file__).parents[1] / "examples").glob("*.toml")):
        part, evidence = load_part(path.relative_to(Path.cwd())), Evidence()
        assert part.machine is not None  # every example names one
        made = plan(part, load_machine(part.machine), evidence=evidence)
        texts = (made.to_json(), proof_text(proof_document(made, evidence)))
        sums = (hashlib.sha256(text.encode()).hexdigest()[:16] for text in texts)
        print(path.stem, made.verdict, *sums, flush=True)


main()
