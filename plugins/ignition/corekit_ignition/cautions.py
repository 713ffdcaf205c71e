"""What to beware of at an ignition, in our words; local rules and the vehicle manufacturer's instructions
come first.
"""

from __future__ import annotations

HIGH_VOLTAGE = (
    "An ignition coil makes tens of thousands of volts, which can injure or kill: touch no coil, lead"
    " or plug while the engine turns, key off and engine stopped before anything is unplugged."
)
IMPLANT = (  # source: implant-distance
    "Nobody with a pacemaker or another implant within 0.3 m of a running ignition; ask the customer"
    " to keep clear."
)
NO_FUEL = (
    "Injection or fuel pump disabled first, no smell of petrol, no open fuel, fresh air: a test spark"
    " ignites vapour, and unburned fuel ruins a catalyst."
)
KICK = (
    "A coil's switched terminal kicks to 200 to 450 V at every spark: probes and meter rated for it, no bare"
    " metal in the hand."
)
NO_LAMP = (
    "No test lamp at a coil: its current destroys drivers, and coils with three or four wires are switched by"
    " 5 V logic."
)
CRANK = "Crank for 10 s at most, then rest 60 s."
ALONE = (
    "Stop-start and remote start: key well away, bonnet open, so that nothing starts by itself; an electric"
    " fan can start with the key off."
)
TESTER = (  # source: open-lead
    "Never crank with a lead or coil left open: use an earthed spark tester with a set gap, or the"
    " coil can be destroyed."
)
MOVING = (
    "Keep hands, sleeves and leads clear of belts and fans; a small shock can throw the arm into them."
    " Gear in neutral, parking brake on."
)
HOT = "Exhaust, coils, boots and plugs burn skin; remove plugs from a cold engine only."
NO_HYBRID = (
    "Not for hybrid and electric vehicles: their high-voltage circuits are outside this system and belong to"
    " people trained for them."
)
OFF = "Key off, connector off before a resistance is read."
THREAD = (  # source: plug-torque
    "Engine cold, wells blown out before a plug is loosened. Plugs are started by hand, threads clean and"
    " dry, and tightened as this engine's data say; without them, in an aluminium head: M10 10 to 12 Nm, M12"
    " 15 to 20 Nm, M14 with a gasket 25 to 30 Nm, M14 with a cone 10 to 20 Nm. More tears the thread, less"
    " lets the plug burn."
)
WORK = f"{HIGH_VOLTAGE} {HOT}"
NEGATIVE_OFF = "Note codes, monitors and radio code, then battery negative off first."
