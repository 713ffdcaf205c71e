"""What to beware of at a battery; local rules and the manufacturer's instructions come first."""

from __future__ import annotations

# Common practice, from memory; source: battery-hazard
SPARK = (
    "A battery gives off hydrogen that explodes, AGM and gel batteries too: no flame, no spark, no smoking"
    " near it, and no metal objects on top."
)
ACID = (
    "Battery acid burns eyes and skin: wear goggles and gloves, keep plenty of water at hand, rinse"
    " off at once. Acid in an eye: rinse it with water for 15 minutes and see a doctor."
)
SHORT = (
    "A tool across both posts can weld itself on and cause burns: take off rings and watches, cover"
    " the other post."
)
MEMORY = (
    "Disconnecting the battery may lock doors and radio, lose settings and upset restraint systems:"
    " read the manufacturer's instructions first; negative off first and on last."
)
HIGH_VOLTAGE = (
    "A vehicle with a high-voltage drive is out of scope here: what has orange cables is left to people"
    " trained for it."
)
# As the handbooks have it; source: jump-order
CLAMPS = (
    "Jump leads: the last clamp goes on bare engine metal, 30 cm or more from the discharged battery,"
    " and comes off first."
)
MOVING = (
    "Keep hands, sleeves and leads clear of belts and fans; gear in neutral, parking brake on,"
    " outdoors or with exhaust extraction."
)
# What the handbooks say of frozen batteries; source: frozen
DAMAGED = "Do not charge, load or jump-start a battery that is frozen, cracked, swollen or leaking."
# Common practice, from memory; source: battery-hazard
RUNAWAY = (
    "Current that rises at a steady voltage, or a case above 50 °C: charger off at the mains, not at its"
    " clamps."
)
LITHIUM_CARE = (
    "A lithium battery: only a charger made for it, at most 14.6 V, no desulphating or recondition mode,"
    " never below 0 °C."
)
