"""What tests of plugins share; with `corekit` itself it is all that they need to import.

`Bench` lays readings before a system's checks, `shown` puts a fault table to work, `assessed` judges the
text of a whole visit file, `Examples` reads worked examples with their sources, `told_by_declarations` and
`told_by_checks` give every text that a customer reads; `conformance` makes a test of each requirement of the
conformance kit;
`FaultTable` and `code_meanings` are what they are tested against.
"""

from ..assess.assessment import Assessment
from ..assess.proof import Proof
from ..plugin.faults import FaultTable
from ..plugin.host import load as installed_plugins
from ..reference import code_meanings
from .bench import Bench, quantity
from .evidence import Shown, shown
from .examples import Examples, expected, failing_docstrings, outcome
from .kit import Nonconformity, conformance, nonconformities
from .visits import assessed, begins_at, next_steps
from .voices import Told, random_bench, told_by_checks, told_by_declarations

__all__ = [
    "Assessment",
    "Bench",
    "Examples",
    "FaultTable",
    "Nonconformity",
    "Proof",
    "Shown",
    "Told",
    "assessed",
    "begins_at",
    "code_meanings",
    "conformance",
    "expected",
    "failing_docstrings",
    "installed_plugins",
    "next_steps",
    "nonconformities",
    "outcome",
    "quantity",
    "random_bench",
    "shown",
    "told_by_checks",
    "told_by_declarations",
]
