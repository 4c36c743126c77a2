"""The cautions that stand on the plan, the run sheet and the report: text only (rank 0)."""

from __future__ import annotations

HEADER = (
    "A reminder, not a procedure. Local codes and law, the site's own risk assessment, the makers' "
    "instructions and licensed or competent persons come first and decide. Do not start a run from this "
    "sheet alone."
)

LINES = (
    (
        "Rotating shaft, coupling, belts and chains: guards closed, nobody enters while they turn; overspeed"
        " and loss-of-load trips tested."
    ),
    (
        "Hot oil, coolant under pressure, exhaust, turbocharger: let them cool before opening; they burn and"
        " scald. Parts measured soon after a run are still hot."
    ),
    "Exhaust gas and carbon monoxide: extraction proved, alarm working; never run in an unventilated space.",
    (
        "Fuel and its vapour: detection and shut-off working, bonding in place, no source of ignition; state"
        " of the fire suppression written down."
    ),
    "Noise: hearing protection at the level your code sets.",
    (
        "Fluids under pressure (injection, hydraulics): never feel for a leak; an injection injury is an "
        "emergency."
    ),
    (
        "Emergency stop in reach and tested; nobody works alone; for unattended running a remote trip and a "
        "watch rota."
    ),
    (
        "Lifting engine or dynamometer: rated gear, a trained person. Springs, chain tensioner, battery and "
        "high-voltage supply hold energy: isolate and lock off."
    ),
    (
        "Used engine oil: treat it as able to cause skin cancer. Gloves, no oily rags in pockets, wash, "
        "closed containers."
    ),
    (
        "Soot or carbon black for dosing: respirator and dust control as the safety data sheet and the site "
        "assessment say; the dust can ignite."
    ),
    (
        "Cleaning solvents: ventilation, small amounts, closed bins. Compressed air: eye protection, never "
        "on skin."
    ),
    "Radioactive tracers: only under licence. Waste oil, filters and coolant: registered disposal.",
)

# The same hazards in the few words that a run sheet has room for; plan and report carry the whole lines.
SHORT = (
    "Rotating parts: guards closed, nobody enters.",
    "Hot oil, coolant, exhaust, parts: let them cool.",
    "Carbon monoxide: extraction proved, alarm working.",
    "Fuel vapour: detection working, no source of ignition.",
    "Noise: hearing protection.",
    "Pressure: never feel for a leak; an injection injury is an emergency.",
    "Emergency stop tested; nobody works alone.",
    "Lifting: rated gear. Stored energy: isolate and lock off.",
    "Used oil can cause skin cancer: gloves, wash.",
    "Soot dust: respirator; it can ignite.",
    "Solvents: ventilation. Compressed air: never on skin.",
    "Tracers: only under licence. Waste: registered disposal.",
)


def lines() -> tuple[str, ...]:
    """The header and then one caution an item, as they stand on every sheet that leaves for the test cell."""
    return (HEADER, *LINES)
