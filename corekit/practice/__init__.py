"""Practice vehicles: cars with hidden faults of physical size, which answer whatever the systems ask."""

from __future__ import annotations

from .car import At, Car, invented
from .declared import Defect, Practice, PracticeError, Trial, estimate, practices

__all__ = ["At", "Car", "Defect", "Practice", "PracticeError", "Trial", "estimate", "invented", "practices"]
